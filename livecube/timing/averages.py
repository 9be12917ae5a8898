"""Means and averages of results.

World Cube Association Regulations (April 1, 2026): average of 5 and mean of 3. Averages of 12,
50 and 100 are common practice, no published source: a twentieth of the results, rounded up, is
left out at either end. For 5 this agrees with the Regulations.
"""

from __future__ import annotations

import sys
from bisect import bisect_left, insort
from typing import TYPE_CHECKING, Final

from livecube.timing.results import DNF, NO_TIMES, TEN_MINUTES_MS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.timing.results import Result

__all__ = [
    "AVERAGES_OF",
    "average",
    "best_average",
    "current_averages",
    "left_out",
    "mean",
    "rounded",
]

AVERAGES_OF: Final = (5, 12, 50, 100)
_MEAN_OF: Final = 3
_NO_TIME_MS: Final = sys.maxsize
"""Stands for a DNF or DNS: worse than any time."""


def rounded(total_ms: int, count: int) -> int:
    """The mean of ``count`` times that add up to ``total_ms``, rounded.

    Article 9f1: under ten minutes to 0.01 s; 9f2: from there on to whole seconds. A half goes
    up.
    """
    step = 10 if total_ms < TEN_MINUTES_MS * count else 1000
    return (2 * total_ms + step * count) // (2 * step * count) * step


def mean(results: Sequence[Result]) -> Result:
    """The mean of all results.

    Articles 9f10 and 9f11: any DNF or DNS makes it DNF.
    """
    times = [result for result in results if not isinstance(result, str)]
    if len(times) < len(results):
        return DNF
    return rounded(sum(times), len(times))


def average(results: Sequence[Result]) -> Result:
    """The average without the best and the worst results.

    Article 9f8: of five the best and the worst are left out; 9f9: a DNF or DNS is the worst
    result, and if there are more of them than are left out, the average is DNF.
    """
    aside = left_out(len(results))
    ordered = sorted(results, key=_badness)
    return mean(ordered[aside : len(results) - aside])


def left_out(count: int) -> int:
    """How many of ``count`` results are left out at either end."""
    return -(-count // 20)


def current_averages(results: Sequence[Result]) -> dict[str, Result]:
    """The averages that end with the last result, if there are enough results.

    Keys: ``mean of 3``, ``average of 5`` and so on.
    """
    found: dict[str, Result] = {}
    if len(results) >= _MEAN_OF:
        found[f"mean of {_MEAN_OF}"] = mean(results[-_MEAN_OF:])
    for count in AVERAGES_OF:
        if len(results) >= count:
            found[f"average of {count}"] = average(results[-count:])
    return found


def best_average(results: Sequence[Result], count: int) -> Result | None:
    """The best average of ``count`` results in a row; None if there are fewer results.

    The window of results stays sorted while it moves on, so that a long history is quick.
    """
    if len(results) < count:
        return None
    aside = left_out(count)
    keys = [_NO_TIME_MS if isinstance(result, str) else result for result in results]
    ordered = sorted(keys[:count])
    total = sum(ordered)
    least = _NO_TIME_MS
    for at in range(count, len(keys) + 1):
        # With more results without a time than are left out, it is no less than one of them.
        counted = total - sum(ordered[:aside]) - sum(ordered[-aside:])
        least = min(least, counted)
        if at < len(keys):
            del ordered[bisect_left(ordered, keys[at - count])]
            insort(ordered, keys[at])
            total += keys[at] - keys[at - count]
    return DNF if least == _NO_TIME_MS else rounded(least, count - 2 * aside)


def _badness(result: Result) -> tuple[bool, int]:
    return (True, 0) if result in NO_TIMES else (False, int(result))
