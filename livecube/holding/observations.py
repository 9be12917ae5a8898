"""The observations of the hands: turns, the stage of each, and the gaps between them.

A gap is classed in two ways: against the solver's usual pace (a rotation or a pause takes
longer), and in milliseconds (the two reports of one slice come almost at once).
"""

from __future__ import annotations

from bisect import bisect_right
from collections import deque
from dataclasses import dataclass, field
from itertools import pairwise
from statistics import median
from typing import TYPE_CHECKING, Final, TypeAlias

from livecube.cube.geometry import OPPOSITE
from livecube.cube.holding import HOLDINGS, parse_colour
from livecube.events import HeldAs
from livecube.holding.kernel import room_for, turned_between
from livecube.stages.progress import SolveOver, Turned

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from livecube.holding.kernel import Quaternion, Seen
    from livecube.stages.progress import Progress
    from livecube.stages.solve import Solve

__all__ = [
    "CLOSE_MS",
    "PACES",
    "STAGES",
    "TEMPOS",
    "Observer",
    "Path",
    "SolvePart",
    "SolveTurns",
    "Solves",
    "Step",
    "believe",
    "is_tilted",
    "observe",
    "solves_in",
    "stage_name_numbers",
]

# A path: the moves of the hands, and the holding at each.
_DOWN: Final = [held.faces[5] for held in HOLDINGS]


def is_tilted(holding: int, cross: int) -> bool:
    """Whether the cross is known and not down."""
    return cross >= 0 and _DOWN[holding] != cross


@dataclass(frozen=True, slots=True)
class Step:
    """One hand move."""

    first: int
    """Index of its first turn among the observations."""
    reports: int
    """Number of its turns: 1, or 2 for a slice."""
    holding: int
    """Number of the holding when it began."""
    move: int
    """Hand move, 0 to 44; see :mod:`livecube.holding.written`."""


Path: TypeAlias = list[Step]
"""The moves that make all turns of a solve, in order."""


STAGES: Final = ("cross", "pair", "orient", "permute", "auf")
"""Names of stages, by number."""

_NAMES: Final = (0, 1, 1, 1, 1, 2, 3, 4)
"""Number of the name of each of the eight stages of a solve."""

PACES: Final = (0.7, 1.0, 1.3, 1.7, 2.2, 3.0, 4.2, 6.0)
"""Bounds of the classes of gaps, in usual gaps between turns."""

CLOSE_MS: Final = (5, 10, 15, 20, 25, 30, 40, 55, 75, 100, 150)
"""Bounds of the classes of short gaps, in milliseconds."""

TEMPOS: Final = (0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.1, 1.2, 1.35, 1.5, 1.7, 2.0, 2.5, 3.2)
"""Bounds of the finer classes of gaps, for the tempo of a move, in usual gaps."""

_USUAL_S: Final = 0.2
"""The usual gap before any gap is known, seconds."""
_SLICE_MS: Final = 55
"""Shorter gaps may lie inside a slice, so they do not count for the pace."""
_REMEMBERED: Final = 100
"""Number of gaps for the pace: those of a solve or two."""


def stage_name_numbers(stages: Sequence[int]) -> list[int]:
    """For stages 0 to 7 the numbers of their names."""
    return [_NAMES[stage] for stage in stages]


class Observer:
    """Takes in the turns of a solve one after the other."""

    def __init__(self, seen: Seen, gaps: Iterable[float] = (), *, learns: bool = True) -> None:
        """Write the observations into ``seen``.

        ``gaps``: earlier gaps between turns of the same hands, seconds, for their usual pace; new
        ones are added if it ``learns``.
        """
        self.gaps = deque([gap for gap in gaps if _tells_pace(gap)] or [_USUAL_S], _REMEMBERED)
        """The last gaps that count for the pace."""
        self._usual = median(self.gaps)
        self._learns = learns
        self._seen = seen
        self._count = 0
        self._stage: int | None = None
        self._since = 0
        self._last = 0.0

    def look(self, turn: int, t: float, stage: int) -> None:
        """Write the observations of the next turn, made during a stage (0 to 7)."""
        seen, i = self._seen, self._count
        self._since = 0 if stage != self._stage else min(2, self._since + 1)
        self._stage = stage
        seen.turns[i], seen.stages[i], seen.since[i] = turn, _NAMES[stage], self._since
        seen.paces[i], seen.close[i] = len(PACES), len(CLOSE_MS)
        if i:
            self._look_at_gap(i, max(0.0, t - self._last))
        self._last = t
        self._count += 1

    def _look_at_gap(self, i: int, gap: float) -> None:
        seen, by_pace = self._seen, gap / self._usual
        seen.paces[i] = bisect_right(PACES, by_pace)
        seen.close[i] = bisect_right(CLOSE_MS, _milliseconds(gap))
        face, before = (int(turn) // 3 for turn in seen.turns[[i, i - 1]])
        if self._since and before not in (face, OPPOSITE[face]):
            seen.tempos[i] = 1 + bisect_right(TEMPOS, by_pace)
        if self._learns and _tells_pace(gap):
            self.gaps.append(gap)
            self._usual = median(self.gaps)


def _milliseconds(gap: float) -> float:
    return round(1000 * gap, 3)


def _tells_pace(gap: float) -> bool:
    return _milliseconds(gap) >= _SLICE_MS


@dataclass(frozen=True, slots=True)
class SolvePart:
    """Turns in order, with the stage of each."""

    turns: Sequence[int]
    """Fixed-frame turns."""
    times: Sequence[float]
    """Seconds on the cube's clock."""
    stages: Sequence[int]
    """The stage of each turn: cross 0, pairs 1 to 4, orient 5, permute 6, auf 7."""
    cross: int
    """Face of the cross colour; −1 if unknown."""
    stated: dict[int, int] = field(default_factory=dict)
    """Holdings that the solver stated: number of the holding, by index of the next turn."""
    attitudes: Sequence[Quaternion | None] = ()
    """Attitude of the core at each turn; empty without a gyroscope."""


def observe(part: SolvePart) -> Seen:
    """The observations of a solve, or of a part of it."""
    seen = room_for(len(part.turns))
    gaps = [later - t for t, later in pairwise(part.times)]
    observer = Observer(seen, gaps, learns=False)
    for turn, t, stage in zip(part.turns, part.times, part.stages, strict=True):
        observer.look(turn, t, stage)
    for i, (before, after) in enumerate(pairwise(part.attitudes), start=1):
        seen.turned[i] = turned_between(before, after)
    for i, holding in part.stated.items():
        believe(seen, i, holding)
    return seen


def believe(seen: Seen, turn: int, holding: int) -> None:
    """Take in a stated holding before a turn."""
    told = seen.evidence[turn, holding]
    seen.evidence[turn] = 0.0
    # Also if it seems unlikely: from every state the hands can have rotated the cube to it.
    seen.evidence[turn, holding] = told or 1.0


# Solves cut out of the tracker's progress, each with the stage of every turn.


@dataclass(frozen=True, slots=True)
class SolveTurns:
    """A solve in hindsight and its turns."""

    solve: Solve
    first_line: int
    """Turn line, counted from 1 in the log, of the first turn."""
    part: SolvePart


class Solves:
    """Takes in the tracker's progress, and gives each solve with its turns when it is over."""

    def __init__(self) -> None:
        self._turned: list[Turned] = []
        self._stated: dict[int, int] = {}
        """Stated holdings, by the line of the next turn."""
        self._now: int | None = None
        """The holding stated last."""
        self._line = 0

    def take(self, progress: Progress) -> SolveTurns | None:
        """Take in the next progress; returns a solve when it is over."""
        match progress:
            case Turned():
                self._turned.append(progress)
                self._line = progress.line
            case HeldAs(holding=holding):
                self._now = None if holding is None else HOLDINGS.index(holding)
                if self._now is not None:
                    self._stated[self._line + 1] = self._now
            case SolveOver(solve=solve):
                turned = [t for t in self._turned if t.line >= solve.start_turn]
                stated = {
                    max(0, line - solve.start_turn): holding
                    for line, holding in self._stated.items()
                    if line <= self._line
                }
                self._turned = []
                self._stated = {} if self._now is None else {self._line: self._now}
                return SolveTurns(solve, solve.start_turn, _part(solve, turned, stated))
        return None


def solves_in(told: Iterable[Progress]) -> list[SolveTurns]:
    """All solves in a tracker's progress."""
    solves = Solves()
    return [one for progress in told if (one := solves.take(progress)) is not None]


def _part(solve: Solve, turned: list[Turned], stated: dict[int, int]) -> SolvePart:
    ends = [split.end_turn for split in solve.splits if split.end_turn is not None]
    return SolvePart(
        [t.turn for t in turned],
        [t.t for t in turned],
        [sum(end < t.line for end in ends) for t in turned],
        -1 if solve.cross is None else parse_colour(solve.cross),
        stated,
        [t.attitude for t in turned],
    )
