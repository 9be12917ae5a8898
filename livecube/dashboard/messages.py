"""Happenings as messages for a dashboard. Pure: ids and the time of day are given.

Each message has an id of its own, and ``seq``, which counts the messages of a desk. A solve's id is
made once, when it begins, and stands in all its messages. A consumer that keeps ids can drop
repeats.
"""

from __future__ import annotations

import json
from collections import deque
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from livecube.cube.code import position_code
from livecube.cube.notation import facelets_text
from livecube.dashboard.drilling import BeatDone, DrillDone, FingersDone
from livecube.dashboard.figures import Figures
from livecube.dashboard.payloads import (
    StagesSoFar,
    beat_payload,
    drill_payload,
    fingers_payload,
    judged_payload,
    solve_payload,
    stage_payload,
)
from livecube.dashboard.topics import (
    BATTERY,
    BEAT,
    CORRECTION,
    DRILL,
    DRILL_LATEST,
    FIGURES,
    FINGERS,
    HELP,
    LATEST,
    LINK,
    OUTBOX,
    POSITION,
    RECENT,
    SESSION,
    SOLVE,
    STAGE,
    STAGES,
)
from livecube.events import Battery, LinkChange, SolveMark, SolvePhase
from livecube.practice.news import Corrected, Discarded, Judged
from livecube.stages.progress import (
    CrossColour,
    HelpWanted,
    Reopened,
    SolveBegun,
    SolveOver,
    StageDone,
    Turned,
)
from livecube.trends.measures import Month

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

__all__ = ["CONCERNS", "RECENT_SOLVES", "Cube", "Message", "Messenger"]

CONCERNS: Final = (
    SolveBegun, StageDone, Reopened, CrossColour, SolveOver, Battery, LinkChange, SolveMark,
    Judged, Corrected, Discarded, DrillDone, FingersDone, BeatDone, Month, HelpWanted,
)  # fmt: skip
"""Items that become messages; other items may be dropped before."""
RECENT_SOLVES: Final = 12
"""Number of retained last solves, with which a consumer can catch up."""
_STATES: Final[dict[SolvePhase, str]] = {
    "scramble": "scrambling",
    "inspect": "inspecting",
    "start": "solving",
    "end": "idle",
    "abandon": "idle",
}


@dataclass(frozen=True, slots=True)
class Cube:
    """The followed cube."""

    id: str
    """Our own id, the same at every start; it does not reveal the address or serial number."""
    name: str


@dataclass(frozen=True, slots=True)
class Message:
    """One message of a desk; ``name`` is its place below the desk (:mod:`.topics`)."""

    seq: int
    name: str
    body: dict[str, Any]
    retain: bool
    detail: bool = False
    """Whether it is dropped before others for lack of room."""

    @property
    def id(self) -> str:
        """Unique id; the same when the message is sent again."""
        return str(self.body["id"])

    @property
    def payload(self) -> str:
        """JSON, without blanks."""
        return json.dumps(self.body, separators=(",", ":"), allow_nan=False, ensure_ascii=False)


class Messenger:
    """Makes the messages of one run.

    ``desk``: its displayed name; ``clock`` gives the time of day (ISO 8601, UTC) for a time of the
    cube; ``new_id`` a new unique text. ``seq`` and ``last`` are the number of the desk's last
    message, and its last states by name. ``judged``: each solve gets a judgement right after it,
    and is published together with it.
    """

    def __init__(
        self,
        desk: str,
        cube: Cube,
        clock: Callable[[float], str],
        new_id: Callable[[], str],
        seq: int = 0,
        last: Mapping[str, dict[str, Any]] = MappingProxyType({}),
        *,
        judged: bool = False,
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
        self._stages = StagesSoFar()
        self._link = False
        charge = last.get(BATTERY, {})
        self._battery: int | None = (
            charge.get("percent") if charge.get("cube") == self._cube else None
        )
        """Last reported charge of this cube."""
        self._wants_help = last.get(HELP, {}).get("wanted") is True
        self._turned: Turned | None = None
        """The last turn, if its position was not published yet."""
        self._session = "idle"
        self._times: list[float] = []
        """Seconds of the finished solves of this session."""
        self._ended = 0
        self._figures = Figures(last)
        self._is_judged = judged
        self._over: SolveOver | None = None
        """A solve that waits for its judgement."""
        self._counted: dict[str, Any] = {}
        """The result of the last solve, and its id."""

    def begin(self) -> list[Message]:
        """The states at the beginning, before any event. A known charge stays."""
        told = [self._state(LINK, {"up": self._link}), self._session_is("idle")]
        if self._battery is None:
            told.append(self._state(BATTERY, {"percent": None}))
        return told + self._help_is(wanted=False)

    def end(self) -> list[Message]:
        """The messages at the end of the run."""
        told = self._unjudged()
        self._solve = None
        told += [*self._link_is(False), *self._help_is(wanted=False)]
        return [*told, self._session_is("idle")]

    def take(self, item: object) -> list[Message]:
        """The messages of an item of :data:`CONCERNS`; empty for any other item."""
        if not isinstance(item, CONCERNS):
            if isinstance(item, Turned):
                self._turned = item
                return self._link_is(True)
            return []
        if isinstance(item, Month):
            return self._new_figures(self._figures.of_month(item))
        self._t = item.t
        told = [] if isinstance(item, LinkChange) else self._link_is(True)
        if isinstance(item, Judged | Corrected | Discarded | DrillDone):
            return told + self._practised(item)
        match item:
            case FingersDone():
                told.append(self._state(FINGERS, fingers_payload(item)))
            case BeatDone():
                told.append(self._state(BEAT, beat_payload(item)))
            case SolveBegun():
                told += self._unjudged()
                self._solve = self._new_id()
                self._stages = StagesSoFar()
                told += [self._session_is("solving"), self._stages_are(self._stages.told())]
            case StageDone():
                self._stages.done(item.split.stage, stage_payload(item.split))
                told += [self._stage(item), self._stages_are(self._stages.told())]
            case CrossColour():
                self._stages = StagesSoFar()
            case Reopened():
                self._stages.reopened(item.slots)
                told.append(self._stages_are(self._stages.told()))
            case SolveOver() if self._is_judged:
                told += self._unjudged()
                self._over = item
            case SolveOver():
                told += self._solved(item, {})
            case SolveMark():
                told += [] if item.phase == "end" else self._unjudged()
                told.append(self._session_is(_STATES[item.phase]))
            case Battery() if item.percent != self._battery:
                self._battery = item.percent
                told.append(self._state(BATTERY, {"percent": item.percent}))
            case LinkChange():
                told += self._link_is(item.up)
            case HelpWanted():
                told += self._help_is(item.wanted)
        return told

    @property
    def has_position(self) -> bool:
        """Whether the cube's position has changed since :meth:`position`."""
        return self._turned is not None

    def position(self) -> list[Message]:
        """The message of the cube's position, if it has changed; only if the person wants it."""
        turned, self._turned = self._turned, None
        if turned is None:
            return []
        self._t = max(self._t, turned.t)
        facelets = facelets_text(np.frombuffer(turned.position, dtype=np.uint8))
        code = position_code(turned.position)
        return [self._state(POSITION, {"code": code, "facelets": facelets})]

    def _practised(self, item: Judged | Corrected | Discarded | DrillDone) -> list[Message]:
        match item:
            case Judged():
                over, self._over = self._over, None
                counts = judged_payload(item.ms, item.penalties)
                self._counted = {}
                told = [] if over is None else self._solved(over, counts)
            case Corrected():
                counts_now = item.measured if item.penalties is None else item.penalties
                told = self._corrected("penalty", judged_payload(item.ms, counts_now))
            case Discarded():
                what = "discarded" if item.away else "restored"
                told = self._corrected(what, {"discarded": item.away})
            case DrillDone():
                event = self._message(DRILL, {"event_type": item.how_well} | drill_payload(item))
                return [event, self._state(DRILL_LATEST, _without_head(event.body))]
        return told + self._new_figures(self._figures.of_tally(item.tally))

    def _unjudged(self) -> list[Message]:
        """The messages of a waiting solve whose judgement did not come."""
        over, self._over = self._over, None
        return [] if over is None else self._solved(over, {})

    def _corrected(self, what: str, counts: dict[str, Any]) -> list[Message]:
        """The messages for another result of the last solve."""
        if not self._counted:
            return []
        self._counted |= counts
        body = {"event_type": what} | self._counted
        solve = self._recent[-1]
        self._recent[-1] = solve | self._counted
        return [
            self._message(CORRECTION, body),
            self._state(LATEST, _without_head(self._recent[-1])),
            self._state(RECENT, {"solves": list(self._recent)}),
        ]

    def _new_figures(self, bodies: list[dict[str, Any]]) -> list[Message]:
        return [self._state(FIGURES + body["figure"], body) for body in bodies]

    def dropped(self, details: int, solves: int) -> Message:
        """The message of how many messages this desk has ever dropped for lack of room."""
        return self._state(OUTBOX, {"dropped_details": details, "dropped_solves": solves})

    def _stage(self, done: StageDone) -> Message:
        body = {"event_type": done.split.stage, "solve": self._solve_id()}
        return self._message(STAGE, body | stage_payload(done.split), detail=True)

    def _solved(self, over: SolveOver, counts: dict[str, Any]) -> list[Message]:
        """The messages of a finished solve; ``counts``: its result, if it was judged."""
        solve, its = over.solve, {"solve": self._solve_id()}
        self._counted = its | counts | {"discarded": False} if counts else {}
        body = {"event_type": "solved" if solve.solved else "unfinished"}
        event = self._message(SOLVE, body | its | solve_payload(solve) | counts)
        self._recent.append(event.body)
        self._ended += 1
        told = [
            event,
            self._stages_are(solve_payload(solve)["stages"]),
            self._state(LATEST, _without_head(event.body)),
            self._state(RECENT, {"solves": list(self._recent)}),
        ]
        if solve.solved and not self._is_judged:
            self._times.append(solve.seconds)
            told += self._new_figures([self._figures.of_times(self._times)])
        self._solve = None
        return [*told, self._session_is("idle")]

    def _stages_are(self, stages: Sequence[dict[str, Any] | None]) -> Message:
        """The stages of the present solve, or of the last one if none is under way."""
        return self._state(STAGES, {"solve": self._solve_id(), "stages": list(stages)})

    def _solve_id(self) -> str:
        if self._solve is None:  # begun before the first message
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

    def _help_is(self, wanted: bool) -> list[Message]:
        if wanted == self._wants_help:
            return []
        self._wants_help = wanted
        return [self._state(HELP, {"wanted": wanted})]

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
"""The keys at the beginning of every message."""


def _without_head(body: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in body.items() if name not in _HEAD}
