"""A listener's desks: the known data of each, from arriving messages.

Arriving messages are not trusted: sizes and kinds are checked, unusable messages are counted and
left out, and texts are cut and cleared of control characters.
"""

from __future__ import annotations

import json
from collections import OrderedDict
from dataclasses import dataclass, replace
from typing import Any, Final

from livecube.cube.code import parse_code, position_code
from livecube.dashboard import topics
from livecube.errors import PositionError

__all__ = ["MOST_BYTES", "Arrived", "DeskNow", "Desks", "DesksSeen"]

MOST_BYTES: Final = 256 * 1024
"""Largest payload; a desk's largest, the recent solves, has about 40 kB."""
_MOST_DESKS: Final = 5000
_MOST_IDS: Final = 100_000
_LONGEST: Final = 60


@dataclass(slots=True)
class DeskNow:
    """The known data of one desk.

    :class:`Desks` replaces it at each message; the value itself never changes.
    """

    name: str
    online: bool | None = None
    """None: unknown."""
    cube: str = ""
    link: bool | None = None
    battery: int | None = None
    session: str = ""
    solves: int = 0
    """Of its present session."""
    last_s: float | None = None
    last_solved: bool = True
    penalty: str = ""
    """Penalty of the last solve, if it was judged and has one; its time is then the result."""
    average_s: float | None = None
    """The average of 5 that ends with the last solve."""
    mean_s: float | None = None
    """Of its present session."""
    wants_help: bool = False
    position: bytes | None = None
    """20 facelets; None: it is not published."""
    code: str = ""
    """The code of that position."""
    stages: tuple[tuple[str, float], ...] = ()
    """Names and seconds of the stages: of the solve under way, or of the last one."""

    @property
    def presence(self) -> str:
        """Away, without a cube, or the present state of its session."""
        if self.online is not True:
            return "away" if self.online is False else "?"
        return "no cube" if self.link is False else self.session or "here"


@dataclass(frozen=True, slots=True)
class Arrived:
    """An accepted message."""

    desk: str
    name: str
    body: dict[str, Any]


@dataclass(frozen=True, slots=True)
class DesksSeen:
    """All desks at one moment; another thread may draw them."""

    desks: tuple[DeskNow, ...] = ()
    """Desks in the order of their first messages."""
    senseless: int = 0
    """Messages that made no sense."""


class Desks:
    """All desks below a prefix, in the order of their first messages."""

    def __init__(self, prefix: str) -> None:
        self.desks: dict[str, DeskNow] = {}
        self.senseless = 0
        """Messages that made no sense."""
        self.repeated = 0
        """Repeated messages."""
        self._prefix = f"{prefix}/"
        self._ids: OrderedDict[tuple[str, str], None] = OrderedDict()

    def take(self, topic: str, payload: bytes) -> Arrived | None:
        """Take in a message; returns None if it is a repetition, empty or unusable."""
        if not payload:
            return None  # a retained message was deleted
        part, _, name = topic.removeprefix(self._prefix).partition("/")
        body = _parsed(payload)
        if not topic.startswith(self._prefix) or not part or not name or body is None:
            self.senseless += 1
            return None
        if self._is_repeated(part, body):
            return None
        if part not in self.desks and len(self.desks) >= _MOST_DESKS:
            self.senseless += 1
            return None
        known = self.desks.get(part) or DeskNow(_text(topics.desk_name(part)))
        desk = replace(known)
        _update(desk, name, body)
        self.desks[part] = desk
        return Arrived(part, name, body)

    def seen(self) -> DesksSeen:
        """All desks as they are now."""
        return DesksSeen(tuple(self.desks.values()), self.senseless)

    def _is_repeated(self, part: str, body: dict[str, Any]) -> bool:
        key = (part, str(body.get("id"))[:_LONGEST])
        if "id" not in body:
            return False
        if key in self._ids:
            self.repeated += 1
            return True
        self._ids[key] = None
        if len(self._ids) > _MOST_IDS:
            self._ids.popitem(last=False)
        return False


def _parsed(payload: bytes) -> dict[str, Any] | None:
    if len(payload) > MOST_BYTES:
        return None
    try:
        body = json.loads(payload)
    except (ValueError, RecursionError):
        return None
    return body if isinstance(body, dict) else None


def _update(desk: DeskNow, name: str, body: dict[str, Any]) -> None:
    """Take over the valid values; an unknown topic changes nothing."""
    if isinstance(cube := body.get("cube"), dict) and (title := _text(cube.get("name"))):
        desk.cube = title
    match name:
        case topics.AVAILABILITY:
            desk.online = {"online": True, "offline": False}.get(_text(body.get("state")))
        case topics.LINK:
            desk.link = up if isinstance(up := body.get("up"), bool) else None
        case topics.HELP:
            desk.wants_help = body.get("wanted") is True
        case topics.POSITION:
            desk.position, desk.code = _position(body.get("code"))
        case topics.BATTERY:
            percent = _number(body.get("percent"))
            desk.battery = None if percent is None else round(min(max(percent, 0), 100))
        case topics.SESSION:
            desk.session = _text(body.get("state"))
            desk.solves = round(_number(body.get("solves")) or 0)
        case topics.STAGES:
            desk.stages = _stages(body)
        case topics.SOLVE | topics.LATEST:
            _solve(desk, body)
        case "figures/average-of-5":
            desk.average_s = _number(body.get("value"))
        case "figures/session-mean":
            desk.mean_s = _number(body.get("value"))


def _solve(desk: DeskNow, body: dict[str, Any]) -> None:
    penalty, result = _text(body.get("penalty")), _number(body.get("result_seconds"))
    desk.penalty = "" if penalty == "none" else penalty
    desk.last_s = _number(body.get("seconds")) if result is None else result
    desk.last_solved = body.get("solved") is True


def _position(code: object) -> tuple[bytes | None, str]:
    """The position of a code, and the code as we write it."""
    try:
        position, _ = parse_code(_text(code))
    except PositionError:
        return None, ""
    return position.tobytes(), position_code(position)


def _stages(body: dict[str, Any]) -> tuple[tuple[str, float], ...]:
    stages = body.get("stages")
    return tuple(
        (_text(stage.get("stage")), seconds)
        for stage in (stages if isinstance(stages, list) else [])[:8]
        if isinstance(stage, dict) and (seconds := _number(stage.get("seconds"))) is not None
    )


def _number(value: object) -> float | None:
    """A number that can be a time or a share."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    return float(value) if 0 <= value < 1e9 else None  # false for nan, too


def _text(value: object) -> str:
    return topics.clean(value, _LONGEST) if isinstance(value, str) else ""
