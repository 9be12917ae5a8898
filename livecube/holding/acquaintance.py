"""Whose hands they are, and how far a reading of them is believed: not as far with a stranger.

Which hand is the stronger, and whether grips are planned, does not change from solve to solve, so
each is read by what is known from those before it.

The model is as sure as it may be about people who do what was counted. Others it reads less well
and just as surely. What tells them apart are the turns of the last layer, where people know most
by heart: how unexpected they were, over the solves so far. Nothing else about a stranger's hands
need be as counted either, so all that the model is sure of is then taken down to what it was
worth with other strangers.

Every number below was measured on virtual solvers by ``tests/checks/make_acquaintance.py``.
"""

from __future__ import annotations

from dataclasses import replace
from math import exp, log, sqrt
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from livecube.holding.counting import GROUPS, LAST_LAYER
from livecube.holding.inference import read_solve, weighed
from livecube.holding.observations import stage_name_numbers

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.holding.arrays import Array
    from livecube.holding.inference import HoldingModel, Reading
    from livecube.holding.observations import SolvePart

__all__ = ["FEWEST_TURNS", "LIKE", "USUAL", "Acquaintance", "Like", "Worth", "log_odds", "surprise"]

USUAL: Final = 1.15
"""So many nats a turn of the last layer is unexpected with people who were counted."""
FEWEST_TURNS: Final = 4
"""With fewer turns in the last layer a solve says nothing about who made it."""


class Like(NamedTuple):
    """How surprising the solves of one kind of solver are."""

    mean: float
    between: float
    """Standard deviation between solvers."""
    within: float
    """Standard deviation between solves of one of them."""

    def likelihood(self, mean: float, solves: int) -> float:
        """Of so surprising solves on average, as a natural logarithm up to a constant."""
        variance = self.between**2 + self.within**2 / solves
        return -0.5 * (log(variance) + (mean - self.mean) ** 2 / variance)


LIKE: Final = (Like(-0.21, 0.30, 1.31), Like(2.86, 0.41, 2.01))
"""Those who were counted, and strangers."""

_FORGIVING: Final = 60.0
"""No kind of solver is less likely than this (a logarithm): somebody else at the cube is recognised
after some three solves, and a stranger's odd solve changes nothing."""


class Worth(NamedTuple):
    """What the model is worth: it is right with the log odds a + b × those that it believes in."""

    a: float
    b: float
    least: float
    """Log odds; to be less sure says no more."""
    most: float
    """To be surer says no more."""


_WORTH: Final = {
    "planned": (
        Worth(-0.11, 0.54, -3.0, 8.0),
        Worth(0.16, 0.50, -3.0, 5.0),
        Worth(-0.43, 0.38, -3.0, 10.0),
    ),
    "unplanned": (
        Worth(-0.24, 0.56, -3.0, 10.0),
        Worth(-0.09, 0.44, -3.0, 5.0),
        Worth(-0.17, 0.36, -3.0, 10.0),
    ),
}
"""With strangers, in hindsight, by how they choose a grip, and by group of stages; about as much if
something was learned from their solves."""
_WORTH_LIVE: Final = {
    "planned": (
        Worth(0.09, 1.00, -3.0, 2.5),
        Worth(-0.01, 0.77, -3.0, 3.5),
        Worth(-0.40, 0.46, -3.0, 8.0),
    ),
    "unplanned": (
        Worth(-0.30, 0.80, -3.0, 2.5),
        Worth(-0.14, 0.45, -3.0, 2.5),
        Worth(-0.36, 0.48, -3.0, 8.0),
    ),
}
"""The same at the turn itself."""


class Acquaintance:
    """Reads the solves of one person, and knows them better with each."""

    def __init__(self, model: HoldingModel) -> None:
        self.kinds: Array = np.zeros(len(model.kinds))
        """Which kind of solver this is, of those that the model knows, as logarithms of weights."""
        self._model = model
        self._worth, self._worth_live = (
            np.array([by_grip[grip] for grip in model.grips]) for by_grip in (_WORTH, _WORTH_LIVE)
        )
        self._solves = 0
        self._surprise = 0.0

    @property
    def stranger(self) -> float:
        """How likely it is that this person does not do what was counted, 0 to 1."""
        if not self._solves:
            return 0.5
        known, strange = LIKE
        # Who is less surprising than those who were counted is no stranger for that.
        mean = max(known.mean, self._surprise / self._solves)
        odds = known.likelihood(mean, self._solves) - strange.likelihood(mean, self._solves)
        return 1 / (1 + exp(min(odds, 700.0)))

    @property
    def grip(self) -> str:
        """How this person is likeliest to choose a grip (``counting.GRIPS``)."""
        return self._model.grips[int(self.kinds.argmax())]

    def read(self, part: SolvePart) -> Reading:
        """Read a solve that is over; it counts already for how far it is believed itself."""
        reading = read_solve(part, self._model, self.kinds)
        kinds = self.kinds + reading.by_kind
        self.kinds = np.maximum(kinds - kinds.max(), -_FORGIVING)
        names = stage_name_numbers(part.stages)
        if (surprising := surprise(reading, names)) is not None:
            self._solves += 1
            self._surprise += surprising
        if part.stated or any(part.attitudes):
            return reading  # it was not worked out from the turns alone
        return replace(reading, held=self.believed(reading.held, names))

    def believed(self, held: Array, names: Sequence[int], *, live: bool = False) -> Array:
        """How likely each holding is, (turns, 24), as far as the model is to be believed.

        ``names``: number of the name of each turn's stage; ``live``: nothing was known of what
        came later.
        """
        if not len(held):
            return held
        top = held.max(axis=1)
        groups = [GROUPS[name] for name in names]
        by_kind = (self._worth_live if live else self._worth)[:, groups]
        a, b, least, most = np.moveaxis(by_kind, -1, 0)
        right = 1 / (1 + np.exp(-(a + b * np.clip(log_odds(top), least, most))))
        worth = np.minimum(top, weighed(self.kinds) @ right)
        stranger = self.stranger
        worth = (1 - stranger) * top + stranger * worth
        # As if, now and then, the turns had said nothing: the likeliest stays the likeliest.
        even = 1 / held.shape[1]
        share = np.clip((worth - even) / np.maximum(top - even, 1e-9), 0.0, 1.0)[:, None]
        mixed: Array = share * held + (1 - share) * even
        return mixed


def log_odds(sure: Array) -> Array:
    """Of probabilities from 0 to 1; never infinite."""
    within = np.clip(sure, 1e-9, 1 - 1e-9)
    odds: Array = np.log(within / (1 - within))
    return odds


def surprise(reading: Reading, names: Sequence[int]) -> float | None:
    """How unexpected the last layer of a solve was, in nats; 0 on average for :data:`USUAL` turns.

    Over the root of the number of turns, so that long and short ones spread alike. None if there
    were too few.
    """
    within = np.array([GROUPS[name] == LAST_LAYER for name in names], dtype=np.bool_)
    count = int(within.sum())
    if count < FEWEST_TURNS:
        return None
    return float(reading.unexpected[within].sum() - USUAL * count) / sqrt(count)
