"""How the cube was held and what the hands did, in hindsight: all turns of a solve at once."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from math import exp, log, sqrt
from operator import itemgetter
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from livecube.holding.counts import GROUPS, LAST_LAYER, Counts
from livecube.holding.kernel import forward, rows_for
from livecube.holding.likelihoods import likelihoods
from livecube.holding.looking_back import backward, trace
from livecube.holding.observations import Path, Step, is_tilted, observe, stage_name_numbers

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from livecube.holding.kernel import Array, Rows, Seen
    from livecube.holding.likelihoods import Likelihoods
    from livecube.holding.observations import SolvePart

__all__ = [
    "FEWEST_TURNS",
    "LIKE",
    "NEGLIGIBLE",
    "ROUNDS",
    "USUAL",
    "Acquaintance",
    "HoldingModel",
    "Like",
    "Reading",
    "Worth",
    "adapted",
    "downs",
    "drawn_paths",
    "evidence",
    "log_odds",
    "read_solve",
    "surprise",
    "weighed",
]

NEGLIGIBLE: Final = 1e-6
"""A kind of solver that is less likely says nothing about a solve."""


@dataclass(frozen=True, slots=True)
class HoldingModel:
    """What is known of solvers: the likelihoods of each kind of them, who is told by the turns."""

    kinds: tuple[Likelihoods, ...]
    """Each as likely as the others before anything is seen of the solver."""
    grips: tuple[str, ...]
    """How each chooses a grip, see :data:`livecube.holding.counts.GRIPS`."""

    @staticmethod
    def own(counts: Counts) -> HoldingModel:
        """Of the one solver from whom was learned."""
        return HoldingModel((likelihoods(counts),), (counts.grip,))

    @staticmethod
    def of(counts: Iterable[Counts]) -> HoldingModel:
        """Of solvers who do what was counted, and of those who do it with the other hand."""
        both = [(hand, one.grip) for one in counts for hand in _hands(likelihoods(one))]
        kinds, grips = zip(*both, strict=True)
        return HoldingModel(kinds, grips)


def _hands(likely: Likelihoods) -> tuple[Likelihoods, Likelihoods]:
    return likely, likely.mirrored()


@dataclass(frozen=True, slots=True)
class Reading:
    """What the hands did, as far as the turns tell."""

    path: Path
    """The likeliest moves and holdings, for the likeliest kind of solver."""
    held: Array
    """Shape (turns, 24): how likely each holding is when the move of this turn began."""
    kinds: Array
    """Shape (turns, 3): how likely the turn is a face turn, of a wide turn, of a slice."""
    unexpected: Array
    """Shape (turns,): how unlikely each turn was after those before it, for the likeliest kind of
    solver, in nats."""
    by_kind: Array
    """Shape (kinds of solvers,): how likely all turns are for each, as a natural logarithm."""

    def confidence(self, step: Step) -> float:
        """How sure it is that the cube was held so at a step of the path, 0 to 1."""
        return float(min(1.0, self.held[step.first, step.holding]))


@cache
def downs(cross: int) -> Array:
    """Shape (24,), int8: 1 for each holding in which a cross of this colour is not down.

    It is the same array each time; nobody changes it.
    """
    return np.array([is_tilted(holding, cross) for holding in range(24)], dtype=np.int8)


def read_solve(part: SolvePart, model: HoldingModel, before: Array | float = 0.0) -> Reading:
    """Read a solve, or a part of it; one without turns is read as nothing.

    ``before``: shape (kinds of solvers,), what is known of this one, as logarithms of weights; 0:
    nothing.
    """
    seen, down = observe(part), downs(part.cross)
    turns = len(part.turns)
    held, kinds = np.zeros((turns, 24)), np.zeros((turns, 3))
    if not turns:
        return Reading([], held, kinds, np.zeros(0), np.zeros(len(model.kinds)))
    rows = [_filled(seen, down, likely) for likely in model.kinds]
    by_kind = np.array([np.log(row.scales).sum() for row in rows])
    shares = weighed(before + by_kind)
    for share, likely, row in zip(shares, model.kinds, rows, strict=True):
        if share < NEGLIGIBLE:
            continue
        its_held, its_kinds = np.zeros_like(held), np.zeros_like(kinds)
        backward(seen, down, likely, row, its_held, its_kinds)
        held += share * its_held
        kinds += share * its_kinds
    likeliest = int(shares.argmax())
    path = _best_path(seen, down, model.kinds[likeliest])
    return Reading(path, held, kinds, -np.log(rows[likeliest].scales), by_kind)


def evidence(part: SolvePart, likely: Likelihoods) -> float:
    """How likely all turns of a solve are, as a natural logarithm."""
    if not part.turns:
        return 0.0
    return float(np.log(_filled(observe(part), downs(part.cross), likely).scales).sum())


def drawn_paths(
    part: SolvePart, likely: Likelihoods, rng: np.random.Generator, count: int
) -> list[Path]:
    """Moves and holdings as they may have been, each as often as it is likely."""
    if not part.turns:
        return []
    seen, down = observe(part), downs(part.cross)
    rows = _filled(seen, down, likely)
    draws = rng.random((count, 2 * len(part.turns)))
    return [_traced(seen, down, likely, rows, its) for its in draws]


def weighed(logarithms: Array) -> Array:
    """Shares that sum to 1, from logarithms of weights."""
    weights = np.exp(logarithms - logarithms.max())
    shares: Array = weights / weights.sum()
    return shares


def _filled(seen: Seen, down: Array, likely: Likelihoods, *, best: bool = False) -> Rows:
    rows = rows_for(len(seen.turns), len(likely.moves))
    forward(seen, down, likely, best, rows)
    return rows


def _best_path(seen: Seen, down: Array, likely: Likelihoods) -> Path:
    rows = _filled(seen, down, likely, best=True)
    return _traced(seen, down, likely, rows, np.full(2 * len(seen.turns), -1.0))


def _traced(seen: Seen, down: Array, likely: Likelihoods, rows: Rows, draws: Array) -> Path:
    steps = np.empty((len(seen.turns), 4), dtype=np.int32)
    count = trace(seen, down, likely, rows, draws, steps)
    return [Step(*map(int, row)) for row in steps[:count][::-1]]


# Whose hands they are, and how far a reading of them is believed: not as far with a stranger.
#
# Which hand is the stronger, and whether grips are planned, does not change from solve to solve, so
# each is read by what is known from those before it.
#
# The model is as sure as it may be about people who do what was counted. Others it reads less well
# and just as surely. What tells them apart are the turns of the last layer, where people know most
# by heart: how unexpected they were, over the solves so far. Nothing else about a stranger's hands
# need be as counted either, so all that the model is sure of is then taken down to what it was
# worth with other strangers.
#
# Every number below was measured on virtual solvers by ``tests/checks/make_acquaintance.py``.


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
    most: float
    """Log odds; to be surer says no more."""


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
}
"""With strangers, in hindsight, by how they choose a grip, and by group of stages; about as much if
something was learned from their solves."""
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
        a, b, most = np.moveaxis(by_kind, -1, 0)
        right = 1 / (1 + np.exp(-(a + b * np.minimum(log_odds(top), most))))
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


# Learning how somebody solves from their own solves, whose holdings nobody knows.
#
# Stochastic expectation–maximisation (Celeux and Diebolt 1985): moves are drawn as they may have
# been, and counted as if they had been; what was counted so far makes the next draws better.


_OWN_WORTH: Final = 1 / 10
"""What one count from others is worth beside one's own. Twenty solves are few beside what is
counted there: with less the hands are read worse, even by counts of their true moves."""
_DRAWS: Final = 8
"""Paths that are drawn of each solve in a round."""
_AGAIN: Final = 2
"""So often moves are drawn and counted. More often reads no better, since what is learned comes to
be believed for having been learned."""

ROUNDS: Final = 3 * _AGAIN
"""How often ``step`` is called, at most."""


def adapted(
    kinds: Iterable[Counts],
    solves: Sequence[SolvePart],
    rng: np.random.Generator,
    step: Callable[[int], None] = lambda rounds: None,
) -> Counts:
    """Counts of somebody whose solves these are (two at least), leaning on those of others.

    ``kinds``: counts of others who solve in one way or another. Whose foretell the solves best,
    with the hands exchanged for a left-handed solver, are leaned on; and returned as they are if
    they foretell each half of the solves better than what was learned from the other half.
    """
    candidates = [its for counts in kinds for its in (counts, counts.mirrored())]
    foretold = ((_foretold(its, solves), its) for its in candidates)
    by_others, others = max(foretold, key=itemgetter(0))
    halves = solves[::2], solves[1::2]
    by_learning = sum(
        _foretold(_learned(others, one, rng, step), other) for one, other in (halves, halves[::-1])
    )
    return _learned(others, solves, rng, step) if by_learning > by_others else others


def _foretold(counts: Counts, solves: Sequence[SolvePart]) -> float:
    likely = likelihoods(counts)
    return sum(evidence(part, likely) for part in solves)


def _learned(
    others: Counts,
    solves: Sequence[SolvePart],
    rng: np.random.Generator,
    step: Callable[[int], None],
) -> Counts:
    mine = others
    for _ in range(_AGAIN):
        likely = likelihoods(mine)
        mine = others.weakened(_OWN_WORTH)
        for part in solves:
            seen = observe(part)
            for path in drawn_paths(part, likely, rng, _DRAWS):
                mine.add(seen, part.cross, path, 1 / _DRAWS)
        step(1)
    return mine
