"""Intervals by the bootstrap (Efron 1979): blocks of solves are drawn with replacement.

Solves of one evening are like one another, so whole sessions are drawn if there are enough of
them. Every figure is a function of sums over solves: of each block only its sums are kept, and
drawing is a product of matrices, whatever the number of solves.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, TypeAlias

import numpy as np
import numpy.typing as npt

from livecube.trends.values import Interval

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = [
    "FEWEST",
    "Floats",
    "Statistic",
    "block_sums",
    "difference",
    "drawn",
    "interval",
    "joined",
]

Floats: TypeAlias = "npt.NDArray[np.float64]"
Statistic: TypeAlias = "Callable[[Floats], Floats]"
"""From sums (…, quantities) to figures (…); nan where there is none."""

_DRAWS: Final = 4_000
FEWEST: Final = 10
"""With fewer blocks an interval would look surer than it is."""
_MOST: Final = 200
"""Blocks; more are joined with their neighbours, which keeps what they have in common."""
_MISS: Final = 0.05


def joined(block: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    """Blocks numbered from 0 in order, neighbours joined to so many if there are more."""
    blocks = int(block[-1]) + 1
    return block if blocks <= _MOST else block * _MOST // blocks


def block_sums(quantities: Floats, block: npt.NDArray[np.int64]) -> Floats:
    """Sums of (n, q) over blocks, which (n,) numbers in order; every number from 0 occurs."""
    first = np.flatnonzero(np.concatenate([[True], block[1:] != block[:-1]]))
    return np.add.reduceat(quantities, first, axis=0)


def drawn(blocks: int, rng: np.random.Generator) -> Floats:
    """Many samples of so many blocks (draws, blocks): how often each block is in each of them."""
    picked = rng.integers(blocks, size=(_DRAWS, blocks)) + blocks * np.arange(_DRAWS)[:, None]
    counts = np.bincount(picked.ravel(), minlength=_DRAWS * blocks)
    return counts.reshape(_DRAWS, blocks).astype(np.float64)


def interval(sums: Floats, samples: Floats | None, statistic: Statistic) -> Interval:
    """A figure of all blocks, with its 95 % interval from :func:`drawn` samples."""
    value = float(statistic(sums.sum(0)))
    if samples is None or len(sums) < FEWEST:
        return Interval(value, None, None)
    return _between(value, statistic(samples), _MISS)


def difference(
    before: tuple[Floats, Floats], after: tuple[Floats, Floats], statistic: Statistic, looks: int
) -> Interval:
    """After less before, each given as block sums and samples.

    The interval is so wide that, of ``looks`` figures without any change, at least one is
    outside in 5 % of cases at most (Bonferroni).
    """
    value = float(statistic(after[0].sum(0)) - statistic(before[0].sum(0)))
    return _between(value, statistic(after[1]) - statistic(before[1]), _MISS / looks)


def _between(value: float, figures: Floats, miss: float) -> Interval:
    known = figures[np.isfinite(figures)]
    if 2 * len(known) < len(figures):
        return Interval(value, None, None)
    low, high = np.quantile(known, (miss / 2, 1 - miss / 2))
    return Interval(value, float(low), float(high))
