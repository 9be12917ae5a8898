"""The holdings and the hands' moves in hindsight: all turns of a solve at once."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from operator import itemgetter
from typing import TYPE_CHECKING, Final

import numpy as np

from livecube.holding.counts import COUNTED, Counts
from livecube.holding.kernel import forward, rows_for
from livecube.holding.likelihoods import likelihoods
from livecube.holding.looking_back import backward, trace
from livecube.holding.observations import Path, Step, is_tilted, observe

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from livecube.holding.kernel import Array, Rows, Seen
    from livecube.holding.likelihoods import Likelihoods
    from livecube.holding.observations import SolvePart

__all__ = [
    "NEGLIGIBLE",
    "ROUNDS",
    "HoldingModel",
    "Reading",
    "adapted",
    "downs",
    "drawn_paths",
    "evidence",
    "first_held",
    "read_again",
    "read_solve",
    "weighed",
]

NEGLIGIBLE: Final = 1e-6
"""Kinds of solver with a lower probability are left out."""

_LITTLE: Final = 0.01
"""The same where a solve is read once more."""


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
    seen, turns = observe(part), len(part.turns)
    if not turns:
        nothing = np.zeros((0, 24)), np.zeros((0, 3))
        return Reading([], *nothing, np.zeros(0), np.zeros(len(model.kinds)))
    rows = _LAST.rows(part, model, seen)
    by_kind = np.array([np.log(row.scales).sum() for row in rows])
    shares = weighed(before + by_kind)
    likeliest, down = int(shares.argmax()), downs(part.cross)
    path = _best_path(seen, down, model.kinds[likeliest])
    surprises = -np.log(rows[likeliest].scales)
    return Reading(path, *_looked_back(seen, down, model, shares, rows), surprises, by_kind)


def first_held(part: SolvePart, model: HoldingModel, known: Array) -> Array:
    """Shape (24,): probability of each holding before the first of these turns, by them alone.

    There is one turn at least. ``known``: shape (kinds of solvers,), the evidence about this
    solver, as logarithms of weights.
    """
    held, _ = _read_known(observe(part), downs(part.cross), model, known)
    first: Array = held[0]
    return first


def read_again(
    part: SolvePart, model: HoldingModel, known: Array, turn: int, weights: Array
) -> tuple[Path, Array, Array]:
    """Read a solve with more evidence; path, holdings and kinds of moves as in :class:`Reading`.

    ``known``: as for :func:`first_held`, this solve included. ``weights``: shape (24,), how much
    likelier each holding is before a turn than these turns tell.
    """
    seen, down = observe(part), downs(part.cross)
    seen.evidence[turn] *= weights
    path = _best_path(seen, down, model.kinds[int(known.argmax())])
    return (path, *_read_known(seen, down, model, known))


def _read_known(seen: Seen, down: Array, model: HoldingModel, known: Array) -> tuple[Array, Array]:
    """Holdings and kinds of moves, by the few kinds of solver that it may still be."""
    shares = weighed(known)
    shares = np.where(shares < _LITTLE, 0.0, shares)
    kinds = zip(model.kinds, shares, strict=True)
    rows = [_filled(seen, down, likely) if share else None for likely, share in kinds]
    return _looked_back(seen, down, model, shares / shares.sum(), rows)


def _looked_back(
    seen: Seen, down: Array, model: HoldingModel, shares: Array, rows: Sequence[Rows | None]
) -> tuple[Array, Array]:
    """Probabilities of holdings and of kinds of moves, given all turns; see :class:`Reading`."""
    held, kinds = np.zeros((len(seen.turns), 24)), np.zeros((len(seen.turns), 3))
    for share, likely, row in zip(shares, model.kinds, rows, strict=True):
        if row is None or share < NEGLIGIBLE:
            continue
        its_held, its_kinds = backward(seen, down, likely, row)
        held += share * its_held
        kinds += share * its_kinds
    return held, kinds


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
