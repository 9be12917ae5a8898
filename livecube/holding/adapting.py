"""Learning how somebody solves from their own solves, whose holdings nobody knows.

Stochastic expectation–maximisation (Celeux and Diebolt 1985): moves are drawn as they may have
been, and counted as if they had been; what was counted so far makes the next draws better.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from livecube.holding.inference import drawn_paths, evidence
from livecube.holding.likelihoods import likelihoods
from livecube.holding.observations import observe

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    import numpy as np

    from livecube.holding.counting import Counts
    from livecube.holding.observations import SolvePart

__all__ = ["ROUNDS", "adapted"]

_WORTHS: Final = (1 / 30, 1 / 200, 1 / 1000)
"""What one count from others may be worth beside one's own, in the last layer: whichever foretells
solves better that were not learned from. Some have the sequences that others have, some not."""
_WORTH_OF_MOVES: Final = 1 / 30
"""The same in the first two layers: hands move much alike."""
_WORTH_OF_ROTATIONS: Final = 1 / 100
_DRAWS: Final = 8
"""Paths that are drawn of each solve in a round."""
_TEMPERED: Final = (0.3, 0.5, 0.7, 1.0)
"""How far what the last layer says is trusted, round by round: at first little, since it is known
least there (deterministic annealing, Ueda and Nakano 1998)."""
_TRUST: Final = 0.5
"""How far what the first two layers say is trusted."""

ROUNDS: Final = len(_TEMPERED) * (2 * len(_WORTHS) + 1)
"""How often ``step`` is called, at most."""


def adapted(
    counts: Counts,
    solves: Sequence[SolvePart],
    rng: np.random.Generator,
    step: Callable[[int], None] = lambda rounds: None,
) -> Counts:
    """Counts of somebody whose solves these are (two at least), leaning on those of others.

    If the others' foretell each half of the solves better than what was learned from the other
    half, they are returned as they are, with the hands exchanged for a left-handed solver.
    """
    both = (counts, counts.mirrored())
    others = max(both, key=lambda c: _foretold(c, solves))
    halves = solves[::2], solves[1::2]
    best, worth = _foretold(others, solves), None
    for candidate in _WORTHS:
        foretold = sum(
            _foretold(_learned(others, one, candidate, rng, step), other)
            for one, other in (halves, halves[::-1])
        )
        if foretold > best:
            best, worth = foretold, candidate
    return others if worth is None else _learned(others, solves, worth, rng, step)


def _foretold(counts: Counts, solves: Sequence[SolvePart]) -> float:
    likely = likelihoods(counts)
    return sum(evidence(part, likely) for part in solves)


def _learned(
    others: Counts,
    solves: Sequence[SolvePart],
    worth: float,
    rng: np.random.Generator,
    step: Callable[[int], None],
) -> Counts:
    prior = others.weakened((_WORTH_OF_MOVES, _WORTH_OF_MOVES, worth), _WORTH_OF_ROTATIONS)
    mine = others
    for tempered in _TEMPERED:
        likely = likelihoods(mine, (_TRUST, _TRUST, tempered, tempered))
        mine = prior.weakened((1, 1, 1), 1)
        for part in solves:
            seen = observe(part)
            for path in drawn_paths(part, likely, rng, _DRAWS):
                mine.add(seen, part.cross, path, 1 / _DRAWS)
        step(1)
    return mine
