"""What is seen of the hands: turns, the stage that each belongs to, and how long each took.

Gaps between turns are told in two ways: against the solver's usual pace (a rotation or a
pause takes longer), and in thousandths of a second (the two reports of one slice come almost
at once).
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass, field
from itertools import pairwise
from statistics import median
from typing import TYPE_CHECKING, Final

from livecube.holding.attitude import turned_between
from livecube.holding.kernel import room_for

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.holding.attitude import Quaternion
    from livecube.holding.kernel import Seen

__all__ = [
    "CLOSE_MS",
    "PACES",
    "STAGES",
    "Pace",
    "SolvePart",
    "StageClock",
    "believe",
    "observe",
    "stage_name_numbers",
]

STAGES: Final = ("cross", "pair", "orient", "permute", "auf")
"""Names of stages, by number."""

_NAMES: Final = (0, 1, 1, 1, 1, 2, 3, 4)
"""Number of the name of each of the eight stages of a solve."""

PACES: Final = (0.7, 1.0, 1.3, 1.7, 2.2, 3.0, 4.2, 6.0)
"""Bounds of the classes of gaps, in usual gaps between turns."""

CLOSE_MS: Final = (5, 10, 15, 20, 25, 30, 40, 55, 75, 100, 150)
"""Bounds of the classes of short gaps, in milliseconds."""

_USUAL_S: Final = 0.2
"""Taken for the usual gap before anything was seen."""
_SLICE_MS: Final = 55
"""Shorter gaps may lie inside a slice, and say nothing about the pace."""
_REMEMBERED: Final = 25


def stage_name_numbers(stages: Sequence[int]) -> list[int]:
    """For stages 0 to 7 the numbers of their names."""
    return [_NAMES[stage] for stage in stages]


class Pace:
    """The usual gap between turns, as far as it has been seen."""

    def __init__(self) -> None:
        self._gaps: list[float] = [_USUAL_S]
        self._last: float | None = None

    def classes(self, t: float) -> tuple[int, int]:
        """Take in the time of the next turn; the class of its gap by pace, and when short."""
        if self._last is None:
            self._last = t
            return len(PACES), len(CLOSE_MS)
        gap, self._last = max(0.0, t - self._last), t
        by_pace = bisect_right(PACES, gap / median(self._gaps))
        milliseconds = round(1000 * gap, 3)
        if milliseconds >= _SLICE_MS:
            self._gaps = [*self._gaps, gap][-_REMEMBERED:]
        return by_pace, bisect_right(CLOSE_MS, milliseconds)


class StageClock:
    """Counts the turns since a stage began."""

    def __init__(self) -> None:
        self._stage: int | None = None
        self._since = 0

    def tick(self, stage: int) -> tuple[int, int]:
        """A turn in this stage (0 to 7): number of the stage's name, turns since it began."""
        self._since = 0 if stage != self._stage else min(2, self._since + 1)
        self._stage = stage
        return _NAMES[stage], self._since


@dataclass(frozen=True, slots=True)
class SolvePart:
    """Turns in order, with the stage in whose course each was made."""

    turns: Sequence[int]
    """Fixed-frame turns."""
    times: Sequence[float]
    """Seconds on the cube's clock."""
    stages: Sequence[int]
    """The stage of each turn: cross 0, pairs 1 to 4, orient 5, permute 6, auf 7."""
    cross: int
    """Face of the cross colour; −1 if it is not known."""
    stated: dict[int, int] = field(default_factory=dict)
    """Holdings that the solver stated: number of the holding, by index of the next turn."""
    attitudes: Sequence[Quaternion | None] = ()
    """How the core stood in space at each turn; empty without a gyroscope."""


def observe(part: SolvePart) -> Seen:
    """All that is seen of a solve, or of a part of it."""
    seen = room_for(len(part.turns))
    pace, clock = Pace(), StageClock()
    rows = zip(part.turns, part.times, part.stages, strict=True)
    for i, (turn, t, stage) in enumerate(rows):
        seen.turns[i] = turn
        seen.stages[i], seen.since[i] = clock.tick(stage)
        seen.paces[i], seen.close[i] = pace.classes(t)
    for i, (before, after) in enumerate(pairwise(part.attitudes), start=1):
        seen.turned[i] = turned_between(before, after)
    for i, holding in part.stated.items():
        believe(seen, i, holding)
    return seen


def believe(seen: Seen, turn: int, holding: int) -> None:
    """The solver says that the cube was held so before a turn."""
    told = seen.evidence[turn, holding]
    seen.evidence[turn] = 0.0
    # However unlikely: from every state the hands can have rotated the cube there.
    seen.evidence[turn, holding] = told or 1.0
