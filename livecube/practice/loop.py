"""The loop of practice: scramble, inspect, solve, result, and again. Pure.

It takes the cube's events and returns them in order. Between them it adds marks, which say where a
solve begins and ends, and news to show. Time comes from events and from :meth:`Practice.wake`.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from math import ceil
from typing import TYPE_CHECKING, Final, Literal, Protocol, TypeAlias

from livecube.cube.position import SOLVED_BYTES, TURN_BYTES
from livecube.events import Reset, SolveMark, State, Turn
from livecube.practice.attempts import Attempt, Attempts
from livecube.practice.gestures import BreakDue, BreakRule, BreakWatcher, GestureWatcher
from livecube.practice.news import (
    Abandoned,
    BreakAdvised,
    Called,
    Corrected,
    Discarded,
    Guided,
    InspectionBegun,
    Judged,
    PracticeNews,
    ScrambleAsked,
    SolveStarted,
)
from livecube.stages.frame import is_scrambled
from livecube.timing.results import inspection_penalties, next_call, standing_penalties

if TYPE_CHECKING:
    from livecube.events import CubeEvent, SolvePhase
    from livecube.scrambling.path import ScramblePath

__all__ = ["Outcome", "Phase", "Practice", "PracticeRules", "Scrambling", "Wish"]

Phase: TypeAlias = Literal["scramble", "inspect", "solve", "result"]
Wish: TypeAlias = Literal["on", "next", "discard", "penalty"]
"""Commands of a solver. *on*: go on to the next phase; in a solve: stop the time."""
Outcome: TypeAlias = "CubeEvent | PracticeNews"

_REST_S: Final = 3.0
"""A rest of this length ends a scramble by hand (common practice, no published source)."""


class Scrambling(Protocol):
    """A maker of scrambles."""

    def new(self, start: bytes = ...) -> ScramblePath:
        """The path from a position to a random state."""
        ...

    def to(self, start: bytes, target: bytes) -> ScramblePath:
        """A path from one position to another."""
        ...


@dataclass(frozen=True, slots=True)
class PracticeRules:
    """The rules of a practice session."""

    by_hand: bool = False
    """No scramble is shown: the solver scrambles freely."""
    timed: bool = True
    """Inspection is limited, with penalties."""
    settle_s: float = 2.0
    """Seconds from the end of the scramble until inspection begins automatically."""
    breaks: BreakRule = field(default_factory=BreakRule)


class Practice:
    """One session with one cube, which begins in ``position`` (20 facelets)."""

    def __init__(
        self, rules: PracticeRules, scrambling: Scrambling, position: bytes = SOLVED_BYTES
    ) -> None:
        self.phase: Phase = "scramble"
        self.due: float | None = None
        """When to call :meth:`wake`, on the cube's clock; None: not needed."""
        self.number = 0
        """Number of the solve that is prepared or under way."""
        self.attempts = Attempts()
        self._rules = rules
        self._scrambling = scrambling
        self._position = position
        self._path: ScramblePath | None = None
        self._latest = 0.0
        """The time of the last mark; no later event may have an earlier time."""
        self._inspected: float | None = None
        self._started: float | None = None
        self._gestures = GestureWatcher(position)
        self._breaks = BreakWatcher(rules.breaks)
        self._break: BreakDue | None = None

    def begin(self, t: float) -> list[Outcome]:
        """Ask for the next scramble."""
        self.phase, self.due = "scramble", None
        self.number += 1
        self._inspected = self._started = None
        by_hand = self._rules.by_hand
        self._path = None if by_hand else self._scrambling.new(self._position)
        turns = () if self._path is None else self._path.turns
        asked = ScrambleAsked(t, self.number, turns, by_hand)
        return [self._mark(t, "scramble"), asked, *self._advise_break(t)]

    def feed(self, event: CubeEvent) -> list[Outcome]:
        """Take in an event; returns it with the marks and news that it causes, in order."""
        if event.t < self._latest:  # it is older than a mark with an estimated time
            event = replace(event, t=self._latest)
        match event:
            case Turn():
                return self._turned(event)
            case State():
                return self._stands(event)
            case Reset():
                return self._reset(event)
        return [event]

    def wake(self, t: float) -> list[Outcome]:
        """The time ``due`` has come: it is ``t`` now."""
        due, self.due = self.due, None
        if self.phase == "scramble":
            return self._inspect(t)
        if self.phase == "inspect" and self._inspected is not None and due is not None:
            passed = round(1000 * (due - self._inspected))
            self._expect_call(self._inspected, passed)
            return [Called(t, passed // 1000)]
        return []

    def wish(self, wish: Wish, t: float) -> list[Outcome]:
        """Carry out a command that the solver gives at ``t``."""
        match wish:
            case "discard" if self.phase in ("inspect", "solve"):
                return self._abandon(t)
            case "discard":
                return self._discard(t)
            case "penalty" if self.phase in ("result", "scramble"):
                return self._next_penalty(t)
            case "on" if self.phase == "solve":
                return self._end(t)
            case "on" if self.phase == "scramble":
                return self._inspect(t) if self._position != SOLVED_BYTES else []
            case "on" | "next" if self.phase in ("result", "scramble"):
                return self.begin(t)
        return []

    # Turns.

    def _turned(self, event: Turn) -> list[Outcome]:
        self._position = self._position.translate(TURN_BYTES[event.turn])
        gesture = self._gestures.turned(event.t, event.turn)
        self._break = self._breaks.turned(event.t) or self._break
        match self.phase:
            case "scramble":
                return [event, *self._guide(event.t)]
            case "inspect":
                return self._start(event)
            case "solve" if self._position == SOLVED_BYTES:
                return [event, *self._end(event.t)]
            case "result" if gesture is not None:
                return [event, *self.wish(gesture, event.t)]
            case "result" if self._rules.by_hand and is_scrambled(self._position):
                return [event, *self.begin(event.t), *self._guide(event.t)]
        return [event]

    def _stands(self, event: State) -> list[Outcome]:
        """The cube reports its position."""
        if event.position == self._position:
            return [event]
        self._position = event.position
        self._gestures.stands(event.position)
        if self.phase == "scramble" and self.number:
            return [event, *self._guide(event.t)]
        if self.phase == "solve" and event.position == SOLVED_BYTES:
            return [event, *self._end(event.t)]
        if self.phase == "inspect":  # turned, but the turns were not received
            return [event, *self._abandon(event.t)]
        return [event]

    def _reset(self, event: Reset) -> list[Outcome]:
        self._position = SOLVED_BYTES
        self._gestures.stands(SOLVED_BYTES)
        if self.phase in ("inspect", "solve"):
            return [event, *self._abandon(event.t)]
        return [event, *(self._guide(event.t) if self.phase == "scramble" else ())]

    # Scramble.

    def _guide(self, t: float) -> list[Outcome]:
        self.due = None
        if self._path is None:
            if is_scrambled(self._position):
                self.due = t + _REST_S
            return []
        guidance = self._path.guide(self._position)
        if guidance.lost:
            self._path = self._scrambling.to(self._position, self._path.target)
            guidance = self._path.guide(self._position)
        if guidance.reached:
            self.due = t + self._rules.settle_s
        return [Guided(t, guidance, self._path.turns)]

    def _inspect(self, t: float) -> list[Outcome]:
        """The cube is scrambled: begin inspection."""
        path = self._path
        if path is None or path.start != SOLVED_BYTES or path.target != self._position:
            path = self._scrambling.to(SOLVED_BYTES, self._position)
        timed = self._rules.timed
        mark = self._mark(t, "inspect" if timed else "start")
        self.phase = "inspect"
        if timed:
            self._inspected = mark.t
            self._expect_call(mark.t, 0)
        return [InspectionBegun(mark.t, self.number, path.turns, timed), mark]

    def _expect_call(self, inspected: float, passed_ms: int) -> None:
        moment = next_call(passed_ms)
        self.due = None if moment is None else inspected + moment / 1000

    # Solve.

    def _start(self, event: Turn) -> list[Outcome]:
        self.phase, self.due = "solve", None
        self._started = event.t
        started = SolveStarted(event.t, self.number, self._inspection_ms())
        marks = [self._mark(event.t, "start")] if self._rules.timed else []
        return [*marks, event, started]

    def _inspection_ms(self) -> int | None:
        if self._inspected is None or self._started is None:
            return None
        return round(1000 * (self._started - self._inspected))

    def _end(self, t: float) -> list[Outcome]:
        mark = self._mark(t, "end")
        return [mark, *self._judge(mark.t)]

    def _judge(self, t: float) -> list[Outcome]:
        self.phase, self.due = "result", None
        inspection = self._inspection_ms()
        inspecting = () if inspection is None else inspection_penalties(inspection)
        measured = (*inspecting, *standing_penalties(self._position))
        ms = round(1000 * (t - (self._started or 0.0)))
        self.attempts.add(Attempt(self.number, ms, measured))
        tally = self.attempts.tally
        judged = Judged(t, self.number, ms, inspection, measured, tally)
        return [judged, *self._advise_break(t)]

    def _abandon(self, t: float) -> list[Outcome]:
        """The attempt does not count; ask for another scramble."""
        return [self._mark(t, "abandon"), Abandoned(t, self.number), *self.begin(t)]

    # Result.

    def _next_penalty(self, t: float) -> list[Outcome]:
        one = self.attempts.next_penalty()
        if one is None:
            return []
        tally = self.attempts.tally
        return [Corrected(t, one.number, one.ms, one.measured, one.corrected, tally)]

    def _discard(self, t: float) -> list[Outcome]:
        one = self.attempts.toggle_discarded()
        if one is None:
            return []
        return [Discarded(t, one.number, one.is_discarded, self.attempts.tally)]

    def _advise_break(self, t: float) -> list[Outcome]:
        due, self._break = self._break, None
        return [] if due is None else [BreakAdvised(t, due)]

    def _mark(self, t: float, phase: SolvePhase) -> SolveMark:
        """A mark at a whole millisecond, so that shown and stored times are rounded alike."""
        self._latest = max(self._latest, ceil(round(1000 * t, 3)) / 1000)
        return SolveMark(self._latest, self.number, phase)
