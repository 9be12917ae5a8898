"""From cube events to progress: position, solves, stages. Pure: values in, values out.

The same tracker serves a live cube and a log. Without solve marks it finds the solves
itself: one that begins in a given position begins with its first turn; after a solved cube
the scramble is in the turns, and the solve begins after the longest pause before the first
cross that is held. Once a mark of a solve is seen, marks alone say when one begins.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from livecube.cube.holding import Holding
from livecube.cube.position import SOLVED_BYTES, TURN_BYTES, twisted_corners
from livecube.events import (
    AnyHolding,
    Asked,
    Attitude,
    Battery,
    ClockAccount,
    CubeEvent,
    DeviceInfo,
    Gap,
    HoldingMark,
    LinkChange,
    Packet,
    Reset,
    SolveMark,
    State,
    Turn,
)
from livecube.stages.frame import slots_of
from livecube.stages.live import Narrator
from livecube.stages.progress import (
    BatteryLevel,
    ClockTold,
    DeviceTold,
    HeldAs,
    LinkChanged,
    Lost,
    Progress,
    Resynced,
    SolveOver,
    Turned,
)
from livecube.stages.record import Record, is_scrambled
from livecube.stages.solve import summarise

if TYPE_CHECKING:
    from collections.abc import Iterable

__all__ = ["Tracker"]


class Tracker:
    """Follows one cube. ``position``: 20 facelets in which it stands at first."""

    def __init__(self, position: bytes = SOLVED_BYTES) -> None:
        self.position = position
        """The present position."""
        self.line = 0
        """Number of turn lines so far."""
        self.holding: Holding | None = None
        """The holding last stated, if any was."""
        self._attitude: tuple[float, float, float, float] | None = None
        """How the cube stood in space when it said so last."""
        self._marked = False
        """Whether marks say where solves begin and end."""
        self._inspecting = False
        """Whether a mark said that the cube is looked at before a solve."""
        self._record: Record | None = None
        """The attempt under way; None while the turns belong to no solve (marks said so)."""
        self._narrator: Narrator
        self._open(begun=position != SOLVED_BYTES)

    @property
    def before_solve(self) -> bool:
        """Whether a cube that rests now is looked at before a solve, as far as can be told.

        Marks say so, or else it stands scrambled and no solve has been seen to begin.
        """
        record = self._record
        if record is None:
            return self._inspecting and self.position != SOLVED_BYTES
        if record.begun:
            return not record.turns and self.position != SOLVED_BYTES
        return self._narrator.shown is None and is_scrambled(self.position)

    def feed(self, event: CubeEvent) -> list[Progress]:
        """Take in the next event; what it brought, in order."""
        match event:
            case Turn():
                return self._turn(event)
            case SolveMark():
                return self._mark(event)
            case State():
                return self._state(event)
            case Reset():
                return self._reset(event)
            case Gap():
                if self._record:
                    self._record.lose(event.since)
                return [Lost(event.t, event.lost)]
            case HoldingMark():
                return self._held(event.t, Holding.of(event.up, event.front))
            case AnyHolding():
                return self._held(event.t, None)
            case Battery():
                return [BatteryLevel(event.t, event.percent)]
            case LinkChange():
                return [LinkChanged(event.t, event.up)]
            case DeviceInfo():
                return [DeviceTold(event.t, event.told)]
            case ClockAccount():
                return [ClockTold(event.t, event.drift_ppm, event.late_ms)]
            case Attitude():
                self._attitude = event.quaternion
                return []
            case Packet() | Asked():
                return []

    def feed_all(self, events: Iterable[CubeEvent]) -> list[Progress]:
        """Take in events and then the end of them."""
        told = [progress for event in events for progress in self.feed(event)]
        return told + self.finish()

    def finish(self) -> list[Progress]:
        """There are no more events: a solve under way ends unsolved."""
        record = self._record
        return self._close(record.times[-1]) if record and record.times else []

    def _turn(self, event: Turn) -> list[Progress]:
        record = self._record
        self.line += 1
        if record is None:
            self.position = self.position.translate(TURN_BYTES[event.turn])
            where = self.position, None, None, (), self._attitude
            return [Turned(event.t, event.turn, self.line, *where)]
        if event.inferred:
            record.inferred.add(self.line)
        seen = record.add(event.turn, event.t)
        self.position = record.position
        news = self._narrator.tell(event.t, seen)
        told: list[Progress] = [self._turned(event), *news]
        if self.position == SOLVED_BYTES:
            told += self._close(event.t)
        return told

    def _turned(self, event: Turn) -> Turned:
        row, shown = self._narrator.row, self._narrator.shown
        return Turned(
            t=event.t,
            turn=event.turn,
            line=self.line,
            position=self.position,
            cross=shown.frame.colour if shown else None,
            offset=row.offset if row else None,
            solved_slots=slots_of(shown.frame, row.solved) if shown and row else (),
            attitude=self._attitude,
            kept=slots_of(shown.frame, shown.held.held) if shown else (),
        )

    def _mark(self, event: SolveMark) -> list[Progress]:
        told = self._close(event.t) if self._marked else []
        self._marked = True
        self._inspecting = event.phase == "inspect"
        self._record = None
        if event.phase == "start":
            self._open(begun=True, solve_id=event.id)
        return told

    def _held(self, t: float, holding: Holding | None) -> list[Progress]:
        self.holding = holding
        if self._record:
            self._record.holdings.append((self.line, holding))
        return [HeldAs(t, holding)]

    def _state(self, event: State) -> list[Progress]:
        if event.position == self.position:
            return []
        twisted = twisted_corners(self.position, event.position)
        self.position = event.position
        told: list[Progress] = [Resynced(event.t, event.position, twisted)]
        record = self._record
        if record and record.turns:
            record.jump(event.position)
            if event.position == SOLVED_BYTES:
                told += self._close(event.t)
        elif record:
            begun = record.id is not None or event.position != SOLVED_BYTES
            # A cube that stood elsewhere before, and not just solved, has been turned unseen.
            lost = record.begun or bool(record.gaps)
            self._open(begun=begun, solve_id=record.id, lost=lost)
        return told

    def _reset(self, event: Reset) -> list[Progress]:
        told: list[Progress] = []
        if self._record and self.position != SOLVED_BYTES:
            self._record.lose()
            told = self._close(event.t)
        twisted = twisted_corners(self.position, SOLVED_BYTES)
        self.position = SOLVED_BYTES
        if not self._marked:
            self._open(begun=False)
        return [*told, Resynced(event.t, SOLVED_BYTES, twisted)]

    def _close(self, t: float) -> list[Progress]:
        """End the present attempt; its solve, if it holds one."""
        if self._record is None:
            return []
        solve = summarise(self._record)
        self._record = None
        if not self._marked:
            self._open(begun=self.position != SOLVED_BYTES)
        return [SolveOver(t, solve)] if solve else []

    def _open(self, *, begun: bool, solve_id: int | None = None, lost: bool = False) -> None:
        record = Record(self.line, [self.position], begun=begun, id=solve_id)
        if lost:
            record.lose()
        if self.holding:
            record.holdings.append((self.line, self.holding))
        self._record, self._narrator = record, Narrator(record)
