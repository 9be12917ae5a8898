"""Which of the sequences found are told, when not all of them are.

What is chosen are row numbers, in the order of their worth: predicted seconds, then turns, then
upper-layer pieces kept, then the more special technique.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

import numpy as np
import numpy.typing as npt
from numba import njit

if TYPE_CHECKING:
    from collections.abc import Callable

    from livecube.advice.chances import Chances
    from livecube.search.task import Found

__all__ = ["Chosen", "best_rows", "one_each"]

Seconds: TypeAlias = npt.NDArray[np.float64]
Counts: TypeAlias = npt.NDArray[np.int64]
Chosen: TypeAlias = "Callable[[Seconds, Counts, Found, Chances, int | None], list[int]]"
"""Takes what each sequence costs (``inf``: too much) and how many upper-layer pieces it keeps."""


def best_rows(
    seconds: Seconds, top: Counts, found: Found, chances: Chances, most: int | None
) -> list[int]:
    """The first ``most`` rows; all if it is None.

    Of a sequence that several techniques found the first name is enough then; and the best
    row that fills two slots comes along, for by its seconds alone it stands behind rows that
    fill one.
    """
    order = np.lexsort((chances.general[found.tasks], -top, found.lengths, seconds))
    order = order[: np.count_nonzero(np.isfinite(seconds))]
    if most is None:
        return order.tolist()  # type: ignore[no-any-return]
    rows: list[int] = []
    told: set[tuple[bytes, tuple[int, ...]]] = set()
    for row in order.tolist():
        if len(rows) == most:
            break
        slots = chances.each[int(found.tasks[row])].slots
        key = found.turns[row, : found.lengths[row]].tobytes(), slots
        if key not in told:
            told.add(key)
            rows.append(row)
    if chances.doubles is not None:
        doubles = order[chances.doubles[found.tasks[order]]]
        rows += [row for row in doubles[:1].tolist() if row not in rows]
    return rows


def one_each(
    seconds: Seconds, top: Counts, found: Found, chances: Chances, most: int | None
) -> list[int]:
    """The first row of each group, see :class:`~livecube.advice.chances.Chances`."""
    rows = np.empty(len(chances.groups), dtype=np.int64)
    count = _one_each(
        seconds, found.lengths, top, found.tasks, chances.general, chances.groups, rows
    )
    return rows[:count].tolist()  # type: ignore[no-any-return]


@njit(cache=True, nogil=True)
def _before(one, other, seconds, lengths, top, tasks, general):  # type: ignore[no-untyped-def]
    """Whether a row is worth more than another; of equal ones the earlier is."""
    if seconds[one] != seconds[other]:
        return seconds[one] < seconds[other]
    if lengths[one] != lengths[other]:
        return lengths[one] < lengths[other]
    if top[one] != top[other]:
        return top[one] > top[other]
    if general[tasks[one]] != general[tasks[other]]:
        return general[tasks[one]] < general[tasks[other]]
    return one < other


@njit(cache=True, nogil=True)
def _one_each(seconds, lengths, top, tasks, general, groups, rows):  # type: ignore[no-untyped-def]
    """Write the first row of each group to ``rows``, in their order; how many there are."""
    best = np.full(groups.shape[0], -1, dtype=np.int64)
    for row in range(lengths.shape[0]):
        at = groups[tasks[row]]
        is_better = best[at] < 0 or _before(row, best[at], seconds, lengths, top, tasks, general)
        if is_better and np.isfinite(seconds[row]):
            best[at] = row
    count = 0
    for row in best:
        if row < 0:
            continue
        at = count
        while at and _before(row, rows[at - 1], seconds, lengths, top, tasks, general):
            rows[at] = rows[at - 1]
            at -= 1
        rows[at] = row
        count += 1
    return count
