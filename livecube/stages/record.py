"""The turns of one attempt, with what all six cross colours saw of them."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass, field
from operator import eq
from typing import TYPE_CHECKING, Final

from livecube.cube.position import SOLVED_BYTES, TURN_BYTES
from livecube.stages.frame import FRAMES, CrossFrame, Row
from livecube.stages.held import Change, HeldSlots

if TYPE_CHECKING:
    from livecube.cube.holding import Holding

__all__ = ["Record", "Sight", "is_scrambled"]

_SCRAMBLED_AT_MOST: Final = 4
"""A cube counts as scrambled when at most this many of its 20 pieces are at home (a random
position has 0.8 on average; one more than this happens once in some 2,000)."""

_SCATTERED_AT_MOST: Final = 3
"""A colour's pieces are scattered on a scrambled cube when at most this many of the 12 pieces
of its cross and slots are in place."""

_LOST_PAUSE_S: Final = 4.0
"""A cross is lost for good if the solver pauses so many seconds before scattered pieces:
last-layer sequences with slices scatter them too, but nobody inspects in the middle of one."""


def is_scrambled(position: bytes) -> bool:
    """Whether so few pieces are at home that the cube has been scrambled."""
    at_home: int = sum(map(eq, position, SOLVED_BYTES))
    return at_home <= _SCRAMBLED_AT_MOST


@dataclass(slots=True)
class Sight:
    """What one cross colour has seen."""

    frame: CrossFrame
    held: HeldSlots = field(default_factory=HeldSlots)
    since: int = 0
    """Only pauses after this line can be the inspection before this colour's cross."""
    armed: bool = False
    """Whether its pieces have been scattered, so that a cross would be a new one."""
    start: int | None = None
    """Line of the solve's first turn, as this colour has it; None until it was asked for."""

    def look_at_scrambled(self, position: bytes, *, paused: bool) -> None:
        """Before a scrambled cube: arm, or start anew if the cross has been scrambled away."""
        if self.frame.pieces_in_place(position) > _SCATTERED_AT_MOST:
            return
        self.armed = True
        if paused and self.held.cross:
            self.since = self.held.rows[-1].line
            self.held = HeldSlots()
            self.start = None


@dataclass(slots=True)
class Record:
    """Turn lines since the cube stood at ``positions[0]``; line numbers are the log's.

    ``begun`` says that the solve begins with the record's first turn. Otherwise the cube
    was solved then, the scramble is in the turns, and the solve begins after the longest
    pause before the first cross that is held.
    """

    before: int
    """Number of turn lines before this record."""
    positions: list[bytes]
    """Before the first turn, and after each."""
    begun: bool
    id: int | None = None
    turns: list[int] = field(default_factory=list)
    times: list[float] = field(default_factory=list)
    inferred: set[int] = field(default_factory=set)
    """Lines whose turns were worked out."""
    gaps: set[int] = field(default_factory=set)
    """Lines after which turns were lost."""
    holdings: list[tuple[int, Holding | None]] = field(default_factory=list)
    """Stated holdings, each with the line after which it was stated."""
    sights: tuple[Sight, ...] = ()
    all_armed: bool = False

    def __post_init__(self) -> None:
        self.sights = tuple(Sight(frame, since=self.before + 1) for frame in FRAMES)
        for sight in self.sights:
            sight.armed = self.begun
            sight.start = self.before + 1 if self.begun else None

    @property
    def line(self) -> int:
        """Number of the last turn line."""
        return self.before + len(self.turns)

    @property
    def position(self) -> bytes:
        """The present position."""
        return self.positions[-1]

    def add(self, turn: int, t: float) -> list[tuple[Sight, Row, Change | None]]:
        """Add a turn line; the colours that see their cross whole now."""
        position = self.positions[-1].translate(TURN_BYTES[turn])
        if not self.begun:
            self._watch_scrambling(t)
        self.turns.append(turn)
        self.times.append(t)
        self.positions.append(position)
        line, seen = self.line, []
        for sight in self.sights:
            frame = sight.frame
            if position[frame.first_edge] in frame.near and sight.armed:
                row = frame.row(line, position)
                if row is not None:
                    seen.append((sight, row, sight.held.settle(row)))
        return seen

    def lose(self, since: float | None = None) -> None:
        """Turns were lost after the last line, or at any time ``since`` then."""
        first = self.line
        if since is not None:
            first = self.before + bisect_right(self.times, since)
        self.gaps.update(range(first, self.line + 1))

    def jump(self, position: bytes) -> None:
        """The cube stands in ``position`` after the last line: turns were lost there."""
        self.positions[-1] = position
        self.lose()
        for sight in self.sights:
            if sight.armed and (row := sight.frame.row(self.line, position)):
                sight.held.settle(row)

    def _watch_scrambling(self, t: float) -> None:
        """Before the turn at ``t``, see whether the cube has been scrambled, perhaps once more."""
        paused = bool(self.times) and t - self.times[-1] >= _LOST_PAUSE_S
        if not paused and self.all_armed:
            return
        watched = [sight for sight in self.sights if paused or not sight.armed]
        if watched and is_scrambled(self.position):
            for sight in watched:
                sight.look_at_scrambled(self.position, paused=paused)
            self.all_armed = all(sight.armed for sight in self.sights)

    def start(self, sight: Sight) -> int | None:
        """Line of the solve's first turn, as a cross colour has it; None if it cannot be told."""
        if sight.start is None and sight.held.cross:
            candidates = range(max(sight.since, self.before + 1) + 1, sight.held.cross.line + 1)
            sight.start = max(candidates, key=self.pause_before, default=None)
        return sight.start

    def pause_before(self, line: int) -> float:
        """Seconds between a line of this record (not its first) and the one before."""
        return self.time(line) - self.time(line - 1)

    def time(self, line: int) -> float:
        """When a line of this record was turned."""
        return self.times[line - self.before - 1]

    def position_after(self, line: int) -> bytes:
        """The position after a line (``before``: at the record's start)."""
        return self.positions[line - self.before]

    def turns_between(self, after: int, until: int) -> list[int]:
        """Turns of the lines after one line, up to and including another."""
        return self.turns[after - self.before : until - self.before]

    def holding_at(self, line: int) -> Holding | None:
        """The holding last stated before or at a line."""
        stated = [holding for at, holding in self.holdings if at <= line]
        return stated[-1] if stated else None
