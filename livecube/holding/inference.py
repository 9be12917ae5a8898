"""How the cube was held and what the hands did, in hindsight: all turns of a solve at once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from livecube.holding.counting import Counts, is_tilted
from livecube.holding.kernel import forward, rows_for
from livecube.holding.likelihoods import likelihoods
from livecube.holding.looking_back import backward, trace
from livecube.holding.observations import observe
from livecube.holding.path import Path, Step

if TYPE_CHECKING:
    from collections.abc import Iterable

    from livecube.holding.arrays import Array
    from livecube.holding.kernel import Rows, Seen
    from livecube.holding.likelihoods import Likelihoods
    from livecube.holding.observations import SolvePart

__all__ = [
    "NEGLIGIBLE",
    "HoldingModel",
    "Reading",
    "downs",
    "drawn_paths",
    "evidence",
    "read_solve",
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
    """How each chooses a grip, see :data:`livecube.holding.counting.GRIPS`."""

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


def downs(cross: int) -> Array:
    """Shape (24,), int8: 1 for each holding in which a cross of this colour is not down."""
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
