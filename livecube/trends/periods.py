"""Days, months or years, one after the other."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from livecube.trends.bootstrap import block_sums, drawn, interval, joined
from livecube.trends.values import Period

if TYPE_CHECKING:
    from livecube.trends.bootstrap import Floats
    from livecube.trends.values import Interval, SolveColumns, Whole

__all__ = ["periods_of"]

_MOST: Final = 24
_LENGTHS: Final = ("U10", "U7", "U4")
"""Types that cut a day down to its day, month and year."""


def periods_of(
    columns: SolveColumns, results: Whole, rng: np.random.Generator
) -> tuple[Period, ...]:
    """The shortest periods of which there are not too many; years in any case."""
    for length in _LENGTHS:
        names = columns.day.astype(length)
        first = np.flatnonzero(np.concatenate([[True], names[1:] != names[:-1]]))
        if len(first) <= _MOST:
            break
    return tuple(
        _period(str(names[rows[0]]), columns, results, rows, rng)
        for rows in np.split(np.arange(len(names)), first[1:])
    )


def _period(
    name: str, columns: SolveColumns, results: Whole, rows: Whole, rng: np.random.Generator
) -> Period:
    seconds = results[rows][results[rows] >= 0] / 1000
    measured = rows[columns.whole[rows] != 0]
    splits = columns.splits_ms[measured] / 1000
    total = splits.sum()
    return Period(
        name=name or "undated",
        solves=len(rows),
        times=len(seconds),
        mean=_mean(seconds, rng) if len(seconds) else None,
        best=float(seconds.min()) if len(seconds) else None,
        deviation=float(seconds.std()) if len(seconds) else None,
        splits=tuple(splits.mean(0).tolist()) if len(measured) else None,
        pause=float(columns.pause_ms[measured].sum() / 1000 / total) if total > 0 else None,
    )


def _mean(seconds: Floats, rng: np.random.Generator) -> Interval:
    table = np.stack([seconds, np.ones(len(seconds))], axis=1)
    sums = block_sums(table, joined(np.arange(len(seconds), dtype=np.int64)))
    return interval(sums, drawn(len(sums), rng) @ sums, lambda s: s[..., 0] / s[..., 1])
