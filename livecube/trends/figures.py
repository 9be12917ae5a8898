"""The figures that trends look at, each as a function of sums over solves."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from livecube.timing.results import PLUS_MS, TEN_MINUTES_MS
from livecube.trends.bootstrap import block_sums
from livecube.trends.values import SPLITS

if TYPE_CHECKING:
    from livecube.trends.bootstrap import Floats, Statistic
    from livecube.trends.values import SolveColumns, Unit, Whole

__all__ = ["Look", "looks", "results_ms", "sums_of"]

_SOLVES, _TIMES, _SUM, _SQUARES, _TURNS, _WHOLE, _PAUSE, _STAGES = range(8)
_FIRST_SPLIT: Final = 8
_FIRST_BIN: Final = _FIRST_SPLIT + len(SPLITS)
_BINS: Final = 250


@dataclass(frozen=True, slots=True)
class Look:
    """A figure by its name, how it is worked out, and which way is better."""

    name: str
    unit: Unit
    statistic: Statistic
    better: Literal["less", "more", "neither"]


def results_ms(columns: SolveColumns) -> Whole:
    """What each solve counts, in milliseconds; -1 for a DNF.

    The same as :func:`livecube.timing.results.result_of`, for all at once.
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
        Look("fastest tenth below", "seconds", _quantile(edges, 0.1), "less"),
        Look("half below", "seconds", _quantile(edges, 0.5), "less"),
        Look("nine tenths below", "seconds", _quantile(edges, 0.9), "less"),
        Look("spread (deviation / mean)", "share", _spread, "less"),
        Look("no time (DNF)", "share", lambda s: 1 - _ratio(_TIMES, _SOLVES)(s), "less"),
        *(
            Look(name, "seconds", _ratio(_FIRST_SPLIT + at, _WHOLE), "less")
            for at, name in enumerate(SPLITS)
        ),
        Look("pausing", "seconds", _ratio(_PAUSE, _WHOLE), "less"),
        Look("turning", "seconds", _turning, "less"),
        Look("pausing, of the time", "share", _ratio(_PAUSE, _STAGES), "less"),
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
        # The least time below which, itself counted in, there is so large a share of all.
        wanted = share * below[..., -1:]
        found = edges[np.argmax(below >= wanted, axis=-1)]
        return np.where(below[..., -1] > 0, found, np.nan)

    return of
