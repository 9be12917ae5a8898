"""Acquaintance: whose hands they are, what they do as a rule, how far to believe a reading.

Which hand is the stronger, and whether grips are planned, does not change from solve to solve. So
each solve is read with the evidence from those before it.

For the people who were counted, the model's confidence is right. It reads others less accurately,
with the same confidence. They are recognised by the turns of the last layer, where people know
most by heart: how unexpected these turns were over the solves so far. A stranger's other habits
may differ from the counts too, so for strangers every probability is lowered to what it was worth
with other strangers. Nobody counted people with the usual ways, so they are always strangers.

The numbers of strangers and of worth were measured by ``tests/checks/make_acquaintance.py``, on
virtual solvers and on everyday solvers (``tests/everyday_solver.py``).
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import replace
from math import exp, log, sqrt
from typing import TYPE_CHECKING, Final, NamedTuple, TypeAlias

import numpy as np

from livecube.cube.geometry import OPPOSITE
from livecube.holding.counts import COUNTED, GROUPS, LAST_LAYER, USUAL_WAYS
from livecube.holding.inference import downs, first_held, read_again, read_solve, weighed
from livecube.holding.observations import stage_name_numbers
from livecube.holding.written import SEEN_AS_FACE

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from livecube.holding.inference import HoldingModel, Reading
    from livecube.holding.kernel import Array
    from livecube.holding.observations import SolvePart

__all__ = [
    "FEWEST_TURNS",
    "LIKE",
    "USUAL",
    "Acquaintance",
    "Form",
    "Forms",
    "Like",
    "Worth",
    "forms_of",
    "log_odds",
    "surprise",
]

USUAL: Final = 1.15
"""Mean surprise of a turn of the last layer for people who were counted, in nats."""
FEWEST_TURNS: Final = 4
"""Fewest turns of the last layer from which a solve tells strangers apart."""


class Like(NamedTuple):
    """How surprising the solves of one kind of solver are."""

    mean: float
    between: float
    """Standard deviation between solvers."""
    within: float
    """Standard deviation between solves of one of them."""

    def likelihood(self, mean: float, solves: int) -> float:
        """Log likelihood, up to a constant, of this mean surprise over this many solves."""
        variance = self.between**2 + self.within**2 / solves
        return -0.5 * (log(variance) + (mean - self.mean) ** 2 / variance)


LIKE: Final = (Like(-0.21, 0.30, 1.31), Like(2.86, 0.41, 2.01))
"""People who were counted, and strangers."""

_FORGIVING: Final = 60.0
"""Lowest logarithm of a kind's weight, so that another person at the cube is recognised after some
three solves, while one odd solve of a stranger changes nothing."""


class Worth(NamedTuple):
    """Calibration of the model: log odds x of the model mean true log odds a + b × x."""

    a: float
    b: float
    most: float
    """Log odds are cut off here: higher ones mean no more."""


_WORTH: Final = {
    "planned": (
        Worth(-0.11, 0.54, 8.0),
        Worth(0.16, 0.50, 5.0),
        Worth(-0.43, 0.38, 10.0),
    ),
    "unplanned": (
        Worth(-0.24, 0.56, 10.0),
        Worth(-0.09, 0.44, 5.0),
        Worth(-0.17, 0.36, 10.0),
    ),
    **dict.fromkeys(
        USUAL_WAYS,
        (
            Worth(0.40, 1.02, 10.0),
            Worth(0.18, 0.51, 10.0),
            Worth(0.02, 0.43, 10.0),
        ),
    ),
}
"""For strangers, in hindsight, by their choice of grip and by group of stages; about the same after
learning from their solves. For the kinds that nobody counted: for everybody."""
_WORTH_LIVE: Final = {
    "planned": (
        Worth(0.09, 1.00, 2.5),
        Worth(-0.01, 0.77, 3.5),
        Worth(-0.40, 0.46, 8.0),
    ),
    "unplanned": (
        Worth(-0.30, 0.80, 2.5),
        Worth(-0.14, 0.45, 2.5),
        Worth(-0.36, 0.48, 8.0),
    ),
    **dict.fromkeys(
        USUAL_WAYS,
        (
            Worth(0.90, 1.36, 2.5),
            Worth(0.08, 0.72, 2.5),
            Worth(-0.19, 0.59, 6.0),
        ),
    ),
}
"""The same, live, at the turn itself."""


class Acquaintance:
    """Reads the solves of one person; each finished solve adds evidence about that person."""

    def __init__(self, model: HoldingModel) -> None:
        self.kinds = model.expected
        """Logarithm of the weight of each kind of solver that the model knows."""
        self._model = model
        self._worth, self._worth_live = (
            np.array([by_grip[grip] for grip in model.grips]) for by_grip in (_WORTH, _WORTH_LIVE)
        )
        self._counted = np.array([grip in COUNTED for grip in model.grips])
        self._solves = 0
        self._surprise = 0.0
        self._forms = Forms()

    @property
    def stranger(self) -> float:
        """Probability that this person's habits differ from the counts, 0 to 1."""
        if not self._solves:
            return 0.5
        known, strange = LIKE
        # A person less surprising than the counted people is not a stranger for that reason.
        mean = max(known.mean, self._surprise / self._solves)
        odds = known.likelihood(mean, self._solves) - strange.likelihood(mean, self._solves)
        return 1 / (1 + exp(min(odds, 700.0)))

    @property
    def _strange(self) -> Array:
        """Shape (kinds,): the same, if this person is of each kind."""
        return np.where(self._counted, self.stranger, 1.0)

    @property
    def grip(self) -> str:
        """The likeliest way in which this person chooses a grip (``counts.GRIPS``)."""
        return self._model.grips[int(self.kinds.argmax())]

    def read(self, part: SolvePart) -> Reading:
        """Read a finished solve; it is itself part of the evidence on how far to believe it."""
        reading = read_solve(part, self._model, self.kinds)
        known = self.kinds + reading.by_kind
        self.kinds = np.maximum(known - known.max(), -_FORGIVING)
        names = stage_name_numbers(part.stages)
        if (surprising := surprise(reading, names)) is not None:
            self._solves += 1
            self._surprise += surprising
        reading = self._with_known_forms(part, known, reading)
        if part.stated or any(part.attitudes):
            return reading  # not inferred from the turns alone
        return replace(reading, held=self.believed(reading.held, names))

    def _with_known_forms(self, part: SolvePart, known: Array, reading: Reading) -> Reading:
        """The reading, with the form in which this person orients the last layer as a rule."""
        first, last = (side(part.stages, _ORIENT) for side in (bisect_left, bisect_right))
        forms = forms_of(part, first, last)
        if not forms:
            return reading
        # Who does what was counted makes the sequences as they were counted.
        weights = self._forms.weights(forms) ** float(weighed(known) @ self._strange)
        alone = replace(
            part, turns=part.turns[first:last], times=part.times[first:last],
            stages=part.stages[first:last], stated={}, attitudes=(),
        )  # fmt: skip
        by_itself = first_held(alone, self._model, known)
        self._forms.learn(forms, reading.held[first] / np.maximum(by_itself, _FAINT))
        if weights.min() == weights.max():
            return reading
        path, held, kinds = read_again(part, self._model, known, first, weights)
        return replace(reading, path=path, held=held, kinds=kinds)

    def believed(self, held: Array, names: Sequence[int], *, live: bool = False) -> Array:
        """Probability of each holding, (turns, 24), lowered to what the model is worth.

        ``names``: number of the name of each turn's stage; ``live``: later turns were not known
        yet.
        """
        if not len(held):
            return held
        top = held.max(axis=1)
        groups = [GROUPS[name] for name in names]
        by_kind = (self._worth_live if live else self._worth)[:, groups]
        a, b, most = np.moveaxis(by_kind, -1, 0)
        right = 1 / (1 + np.exp(-(a + b * np.minimum(log_odds(top), most))))
        strange = self._strange[:, None]
        by_kind = (1 - strange) * top + strange * np.minimum(top, right)
        worth = weighed(self.kinds) @ by_kind
        # Mixed with equal shares, as if the turns sometimes told nothing: the likeliest stays so.
        even = 1 / held.shape[1]
        share = np.clip((worth - even) / np.maximum(top - even, 1e-9), 0.0, 1.0)[:, None]
        mixed: Array = share * held + (1 - share) * even
        return mixed


def log_odds(sure: Array) -> Array:
    """Log odds of probabilities from 0 to 1; always finite."""
    within = np.clip(sure, 1e-9, 1 - 1e-9)
    odds: Array = np.log(within / (1 - within))
    return odds


def surprise(reading: Reading, names: Sequence[int]) -> float | None:
    """How unexpected the last layer of a solve is, in nats; 0 is usual for counted people.

    The excess over :data:`USUAL` nats a turn, divided by the root of the number of turns, so
    that long and short last layers spread alike. None if there are too few turns.
    """
    within = np.array([GROUPS[name] == LAST_LAYER for name in names], dtype=np.bool_)
    count = int(within.sum())
    if count < FEWEST_TURNS:
        return None
    return float(reading.unexpected[within].sum() - USUAL * count) / sqrt(count)


# The forms of sequences.
#
# The same turns of the cube are one sequence from the front and often another one from the back:
# ``F U R U' R' F'`` and ``Fw R U R' U' Fw'``. Who knows one of them need not know the other. Which
# one it is the turns do not tell; where the hands were before and after them tells a little, each
# time. All of these times together are weighed, and never what the sequence itself makes likely:
# otherwise the form that most people make would confirm itself.


Form: TypeAlias = "tuple[int, ...]"
"""The first turns of a sequence as the hands see them, turns of the upper layer before it left out:
face moves as in :mod:`livecube.holding.written`."""

_ORIENT: Final = 5
"""The stage whose sequences are remembered. Pairs are put in by whatever is near; sequences that
permute tell the holding by themselves."""
_BEGINNING: Final = 5
"""Turns that tell sequences apart; more would count each ending as another sequence."""
_ASTRAY: Final = 0.2
"""How often what stands around a sequence tells nothing; chosen with everyday solvers 530 to 679,
as are the next two."""
_EITHER: Final = 0.1
"""How likely it is that somebody makes a sequence now in one form and now in another, against
each single form."""
_FAINT: Final = 0.01
"""Holdings that are less likely by the sequence itself are taken to be as likely as this."""
_SURE: Final = 20.0
"""Greatest logarithm of what was learned of a form, so that another person is met in time."""


def forms_of(part: SolvePart, first: int, last: int) -> dict[int, Form]:
    """The form of these turns from each of the four holdings with the cross down.

    Empty if there are no turns, or the colour of the cross is unknown.
    """
    if first == last or part.cross < 0:
        return {}
    upper = OPPOSITE[part.cross]
    while first < last - 1 and part.turns[first] // 3 == upper:
        first += 1
    turns = np.array(part.turns[first : min(last, first + _BEGINNING)])
    held = np.flatnonzero(downs(part.cross) == 0)
    return {int(number): tuple(SEEN_AS_FACE[number, turns].tolist()) for number in held}


class Forms:
    """In which form a person makes the sequences met so far.

    That is always the same form, mostly, or now one and now another; then nothing follows from it.
    """

    def __init__(self) -> None:
        self._known: dict[Form, float] = {}
        """Logarithm of how likely it is that this form is always made, against no rule at all."""

    def weights(self, forms: Mapping[int, Form]) -> Array:
        """Shape (24,), at most 1: how likely each holding is, by the form that is made from it.

        All are 1 for turns that were never met.
        """
        known = np.array([self._known.get(form, 0.0) for form in forms.values()])
        weights = np.ones(24)
        weights[list(forms)] = np.exp(known) + _EITHER
        weights[list(forms)] /= weights[list(forms)].max()
        return weights

    def learn(self, forms: Mapping[int, Form], around: Array) -> None:
        """Learn from one time.

        ``around``: shape (24,), how likely each holding is by what stands around the sequence.
        """
        told = around[list(forms)]
        if not told.any():
            return
        told = (1 - _ASTRAY) * len(told) * told / told.sum() + _ASTRAY
        for form, times in zip(forms.values(), told.tolist(), strict=True):
            known = self._known.get(form, 0.0) + log(times)
            self._known[form] = min(_SURE, max(-_SURE, known))
