"""The figures of trends, each a function of sums over solves."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal, TypeAlias

import numpy as np
import numpy.typing as npt

from livecube.timing.results import PLUS_MS, TEN_MINUTES_MS
from livecube.trends.measures import SPLITS, Interval

if TYPE_CHECKING:
    from collections.abc import Callable

    from livecube.trends.measures import SolveColumns, Unit, Whole

__all__ = [
    "FEWEST",
    "Floats",
    "Look",
    "Statistic",
    "block_sums",
    "difference",
    "drawn",
    "interval",
    "joined",
    "looks",
    "results_ms",
    "sums_of",
]

# Intervals by the bootstrap (Efron 1979): blocks of solves are drawn with replacement.
#
# Solves of one evening resemble one another, so whole sessions are drawn if there are enough of
# them. Every figure is a function of sums over solves: only the sums of each block are kept, and
# drawing is a product of matrices whose size does not depend on the number of solves.


Floats: TypeAlias = "npt.NDArray[np.float64]"
Statistic: TypeAlias = "Callable[[Floats], Floats]"
"""From sums (…, quantities) to figures (…); nan where the figure is undefined."""

_DRAWS: Final = 4_000
FEWEST: Final = 10
"""With fewer blocks an interval would be too narrow."""
_MOST: Final = 200
"""Number of blocks; more are joined with their neighbours, so solves of one block stay in one."""
_MISS: Final = 0.05


def joined(block: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    """Block numbers (n,) from 0 in order; neighbours are joined if there are too many blocks."""
    blocks = int(block[-1]) + 1
    return block if blocks <= _MOST else block * _MOST // blocks


def block_sums(quantities: Floats, block: npt.NDArray[np.int64]) -> Floats:
    """Sums (blocks, q) of ``quantities`` (n, q) over blocks.

    ``block`` (n,): block numbers in order; every number from 0 on occurs.
    """
    first = np.flatnonzero(np.concatenate([[True], block[1:] != block[:-1]]))
    return np.add.reduceat(quantities, first, axis=0)


def drawn(blocks: int, rng: np.random.Generator) -> Floats:
    """Bootstrap samples (draws, blocks): how often each block is in each sample."""
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

    The interval is wide enough for ``looks`` figures: if none of them changes, the chance that
    one or more intervals miss zero is at most 5 % (Bonferroni).
    """
    value = float(statistic(after[0].sum(0)) - statistic(before[0].sum(0)))
    return _between(value, statistic(after[1]) - statistic(before[1]), _MISS / looks)


def _between(value: float, figures: Floats, miss: float) -> Interval:
    known = figures[np.isfinite(figures)]
    if 2 * len(known) < len(figures):
        return Interval(value, None, None)
    low, high = np.quantile(known, (miss / 2, 1 - miss / 2))
    return Interval(value, float(low), float(high))


_SOLVES, _TIMES, _SUM, _SQUARES, _TURNS, _WHOLE, _PAUSE, _STAGES = range(8)
_FIRST_SPLIT: Final = 8
_FIRST_BIN: Final = _FIRST_SPLIT + len(SPLITS)
_BINS: Final = 250


@dataclass(frozen=True, slots=True)
class Look:
    """A figure: name, unit, function of the sums, and whether less or more is better."""

    name: str
    unit: Unit
    statistic: Statistic
    better: Literal["less", "more", "neither"]
    counted: int = _TIMES
    """Which of the sums is the number of solves behind it."""


def results_ms(columns: SolveColumns) -> Whole:
    """The result of each solve in milliseconds; -1 for a DNF.

    The same as :func:`livecube.timing.results.result_of`, for all solves at once.
    """
    counted = _truncated(_truncated(columns.ms) + PLUS_MS * columns.plus)
    return np.where(columns.is_dnf != 0, -1, counted)


def _truncated(ms: Whole) -> Whole:
    step = np.where(ms < TEN_MINUTES_MS, 10, 1000)
    return ms // step * step


def sums_of(columns: SolveColumns, results: Whole, block: Whole) -> tuple[Floats, Floats]:
    """Sums over blocks (blocks, q) for :func:`looks`, and the upper edges of its time bins (s).

    With fewer times than bins every time has a bin of its own, and quantiles are exact.
    """
    is_time, whole = results >= 0, columns.whole != 0
    seconds = np.where(is_time, results, 0) / 1000
    table = np.zeros((len(results), _FIRST_BIN))
    table[:, _SOLVES] = 1
    table[:, _TIMES] = is_time
    table[:, _SUM] = seconds
    table[:, _SQUARES] = seconds**2
    table[:, _TURNS] = columns.turns * is_time
    table[:, _WHOLE] = whole
    table[:, _PAUSE] = columns.pause_ms * whole / 1000
    table[:, _STAGES] = columns.splits_ms.sum(1) * whole / 1000
    table[:, _FIRST_SPLIT:] = columns.splits_ms * whole[:, None] / 1000
    sums = block_sums(table, block)
    edges = np.unique(np.quantile(seconds[is_time], np.linspace(0, 1, _BINS), method="higher"))
    cell = block[is_time] * len(edges) + np.searchsorted(edges, seconds[is_time])
    counts = np.bincount(cell, minlength=len(sums) * len(edges)).reshape(len(sums), -1)
    return np.concatenate([sums, counts], axis=1), edges


def looks(edges: Floats) -> tuple[Look, ...]:
    """All figures; ``edges`` as from :func:`sums_of`."""
    return (
        Look("mean time", "seconds", _ratio(_SUM, _TIMES), "less"),
        Look("fastest tenth, at most", "seconds", _quantile(edges, 0.1), "less"),
        Look("median", "seconds", _quantile(edges, 0.5), "less"),
        Look("nine tenths, at most", "seconds", _quantile(edges, 0.9), "less"),
        Look("spread (deviation / mean)", "share", _spread, "less"),
        Look("no time (DNF)", "share", lambda s: 1 - _ratio(_TIMES, _SOLVES)(s), "less", _SOLVES),
        *(
            Look(name, "seconds", _ratio(_FIRST_SPLIT + at, _WHOLE), "less", _WHOLE)
            for at, name in enumerate(SPLITS)
        ),
        Look("pausing", "seconds", _ratio(_PAUSE, _WHOLE), "less", _WHOLE),
        Look("turning", "seconds", _turning, "less", _WHOLE),
        Look("pausing, of the time", "share", _ratio(_PAUSE, _STAGES), "less", _WHOLE),
        Look("turns", "number", _ratio(_TURNS, _TIMES), "neither"),
    )


def _ratio(above: int, below: int) -> Statistic:
    def of(sums: Floats) -> Floats:
        return _divided(sums[..., above], sums[..., below])

    return of


def _divided(above: Floats, below: Floats) -> Floats:
    nan = np.full(np.shape(above), np.nan)
    result: Floats = np.divide(above, below, out=nan, where=below > 0)
    return result


def _turning(sums: Floats) -> Floats:
    return _divided(sums[..., _STAGES] - sums[..., _PAUSE], sums[..., _WHOLE])


def _spread(sums: Floats) -> Floats:
    mean = _divided(sums[..., _SUM], sums[..., _TIMES])
    variance = _divided(sums[..., _SQUARES], sums[..., _TIMES]) - mean**2
    return _divided(np.sqrt(np.maximum(variance, 0)), mean)


def _quantile(edges: Floats, share: float) -> Statistic:
    def of(sums: Floats) -> Floats:
        below = np.cumsum(sums[..., _FIRST_BIN:], axis=-1)
        # The shortest time such that at least this share of all times is no longer than it.
        wanted = share * below[..., -1:]
        found = edges[np.argmax(below >= wanted, axis=-1)]
        return np.where(below[..., -1] > 0, found, np.nan)

    return of
