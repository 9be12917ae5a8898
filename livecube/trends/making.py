"""From columns of solves and chances to trends."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from livecube.trends.figures import (
    FEWEST,
    block_sums,
    difference,
    drawn,
    interval,
    joined,
    looks,
    results_ms,
    sums_of,
)
from livecube.trends.losses import losses_of
from livecube.trends.measures import Change, Figure, Month, Period, Trends
from livecube.trends.uptake import focus_uptake, left_a_solve, uptakes
from livecube.trends.worth import worths

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.trends.figures import Floats, Look
    from livecube.trends.measures import (
        ChanceColumns,
        FocusColumns,
        Interval,
        LossColumns,
        SolveColumns,
        Uptake,
        Verdict,
        Whole,
        WorthColumns,
    )

__all__ = ["blocks_of", "month_of", "periods_of", "places_of", "trends_of"]

# Days, months or years, one after the other.


_MOST: Final = 24
_LENGTHS: Final = ("U10", "U7", "U4")
"""String types that cut a date to its day, month or year."""


def periods_of(
    columns: SolveColumns, results: Whole, rng: np.random.Generator
) -> tuple[Period, ...]:
    """The solves by day if there are few enough days, else by month, else by year."""
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


# Few figures of a month of solves, computed fast enough for a user who waits.


def month_of(columns: SolveColumns, chances: ChanceColumns, without: int | None = None) -> Month:
    """The figures of a month of solves; mean and times leave out the session ``without``."""
    results = results_ms(columns)
    counted = results >= 0
    if without is not None:
        counted &= columns.session != without
    times = results[counted]
    return Month(
        mean=float(times.mean()) / 1000 if len(times) else None,
        times=len(times),
        reviewed=len(np.unique(chances.solve)),
        came=len(chances.solve),
        taken=int((chances.taken != 0).sum()),
    )


_BARS: Final = 24
_STEPS_MS: Final = (100, 200, 500, 1_000, 2_000, 5_000, 10_000, 20_000, 50_000, 100_000)


def trends_of(
    columns: SolveColumns,
    chances: ChanceColumns,
    rng: np.random.Generator,
    focus: FocusColumns | None = None,
    worth: WorthColumns | None = None,
    losses: LossColumns | None = None,
) -> Trends | None:
    """The trends of solves; None if none of them has a time."""
    results = results_ms(columns)
    if not (results >= 0).any():
        return None
    block, resampled = blocks_of(columns)
    figures = _figures(columns, results, block, rng)
    reviewed, left, techniques, slots = _chances(columns, chances, block, rng)
    return Trends(
        solves=len(results),
        times=int((results >= 0).sum()),
        first=columns.first,
        last=columns.last,
        days=(str(columns.day[0]), str(columns.day[-1])),
        resampled=resampled,
        figures=figures,
        counts=_counts(results),
        periods=periods_of(columns, results, rng),
        reviewed=reviewed,
        left=left,
        techniques=techniques,
        slots=slots,
        focus=None
        if focus is None
        else focus_uptake(focus, block[places_of(columns, focus.solve)], rng),
        worth=() if worth is None else worths(worth, block[places_of(columns, worth.solve)]),
        losses=None
        if losses is None
        else losses_of(losses, block[places_of(columns, losses.solve)], rng),
    )


def _chances(
    columns: SolveColumns, chances: ChanceColumns, block: Whole, rng: np.random.Generator
) -> tuple[int, Interval | None, tuple[Uptake, ...], tuple[Uptake, ...]]:
    """Number of reviewed solves, seconds missed in them, uptake by technique and by slot."""
    # Solves and blocks are in the order in which the solves were made.
    of = places_of(columns, chances.solve)
    is_reviewed = np.zeros(len(columns.number), dtype=np.bool_)
    is_reviewed[of] = True
    reviewed, row = np.flatnonzero(is_reviewed), (np.cumsum(is_reviewed) - 1)[of]
    if not len(reviewed):
        return 0, None, (), ()
    its = np.unique(block[reviewed], return_inverse=True)[1]
    weights = drawn(int(its[-1]) + 1, rng)
    return (
        len(reviewed),
        left_a_solve(chances, row, its, weights),
        uptakes(chances, chances.techniques, chances.technique, row, its, weights),
        uptakes(chances, chances.slots, chances.slot, row, its, weights),
    )


def places_of(columns: SolveColumns, numbers: Whole) -> Whole:
    """The rows of solves in the columns, by their numbers in the history."""
    place = np.full(int(max(columns.number.max(), numbers.max(initial=0))) + 1, -1)
    place[columns.number] = np.arange(len(columns.number))
    return place[numbers]


def blocks_of(columns: SolveColumns) -> tuple[Whole, Literal["sessions", "solves"]]:
    """The block of each solve, numbered from 0 in order, and the kind of block."""
    # An evening may cross midnight: days separate only solves without a session.
    other_day = (columns.day[1:] != columns.day[:-1]) & (columns.session[1:] < 0)
    new = other_day | (columns.session[1:] != columns.session[:-1])
    block = np.concatenate([[0], np.cumsum(new)]).astype(np.int64)
    if block[-1] + 1 >= 2 * FEWEST:
        return joined(block), "sessions"
    return joined(np.arange(len(columns.day), dtype=np.int64)), "solves"


def _figures(
    columns: SolveColumns, results: Whole, block: Whole, rng: np.random.Generator
) -> tuple[Figure, ...]:
    sums, edges = sums_of(columns, results, block)
    looked = looks(edges)
    samples = drawn(len(sums), rng) @ sums
    half = len(sums) // 2
    parts = (sums[:half], sums[half:]) if half else ()
    halves = [(part, drawn(len(part), rng) @ part) for part in parts]
    found = []
    for look in looked:
        whole = interval(sums, samples, look.statistic)
        if np.isfinite(whole.value):
            change = _change(look, halves, len(looked)) if half else None
            found.append(Figure(look.name, look.unit, whole, change))
    return tuple(found)


def _change(look: Look, halves: Sequence[tuple[Floats, Floats]], looked: int) -> Change | None:
    before, after = halves
    was, now = (float(look.statistic(part[0].sum(0))) for part in halves)
    if not np.isfinite(was) or not np.isfinite(now):
        return None
    found = difference(before, after, look.statistic, looked)
    return Change(was, now, found, _verdict(look, found.low, found.high, len(before[0])))


def _verdict(look: Look, low: float | None, high: float | None, blocks: int) -> Verdict:
    if low is None or high is None or blocks < FEWEST:
        return "too few"
    if low <= 0 <= high:
        return "noise"
    if look.better == "neither":
        return "changed"
    return "better" if (high < 0) == (look.better == "less") else "worse"


def _counts(results: Whole) -> tuple[tuple[float, float, int], ...]:
    """A histogram of the times: from, to (seconds) and count of each step, of round width."""
    times = results[results >= 0]
    # The last step takes all outliers, or a single one would set the scale.
    least, most = int(times.min()), int(np.quantile(times, 0.99, method="lower"))
    width = next((step for step in _STEPS_MS if most - least < _BARS * step), most // _BARS + 1)
    first = least // width * width  # whole milliseconds: every time is in exactly one step
    bars = (most - first) // width + 1
    counts = np.bincount(np.minimum((times - first) // width, bars - 1), minlength=bars).tolist()
    ends = [(first + width * n) / 1000 for n in range(bars + 1)]
    ends[-1] = max(ends[-1], int(times.max()) / 1000)
    return tuple(zip(ends[:-1], ends[1:], counts, strict=True))
