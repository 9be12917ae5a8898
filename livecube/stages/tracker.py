"""From cube events to progress: position, solves, stages. Pure: values in, values out.

The same tracker serves a live cube and a log. Without solve marks it finds the solves
itself: one that begins in a given position begins with its first turn; after a solved cube
the scramble is in the turns, and the solve begins after the longest pause before the first
cross that is held. Once a mark of a solve is seen, marks alone say when one begins.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from livecube import events
from livecube.cube.position import SOLVED_BYTES, TURN_BYTES, twisted_corners
from livecube.stages.frame import ALL_SLOTS, LastLayer, Record, is_scrambled, slots_of
from livecube.stages.progress import (
    CrossColour,
    Progress,
    Reopened,
    Resynced,
    SolveBegun,
    SolveOver,
    StageDone,
    Turned,
)
from livecube.stages.solve import (
    Boundary,
    Doubt,
    cross_boundary,
    last_layer_boundaries,
    pair_boundaries,
    split,
    summarise,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from livecube.cube.holding import Holding
    from livecube.stages.frame import Change, Done, Row, Sight

__all__ = ["Narrator", "Resting", "Tracker"]

# A solve as it is reported while it goes on: its cross and its stages, in order.
#
# The cross colour is the first cross that is completed. Another colour replaces it, and an event
# says so, when that colour has a cross and a pair while the present cross is not whole, and more
# pairs than the present one holds: near the end of the first two layers other crosses come and go.


_Seen = tuple["Sight", "Row", "Change | None"]


class Narrator:
    """Turns the rows of one record's colours into announcements."""

    def __init__(self, record: Record) -> None:
        self.record = record
        self.shown: Sight | None = None
        self.row: Row | None = None
        """Row of the shown colour now; None in the middle of a sequence."""
        self._told, self._doubt = record.before, Doubt()
        """Line at which the stage announced last ended."""
        self._begun = False
        self._last_layer: LastLayer | None = None

    def tell(self, t: float, seen: Sequence[_Seen]) -> list[Progress]:
        """Announce the changes at the last line."""
        told = self._tell_begin(t, self.record.before + 1) if self.record.begun else []
        before = self.shown
        if before and before.held.cross is None:  # scrambled away: begin again
            self._begun, self.shown, self._last_layer, before = False, None, None, None
        shown = self._choose(seen) if seen else before
        self.row = None
        if shown is None:
            return told
        for sight, row, _ in seen:
            if sight is shown:
                self.row = row
        if before is not shown:
            self.shown = shown
            told += self._introduce(t, before, shown)
        elif change := next((c for sight, _, c in seen if sight is shown), None):
            told += self._tell_change(t, shown, change)
        if shown.held.held == ALL_SLOTS:
            told += self._tell_last_layer(t, shown)
        return told

    def _choose(self, seen: Sequence[_Seen]) -> Sight | None:
        shown = self.shown
        if shown is None:
            rivals = [sight for sight, _, _ in seen if sight.held.cross]
        elif shown.held.held == ALL_SLOTS or any(sight is shown for sight, _, _ in seen):
            return shown
        else:
            enough = shown.held.held.bit_count() + 1
            rivals = [
                sight
                for sight, row, _ in seen
                if sight.held.cross and not row.offset and row.solved.bit_count() >= enough
            ]
        return max(rivals, key=lambda s: s.held.held.bit_count(), default=shown)

    def _introduce(self, t: float, before: Sight | None, shown: Sight) -> list[Progress]:
        """Announce all stages that a newly shown colour has done so far."""
        start = self.record.start(shown)
        if start is None:
            return []
        told: list[Progress] = []
        if before:
            new, old = shown.frame.colour, before.frame.colour
            told.append(CrossColour(t, new, old, self.record.line))
        told += self._tell_begin(t, start)
        self._told, self._doubt = start - 1, Doubt()
        told.append(self._stage(t, shown, cross_boundary(shown)))
        return told + self._tell_pairs(t, shown, shown.held.done)

    def _tell_begin(self, t: float, start: int) -> list[Progress]:
        if self._begun:
            return []
        self._begun = True
        return [SolveBegun(t, self.record.id, start, self.record.time(start))]

    def _tell_change(self, t: float, shown: Sight, change: Change) -> list[Progress]:
        told: list[Progress] = []
        if change.reopened:
            slots = slots_of(shown.frame, change.reopened)
            told.append(Reopened(t, slots, self.record.line))
        return told + self._tell_pairs(t, shown, change.done)

    def _tell_pairs(self, t: float, shown: Sight, done: dict[int, Done]) -> list[Progress]:
        boundaries = pair_boundaries(self.record, shown, done, self._told)
        return [self._stage(t, shown, boundary) for boundary in boundaries]

    def _tell_last_layer(self, t: float, shown: Sight) -> list[Progress]:
        if self._last_layer is None:
            complete = shown.held.complete
            assert complete is not None, "all slots are held"
            self._last_layer = LastLayer(shown.frame, complete.line)
        new = self._last_layer.advance(self.record)
        if not new:
            return []
        boundaries = last_layer_boundaries(self.record, shown.frame, new)
        return [self._stage(t, shown, boundary) for boundary in boundaries]

    def _stage(self, t: float, shown: Sight, boundary: Boundary) -> StageDone:
        assert shown.start is not None
        done = StageDone(t, split(self.record, self._doubt, boundary, self._told, shown.start))
        self._told = max(self._told, boundary.line)
        return done


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
        """The cube's last reported attitude in space."""
        self._marked: str | None = None
        """The phase that the last mark began: once there is one, marks say where solves begin and
        end."""
        self._record: Record | None = None
        """The attempt under way; None while the turns belong to no solve, as marks said."""
        self._narrator: Narrator
        self._open(begun=position != SOLVED_BYTES)

    @property
    def before_solve(self) -> bool:
        """Whether a cube that rests now is being inspected before a solve, as far as is known.

        Marks say so, or the cube is scrambled and no solve has begun.
        """
        record = self._record
        if record is None:
            return self._marked == "inspect" and self.position != SOLVED_BYTES
        if record.begun:
            return not record.turns and self.position != SOLVED_BYTES
        return self._narrator.shown is None and is_scrambled(self.position)

    def feed(self, event: events.CubeEvent) -> list[Progress]:
        """Take in the next event; returns the progress it made, in order."""
        match event:
            case events.Turn():
                return self._turn(event)
            case events.SolveMark():
                return self._mark(event)
            case events.State():
                return self._state(event)
            case events.Reset():
                return self._reset(event)
            case events.Gap():
                if self._record:
                    self._record.lose(event.since)
                return [event]
            case events.HeldAs():
                return self._held(event)
            case (
                events.Battery() | events.LinkChange() | events.DeviceInfo() | events.ClockAccount()
            ):
                return [event]
            case events.Attitude():
                self._attitude = event.quaternion
                return []
            case events.Packet() | events.Asked() | events.ClueAsked():
                return []

    def feed_all(self, all_events: Iterable[events.CubeEvent]) -> list[Progress]:
        """Take in events and then the end of them."""
        told = [progress for event in all_events for progress in self.feed(event)]
        return told + self.finish()

    def finish(self) -> list[Progress]:
        """End of the events: a solve under way ends unsolved."""
        record = self._record
        return self._close(record.times[-1]) if record and record.times else []

    def _turn(self, event: events.Turn) -> list[Progress]:
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

    def _turned(self, event: events.Turn) -> Turned:
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

    def _mark(self, event: events.SolveMark) -> list[Progress]:
        told = self._close(event.t) if self._marked else []
        self._marked = event.phase
        self._record = None
        if event.phase == "start":
            self._open(begun=True, solve_id=event.id)
        return told

    def _held(self, event: events.HeldAs) -> list[Progress]:
        self.holding = event.holding
        if self._record:
            self._record.holdings.append((self.line, event.holding))
        return [event]

    def _state(self, event: events.State) -> list[Progress]:
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
            # If this record began in another position than the solved one, turns were missed.
            lost = record.begun or bool(record.gaps)
            self._open(begun=begun, solve_id=record.id, lost=lost)
        return told

    def _reset(self, event: events.Reset) -> list[Progress]:
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
        """End the present attempt; returns its solve, if it holds one."""
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


# Finds when a scrambled cube has come to rest, so that the solver inspects it. Pure.
#
# The caller keeps the time: if nothing happens until ``due``, the cube is at rest.


_REST_S: Final = 3.0
"""Pauses within a scramble are shorter, in seconds (common practice, no published source)."""
_LONGEST_CROSS: Final = 8
"""Most turns of a cross: a rest within this many turns of the last rest belongs to the cross."""
_RESTS: Final = 8
"""At most this many rests without a solve: at each of them ways to begin are searched for, which
costs 40 ms. A cube that is turned on and on, or reports only positions far from one another, must
not cost more than one that is solved."""
_TURNS_A_REST: Final = 96
"""Turns after which one more rest is allowed."""


class Resting:
    """Watches a tracker's cube for rests before a solve."""

    def __init__(self, tracker: Tracker) -> None:
        self.due: float | None = 0.0 if tracker.before_solve else None
        """Time at which the cube is at rest if nothing happens; None: no rest is expected."""
        self._tracker = tracker
        self._rested: int | None = None
        """The turn line at which it last came to rest."""
        self._jumped_at: float | None = None
        """Time at which the cube last reported a position that no turns explain."""
        self._allowed = float(_RESTS)
        """How many rests are allowed now."""

    def rest(self) -> None:
        """Note that the time ``due`` has come."""
        self.due, self._rested = None, self._tracker.line
        self._allowed = max(0.0, self._allowed - 1)

    def watch(self, event: events.CubeEvent, told: Sequence[Progress]) -> None:
        """Take in an event after the tracker, with the progress that the tracker returned."""
        if any(isinstance(progress, SolveOver | Resynced) for progress in told):
            self._rested = None
        if any(isinstance(one, SolveOver) and one.solve.solved for one in told):
            self._allowed = _RESTS
        match event:
            case events.Turn():
                self._allowed = min(_RESTS, self._allowed + 1 / _TURNS_A_REST)
                self._expect(event.t + _REST_S)
            case events.SolveMark():
                self._expect(event.t, asked=True)
            case events.State() | events.Reset() if told:
                # Two positions in quick succession: the cube is not at rest.
                soon = self._jumped_at is not None and event.t < self._jumped_at + _REST_S
                self._expect(event.t + _REST_S if soon else event.t)
                self._jumped_at = event.t
            case events.HeldAs() if self._rested == self._tracker.line:
                self._rested = None  # the solver inspects it again in another holding
                self._expect(event.t, asked=True)

    def _expect(self, t: float, *, asked: bool = False) -> None:
        again = self._rested is None or self._tracker.line > self._rested + _LONGEST_CROSS
        allowed = asked or self._allowed >= 1
        self.due = t if again and allowed and self._tracker.before_solve else None
