"""The holdings and the hands' moves in hindsight: all turns of a solve at once."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from math import exp, log, sqrt
from operator import itemgetter
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from livecube.holding.counts import COUNTED, GROUPS, LAST_LAYER, USUAL_WAYS, Counts
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
"""Kinds of solver with a lower probability are left out."""


_SELDOM: Final = 15.0
"""Logarithm of how much rarer the counted kinds are than the usual ways: one solve tells as much.
Chosen with everyday solvers 200 to 239; more hides for longer who turns like the counted kinds."""


@dataclass(frozen=True, slots=True)
class HoldingModel:
    """The likelihoods of each known kind of solver; the turns decide between them."""

    kinds: tuple[Likelihoods, ...]
    """Of each kind, hands exchanged included."""
    grips: tuple[str, ...]
    """How each kind chooses a grip, see :data:`livecube.holding.counts.GRIPS`."""

    @staticmethod
    def own(counts: Counts) -> HoldingModel:
        """The model of a single solver, from that solver's counts."""
        return HoldingModel((likelihoods(counts),), (counts.grip,))

    @staticmethod
    def of(counts: Iterable[Counts]) -> HoldingModel:
        """The model of the counted solvers, and of the same solvers with hands exchanged."""
        both = [(hand, one.grip) for one in counts for hand in _hands(likelihoods(one))]
        kinds, grips = zip(*both, strict=True)
        return HoldingModel(kinds, grips)

    @property
    def expected(self) -> Array:
        """Shape (kinds,): logarithm of the weight of each kind before a person was seen.

        People have the usual ways. The counted kinds turned virtual solves, and serve those people
        who turn like them.
        """
        return np.array([-_SELDOM if grip in COUNTED else 0.0 for grip in self.grips])


def _hands(likely: Likelihoods) -> tuple[Likelihoods, Likelihoods]:
    return likely, likely.mirrored()


@dataclass(frozen=True, slots=True)
class Reading:
    """The moves of the hands, as inferred from the turns."""

    path: Path
    """The likeliest moves and holdings, for the likeliest kind of solver."""
    held: Array
    """Shape (turns, 24): probability of each holding when the move of this turn began."""
    kinds: Array
    """Shape (turns, 3): probability of a face turn, of a wide turn, of a slice."""
    unexpected: Array
    """Shape (turns,): how unlikely each turn is after those before it, for the likeliest kind of
    solver, in nats."""
    by_kind: Array
    """Shape (kinds of solvers,): natural logarithm of the likelihood of all turns."""

    def confidence(self, step: Step) -> float:
        """Probability of the path's holding at a step, 0 to 1."""
        return float(min(1.0, self.held[step.first, step.holding]))


@cache
def downs(cross: int) -> Array:
    """Shape (24,), int8: 1 for each holding in which a cross of this colour is not down.

    It is the same array each time and must not be changed.
    """
    return np.array([is_tilted(holding, cross) for holding in range(24)], dtype=np.int8)


def read_solve(part: SolvePart, model: HoldingModel, before: Array | float = 0.0) -> Reading:
    """Read a solve, or a part of it, also without turns.

    ``before``: shape (kinds of solvers,), the evidence about this solver, as logarithms of
    weights; 0: no evidence.
    """
    seen, down = observe(part), downs(part.cross)
    turns = len(part.turns)
    held, kinds = np.zeros((turns, 24)), np.zeros((turns, 3))
    if not turns:
        return Reading([], held, kinds, np.zeros(0), np.zeros(len(model.kinds)))
    rows = _LAST.rows(part, model, seen)
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
    """Natural logarithm of the likelihood of all turns of a solve."""
    if not part.turns:
        return 0.0
    return float(np.log(_filled(observe(part), downs(part.cross), likely).scales).sum())


def drawn_paths(
    part: SolvePart, likely: Likelihoods, rng: np.random.Generator, count: int
) -> list[Path]:
    """Paths of moves and holdings, drawn at random by likelihood."""
    if not part.turns:
        return []
    seen, down = observe(part), downs(part.cross)
    rows = _filled(seen, down, likely)
    draws = rng.random((count, 2 * len(part.turns)))
    return [_traced(seen, down, likely, rows, its) for its in draws]


def weighed(logarithms: Array) -> Array:
    """Shares with the sum 1, from logarithms of weights."""
    weights = np.exp(logarithms - logarithms.max())
    shares: Array = weights / weights.sum()
    return shares


def _filled(seen: Seen, down: Array, likely: Likelihoods, *, best: bool = False) -> Rows:
    rows = rows_for(len(seen.turns), len(likely.moves))
    forward(seen, down, likely, best, rows)
    return rows


class _LastRows:
    """Remembers the rows of the solve that was read last.

    A solve is often read two or three times in a row: for its splits, for its moves, and for what
    it says of hands. The rows take most of that time, and no evidence of others changes them.
    """

    def __init__(self) -> None:
        self._last: tuple[object, HoldingModel, list[Rows]] | None = None

    def rows(self, part: SolvePart, model: HoldingModel, seen: Seen) -> list[Rows]:
        """The rows of each kind of solver."""
        key = (*map(tuple, (part.turns, part.times, part.stages, part.attitudes)), part.cross)
        asked = (key, sorted(part.stated.items()))
        if self._last is not None and self._last[1] is model and self._last[0] == asked:
            return self._last[2]
        self._last = None  # 20 MB, before as many are needed again
        down = downs(part.cross)
        rows = [_filled(seen, down, likely) for likely in model.kinds]
        self._last = asked, model, rows
        return rows


_LAST: Final = _LastRows()


def _best_path(seen: Seen, down: Array, likely: Likelihoods) -> Path:
    rows = _filled(seen, down, likely, best=True)
    return _traced(seen, down, likely, rows, np.full(2 * len(seen.turns), -1.0))


def _traced(seen: Seen, down: Array, likely: Likelihoods, rows: Rows, draws: Array) -> Path:
    steps = np.empty((len(seen.turns), 4), dtype=np.int32)
    count = trace(seen, down, likely, rows, draws, steps)
    return [Step(*map(int, row)) for row in steps[:count][::-1]]


# Acquaintance: whose hands they are, and how far to believe a reading, less for a stranger.
#
# Which hand is the stronger, and whether grips are planned, does not change from solve to solve. So
# each solve is read with the evidence from those before it.
#
# For the people who were counted, the model's confidence is right. It reads others less accurately,
# with the same confidence. They are recognised by the turns of the last layer, where people know
# most by heart: how unexpected these turns were over the solves so far. A stranger's other habits
# may differ from the counts too, so for strangers every probability is lowered to what it was worth
# with other strangers. Nobody counted people with the usual ways, so they are always strangers.
#
# Every number below was measured by ``tests/checks/make_acquaintance.py``, on virtual solvers and
# on everyday solvers (``tests/everyday_solver.py``).


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
    def grip(self) -> str:
        """The likeliest way in which this person chooses a grip (``counts.GRIPS``)."""
        return self._model.grips[int(self.kinds.argmax())]

    def read(self, part: SolvePart) -> Reading:
        """Read a finished solve; it is itself part of the evidence on how far to believe it."""
        reading = read_solve(part, self._model, self.kinds)
        kinds = self.kinds + reading.by_kind
        self.kinds = np.maximum(kinds - kinds.max(), -_FORGIVING)
        names = stage_name_numbers(part.stages)
        if (surprising := surprise(reading, names)) is not None:
            self._solves += 1
            self._surprise += surprising
        if part.stated or any(part.attitudes):
            return reading  # not inferred from the turns alone
        return replace(reading, held=self.believed(reading.held, names))

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
        strange = np.where(self._counted, self.stranger, 1.0)[:, None]
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


# Learning a person's habits from their own solves, whose holdings are unknown.
#
# Stochastic expectation–maximisation (Celeux and Diebolt 1985): paths of moves are drawn at random
# by likelihood and counted as if they were true; the counts so far make the next draws better.


_OWN_WORTH: Final = 1 / 10
"""Weight of one count from others against one of the person's own. Twenty solves give few counts
beside those of others: with less weight the hands are read worse, even by true counts."""
_DRAWS: Final = 8
"""Paths drawn of each solve in a round."""
_AGAIN: Final = 2
"""Rounds of drawing and counting. More rounds read no better: habits learned in one round would
only confirm themselves in the next."""

ROUNDS: Final = 3 * _AGAIN
"""Most calls of ``step``."""


def adapted(
    kinds: Iterable[Counts],
    solves: Sequence[SolvePart],
    rng: np.random.Generator,
    step: Callable[[int], None] = lambda rounds: None,
) -> Counts:
    """Counts of the person who made these solves (two at least), based on counts of others.

    ``kinds``: counts of several kinds of other people. Those that predict the solves best, with
    the hands exchanged for a left-handed solver, are the base. They are returned unchanged if
    they predict each half of the solves better than counts learned from the other half.
    """
    foretold = list[tuple[float, Counts, bool]]()
    for counts in kinds:
        right, left = _hands(likelihoods(counts))
        foretold.append((_foretold(right, solves), counts, False))
        foretold.append((_foretold(left, solves), counts, True))
    by_others, others, is_mirrored = max(foretold, key=itemgetter(0))
    others = others.mirrored() if is_mirrored else others
    likely = likelihoods(others)

    def learned(part: Sequence[SolvePart]) -> Counts:
        return _learned(others, likely, part, rng, step)

    halves = solves[::2], solves[1::2]
    by_learning = sum(
        _foretold(likelihoods(learned(one)), other) for one, other in (halves, halves[::-1])
    )
    return learned(solves) if by_learning > by_others else others


def _foretold(likely: Likelihoods, solves: Sequence[SolvePart]) -> float:
    return sum(evidence(part, likely) for part in solves)


def _learned(
    others: Counts,
    likely: Likelihoods,
    solves: Sequence[SolvePart],
    rng: np.random.Generator,
    step: Callable[[int], None],
) -> Counts:
    """Counts of the solves beside those of others; ``likely``: the likelihoods of the others'."""
    mine = others
    for again in range(_AGAIN):
        likely = likelihoods(mine) if again else likely
        mine = others.weakened(_OWN_WORTH)
        for part in solves:
            seen = observe(part)
            for path in drawn_paths(part, likely, rng, _DRAWS):
                mine.add(seen, part.cross, path, 1 / _DRAWS)
        step(1)
    return mine
