"""Learning how somebody solves from their own solves, whose holdings nobody knows.

Stochastic expectation–maximisation (Celeux and Diebolt 1985): moves are drawn as they may have
been, and counted as if they had been; what was counted so far makes the next draws better.
"""

from __future__ import annotations

from operator import itemgetter
from typing import TYPE_CHECKING, Final

from livecube.holding.inference import drawn_paths, evidence
from livecube.holding.likelihoods import likelihoods
from livecube.holding.observations import observe

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    import numpy as np

    from livecube.holding.counting import Counts
    from livecube.holding.observations import SolvePart

__all__ = ["ROUNDS", "adapted"]

_WORTH: Final = 1 / 10
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
        mine = others.weakened(_WORTH)
        for part in solves:
            seen = observe(part)
            for path in drawn_paths(part, likely, rng, _DRAWS):
                mine.add(seen, part.cross, path, 1 / _DRAWS)
        step(1)
    return mine
