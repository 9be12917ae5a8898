"""What happened, as messages for a dashboard. Pure: ids and the time of day are given.

Each message has an id of its own, and ``seq``, which counts on within a desk. A solve's id is made
once, when it begins, and stands in all its messages: who keeps ids can drop what comes again.
"""

from __future__ import annotations

import json
from collections import deque
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Final

from livecube.dashboard.payloads import solve_payload, stage_payload
from livecube.dashboard.topics import (
    BATTERY,
    FIGURES,
    LATEST,
    LINK,
    OUTBOX,
    RECENT,
    SESSION,
    SOLVE,
    STAGE,
)
from livecube.events import SolveMark, SolvePhase
from livecube.stages.progress import (
    BatteryLevel,
    LinkChanged,
    SolveBegun,
    SolveOver,
    StageDone,
    Turned,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

__all__ = ["CONCERNS", "RECENT_SOLVES", "Cube", "Message", "Messenger", "availability"]

CONCERNS: Final = (SolveBegun, StageDone, SolveOver, BatteryLevel, LinkChanged, SolveMark)
"""What becomes a message; everything else may be left out before it gets here."""
RECENT_SOLVES: Final = 12
"""So many of the last solves are retained: who was away, or whose broker forgot, catches up."""
_STATES: Final[dict[SolvePhase, str]] = {
    "scramble": "scrambling",
    "inspect": "inspecting",
    "start": "solving",
    "end": "idle",
    "abandon": "idle",
}


@dataclass(frozen=True, slots=True)
class Cube:
    """Which cube is followed."""

    id: str
    """Our own, the same at every start; made of neither address nor serial number in the clear."""
    name: str


@dataclass(frozen=True, slots=True)
class Message:
    """One message of a desk; ``name`` is its place below the desk (:mod:`.topics`)."""

    seq: int
    name: str
    body: dict[str, Any]
    retain: bool
    detail: bool = False
    """Of less worth than others, when there is no room for all."""

    @property
    def id(self) -> str:
        """Unique; the same when it is sent again."""
        return str(self.body["id"])

    @property
    def payload(self) -> str:
        """JSON, without blanks."""
        return json.dumps(self.body, separators=(",", ":"), allow_nan=False, ensure_ascii=False)


class Messenger:
    """Makes the messages of one run.

    ``desk``: its name as people call it; ``clock`` gives the time of day (ISO 8601, UTC) for a time
    of the cube; ``new_id`` a new unique text; ``seq`` and ``last`` are what the desk had last: the
    number of its last message, and its states by name.
    """

    def __init__(
        self,
        desk: str,
        cube: Cube,
        clock: Callable[[float], str],
        new_id: Callable[[], str],
        seq: int = 0,
        last: Mapping[str, dict[str, Any]] = MappingProxyType({}),
    ) -> None:
        self._desk = desk
        self._cube = {"id": cube.id, "name": cube.name}
        self._clock = clock
        self._new_id = new_id
        self._seq = seq
        recent: list[dict[str, Any]] = last.get(RECENT, {}).get("solves", [])
        self._recent = deque(recent, RECENT_SOLVES)
        self._t = 0.0
        self._solve: str | None = None
        self._link = False
        charge = last.get(BATTERY, {})
        self._battery: int | None = (
            charge.get("percent") if charge.get("cube") == self._cube else None
        )
        """What this cube said last."""
        self._session = "idle"
        self._times: list[float] = []
        """Seconds of the solves of this session that were finished."""
        self._ended = 0

    def begin(self) -> list[Message]:
        """The first states: nothing has been heard yet. A charge that was heard before stands."""
        told = [self._state(LINK, {"up": self._link}), self._session_is("idle")]
        if self._battery is None:
            told.append(self._state(BATTERY, {"percent": None}))
        return told

    def end(self) -> list[Message]:
        """The last ones: the cube is followed no longer."""
        self._solve = None
        return [*self._link_is(False), self._session_is("idle")]

    def take(self, item: object) -> list[Message]:
        """The messages of an item of :data:`CONCERNS`; none of any other."""
        if not isinstance(item, CONCERNS):
            return self._link_is(True) if isinstance(item, Turned) else []
        self._t = item.t
        told = [] if isinstance(item, LinkChanged) else self._link_is(True)
        match item:
            case SolveBegun():
                self._solve = self._new_id()
                told.append(self._session_is("solving"))
            case StageDone():
                told.append(self._stage(item))
            case SolveOver():
                told += self._over(item)
            case SolveMark():
                told.append(self._session_is(_STATES[item.phase]))
            case BatteryLevel() if item.percent != self._battery:
                self._battery = item.percent
                told.append(self._state(BATTERY, {"percent": item.percent}))
            case LinkChanged():
                told += self._link_is(item.up)
        return told

    def dropped(self, details: int, solves: int) -> Message:
        """How much this desk has ever had to drop for want of room."""
        return self._state(OUTBOX, {"dropped_details": details, "dropped_solves": solves})

    def _stage(self, done: StageDone) -> Message:
        body = {"event_type": done.split.stage, "solve": self._solve_id()}
        return self._message(STAGE, body | stage_payload(done.split), detail=True)

    def _over(self, over: SolveOver) -> list[Message]:
        solve = over.solve
        body = {"event_type": "solved" if solve.solved else "unfinished"}
        event = self._message(SOLVE, body | {"solve": self._solve_id()} | solve_payload(solve))
        self._recent.append(event.body)
        self._solve = None
        self._ended += 1
        told = [
            event,
            self._state(LATEST, {k: v for k, v in event.body.items() if k not in _HEAD}),
            self._state(RECENT, {"solves": list(self._recent)}),
        ]
        if solve.solved:
            self._times.append(solve.seconds)
            told.append(self._mean())
        return [*told, self._session_is("idle")]

    def _mean(self) -> Message:
        mean = sum(self._times) / len(self._times)
        body = {"figure": "session-mean", "value": round(mean, 3), "unit": "s"}
        return self._state(f"{FIGURES}session-mean", body | {"solves": len(self._times)})

    def _solve_id(self) -> str:
        if self._solve is None:  # begun before we were told
            self._solve = self._new_id()
        return self._solve

    def _session_is(self, state: str) -> Message:
        self._session = state
        return self._state(SESSION, {"state": state, "solves": self._ended, "solve": self._solve})

    def _link_is(self, up: bool) -> list[Message]:
        if up == self._link:
            return []
        self._link = up
        return [self._state(LINK, {"up": up})]

    def _state(self, name: str, body: dict[str, Any]) -> Message:
        return self._message(name, body, retain=True)

    def _message(
        self, name: str, body: dict[str, Any], *, retain: bool = False, detail: bool = False
    ) -> Message:
        self._seq += 1
        head = dict(zip(_HEAD, (self._new_id(), self._desk, self._seq, ""), strict=True))
        head["at"] = self._clock(self._t)
        return Message(self._seq, name, head | {"cube": self._cube} | body, retain, detail)


_HEAD: Final = ("id", "desk", "seq", "at")
"""What every message begins with."""


def availability(desk: str, state: str, new_id: str) -> dict[str, Any]:
    """The body on :data:`~.topics.AVAILABILITY`: ``online``, or ``offline`` as the last will."""
    return {"id": new_id, "desk": desk, "state": state}
