"""From the events of a log to its solves, each with its own part of the log."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, TypeAlias

from livecube.cube.position import SOLVED_BYTES, merge, turn_name, turns_text
from livecube.events import HeldAs, SolveMark, State, Turn
from livecube.solves.records import NOBODY, KeptSolve, KeptStage, Listed
from livecube.stages.progress import SolveOver
from livecube.stages.tracker import Tracker
from livecube.timing.results import inspection_penalties, standing_penalties

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from livecube.cube.holding import Holding
    from livecube.events import CubeEvent
    from livecube.logs.lines import Header
    from livecube.stages.progress import Progress
    from livecube.stages.solve import Solve, Split

__all__ = ["FoundSolve", "SolveReader", "Told", "as_told", "solves_in"]


@dataclass(frozen=True, slots=True)
class FoundSolve:
    """A finished solve in a log."""

    kept: KeptSolve
    """Without a number, and without a path of its log."""
    header: Header
    events: tuple[CubeEvent, ...]
    """Header and events form a log of this solve alone."""


Told: TypeAlias = "Callable[[Sequence[Progress]], Sequence[Progress]]"
"""Passes on the tracker's progress of one log, and may add to it."""


def as_told(told: Sequence[Progress]) -> Sequence[Progress]:
    """The progress unchanged."""
    return told


def solves_in(
    header: Header, events: Iterable[CubeEvent], add: Told = as_told
) -> Iterator[FoundSolve]:
    """The finished solves of a log, in order; ``add`` may add to the tracker's progress.

    A solve is finished when the cube is solved, or when a mark says that the time was stopped.
    Solves that took no time have no result, and are left out.
    """
    reader = SolveReader(header, add)
    for event in events:
        found = reader.feed(event)
        if found is not None:
            yield found


class SolveReader:
    """Follows a log, and keeps what happened since the last solve."""

    def __init__(self, header: Header, add: Told = as_told) -> None:
        self._header = header
        self._add = add
        self._tracker = Tracker(header.position)
        self._part: list[CubeEvent] = []
        self._from = self._tracker.position
        """Position at the beginning of this part."""
        self._before: Holding | None = None
        """The holding stated there, if any."""
        self._inspected: float | None = None
        self._line = 0
        """Turn lines before this part."""
        self._is_first = True
        self.timeless = 0
        """Finished solves without a measured time: all their turns have the same time."""

    @property
    def is_under_way(self) -> bool:
        """Whether there are turns after the last solve."""
        return any(isinstance(event, Turn) for event in self._part)

    def feed(self, event: CubeEvent) -> FoundSolve | None:
        """Take in an event; returns the solve that it finishes, if any."""
        self._part.append(event)
        if isinstance(event, SolveMark) and event.phase not in ("start", "end"):
            self._inspected = event.t if event.phase == "inspect" else None
        stood = self._tracker.position
        told = self._add(self._tracker.feed(event))
        over = next((one.solve for one in told if isinstance(one, SolveOver)), None)
        if over is None:
            return None
        stopped = event.t if isinstance(event, SolveMark) and event.phase == "end" else None
        found = None
        if over.solved or stopped is not None:
            position = SOLVED_BYTES if over.solved else stood
            found = self._found(over, position, stopped)
            if found.kept.listed.ms <= 0:
                self.timeless += 1
                found = None
        self._begin_anew(event)
        return found

    def _begin_anew(self, event: CubeEvent) -> None:
        # A mark that begins another solve ends this one, and belongs to the other.
        begins = isinstance(event, SolveMark) and event.phase not in ("end", "abandon")
        self._part = [event] if begins else []
        if not begins:
            self._inspected = None
        self._from, self._before = self._tracker.position, self._tracker.holding
        self._line, self._is_first = self._tracker.line, False

    def _found(self, solve: Solve, position: bytes, stopped: float | None) -> FoundSolve:
        seconds = solve.seconds if stopped is None else stopped - solve.started
        inspected = self._inspected
        inspection = None if inspected is None else _ms(solve.started - inspected)
        inspecting = () if inspection is None else inspection_penalties(inspection)
        turns = [event for event in self._part if isinstance(event, Turn)]
        scrambling = solve.start_turn - self._line - 1
        listed = Listed(
            number=0,
            identity=_identity(self._header, turns[scrambling:]),
            person=NOBODY,
            started=_moment(self._header.started, solve.started),
            session=None,
            cross=solve.cross,
            ms=_ms(seconds),
            turns=solve.turns,
            solved=solve.solved,
            gap=solve.gap,
            scramble=self._scramble([event.turn for event in turns[:scrambling]]),
            inspection_ms=inspection,
            measured=(*inspecting, *standing_penalties(position)),
            corrected=None,
            tags=(),
        )
        stages = tuple(_kept_stage(one, self._line) for one in solve.splits)
        header, events = self._own_log()
        return FoundSolve(KeptSolve(listed, stages, ""), header, events)

    def _scramble(self, turned: list[int]) -> str | None:
        """The turns from solved to the start of the solve; None if the log does not have them."""
        if self._is_first and self._header.scramble is not None:
            return None if turned else self._header.scramble
        if self._from != SOLVED_BYTES or not turned:
            return None
        return turns_text(part.turn for part in merge(turned))

    def _own_log(self) -> tuple[Header, tuple[CubeEvent, ...]]:
        if self._is_first:
            return self._header, tuple(self._part)
        t = self._part[0].t
        first: list[CubeEvent] = [State(t, self._from)] if self._from != SOLVED_BYTES else []
        if self._before is not None:
            first.append(HeldAs(t, self._before))
        return replace(self._header, scramble=None), (*first, *self._part)


def _identity(header: Header, turns: list[Turn]) -> str:
    """A text that is equal for the same solve in any log, whatever else the log holds."""
    lines = [f"{event.t:.3f} {turn_name(event.turn)}" for event in turns]
    text = "\n".join([header.started, header.source, *lines])
    return hashlib.sha256(text.encode()).hexdigest()[:32]


def _moment(started: str, t: float) -> str:
    """The time ``t`` seconds after the start of a log, in UTC; empty if the start is unknown."""
    try:
        moment = datetime.fromisoformat(started) + timedelta(seconds=t)
        if moment.tzinfo is None:
            moment = moment.replace(tzinfo=UTC)
        return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    except (ValueError, OverflowError):
        return ""


def _ms(seconds: float) -> int:
    return round(1000 * seconds)


def _kept_stage(split: Split, line: int) -> KeptStage:
    holding = split.holding
    return KeptStage(
        stage=split.stage,
        slots=split.slots,
        end_turn=None if split.end_turn is None else split.end_turn - line,
        turns=split.turns,
        ms=_ms(split.seconds),
        pause_ms=_ms(split.pause),
        technique=split.technique,
        case=split.case,
        offset=split.offset,
        shared=split.shared,
        inferred=split.inferred,
        gap=split.gap,
        holding=None if holding is None else f"{holding.up} {holding.front}",
    )
