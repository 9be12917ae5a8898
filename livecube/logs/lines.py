"""One line of a log, to and from a value.

UTF-8, one JSON object a line. Line 1 is the header, the rest are events in order. Unknown
keys and unknown events are ignored; anything else that is not understood is a
``ValueError`` with the reason, to which the reader adds file and line.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any, Final, Literal, cast

import numpy as np

from livecube.cube.holding import Holding, parse_colour
from livecube.cube.notation import facelets_text, parse_facelets, parse_turns
from livecube.cube.position import SOLVED, apply_turns, parse_turn, turn_name, turns_text
from livecube.errors import NotationError, PositionError
from livecube.events import (
    DEVICE_KEYS,
    SOLVE_PHASES,
    Asked,
    Attitude,
    Battery,
    ClockAccount,
    ClueAsked,
    CubeEvent,
    DeviceInfo,
    Gap,
    HeldAs,
    LinkChange,
    Packet,
    Reset,
    SolveMark,
    SolvePhase,
    State,
    Turn,
    is_attitude,
)

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = [
    "VERSION",
    "Header",
    "TornLineError",
    "event_line",
    "header_line",
    "parse_event",
    "parse_header",
]

VERSION: Final = 1
"""The version of the format that is written, and the only one that is read."""


_LATEST_S: Final = 1e11
"""Largest time, 3,000 years: seconds since 1970 fit in, and milliseconds fit into 64 bits."""


class TornLineError(ValueError):
    """A line is not JSON: the last line of a log was cut off, any other line is wrong."""


@dataclass(frozen=True, slots=True)
class Header:
    """First line of a log."""

    started: str
    """Date and time of t = 0, ISO 8601."""
    source: str
    """Name of the source of the turns: a decoder, a simulation."""
    clock: Literal["cube", "host"]
    """Whose clock the times are read from."""
    scramble: str | None = None
    """The cube stands in this position at t = 0; None: it is solved then."""
    link: str | None = None
    """How the events came: *radio*, *virtual radio*, *simulated*, *keyboard*; None: unknown."""

    @property
    def position(self) -> bytes:
        """Position at t = 0, 20 facelets."""
        turns = parse_turns(self.scramble) if self.scramble else []
        return bytes(apply_turns(SOLVED, turns).tolist())


def header_line(header: Header) -> str:
    """The header as a line, without its line end."""
    line: dict[str, Any] = {
        "livecube_log": VERSION,
        "started": header.started,
        "source": header.source,
        "clock": header.clock,
    }
    if header.scramble is not None:
        line["scramble"] = header.scramble
    if header.link is not None:
        line["link"] = header.link
    return json.dumps(line, ensure_ascii=False)


def event_line(event: CubeEvent) -> str:
    """An event as a line, without its line end.

    Raises ``ValueError`` for an attitude that is not a rotation: such a line could not be read.
    """
    line: dict[str, Any] = {"t": round(event.t, 6)}
    match event:
        case Turn():
            line["turn"] = turn_name(event.turn)
            if event.host is not None:
                line["host"] = round(event.host, 6)
            if event.seq is not None:
                line["seq"] = event.seq
            if event.inferred:
                line["inferred"] = True
        case State():
            position = np.frombuffer(event.position, dtype=np.uint8)
            line |= {"mark": "state", "facelets": facelets_text(position)}
        case Gap():
            line |= {"mark": "gap", "lost": event.lost}
            if event.since is not None:
                line["since"] = round(event.since, 6)
        case Battery():
            line |= {"mark": "battery", "percent": event.percent}
        case Attitude():
            line |= {"mark": "attitude", "quaternion": _written_quaternion(event.quaternion)}
        case Packet():
            line |= {"mark": "packet", "char": event.char, "hex": event.data.hex()}
            if event.host is not None:
                line["host"] = round(event.host, 6)
        case ClockAccount():
            line |= {"mark": "clock", "drift_ppm": event.drift_ppm, "late_ms": event.late_ms}
        case Asked():
            turns = None if event.turns is None else turns_text(event.turns)
            line |= {"mark": "asked", "turns": turns}
        case LinkChange():
            line |= {"mark": "link", "up": event.up}
        case DeviceInfo():
            line |= {"mark": "device", **dict(event.told)}
        case SolveMark():
            line |= {"mark": "solve", "id": event.id, "phase": event.phase}
        case HeldAs(holding=None):
            line |= {"mark": "any-holding"}
        case HeldAs(holding=Holding() as held):
            line |= {"mark": "holding", "up": held.up, "front": held.front}
        case ClueAsked():
            line |= {"mark": "clue"}
        case Reset():
            line |= {"mark": "reset"}
    return json.dumps(line)


def _written_quaternion(quaternion: tuple[float, float, float, float]) -> list[float]:
    """With four decimals; a very small quaternion is scaled first, so that it does not become 0."""
    if not is_attitude(quaternion):
        raise ValueError(f"{quaternion} is not a rotation: four numbers, not all of them 0")
    length = max(map(abs, quaternion))
    return [round(part / length if length < 0.1 else part, 4) for part in quaternion]


def _object(text: str) -> dict[str, Any]:
    try:
        value = json.loads(text)
    except (ValueError, RecursionError) as error:
        reason = getattr(error, "msg", "it is nested too deeply or holds too long a number")
        column = f" at column {error.colno}" if isinstance(error, json.JSONDecodeError) else ""
        raise TornLineError(f"this is not JSON ({reason}{column})") from None
    if not isinstance(value, dict):
        raise ValueError("a line must be one JSON object, {…}")
    return value


def parse_header(text: str) -> Header:
    """Read line 1 of a log.

    Raises ``ValueError`` with the reason.
    """
    line = _object(text)
    if "livecube_log" not in line:
        raise ValueError('this is not a livecube log: line 1 must hold "livecube_log": 1')
    version = line["livecube_log"]
    if version != VERSION or isinstance(version, bool):
        raise ValueError(
            f"this log has version {version!r}, and only version {VERSION} can be read; "
            "a newer livecube may read it"
        )
    clock = line.get("clock", "host")
    if clock not in ("cube", "host"):
        raise ValueError(f'"clock" is {clock!r}; it must be "cube" or "host"')
    scramble = line.get("scramble")
    if scramble is not None:
        _check_scramble(scramble)
    link = line.get("link")
    return Header(
        started=_started(line.get("started", "")),
        source=_whole_text("source", str(line.get("source", ""))),
        clock=clock,
        scramble=scramble,
        link=None if link is None else _whole_text("link", str(link)),
    )


def _started(started: object) -> str:
    """Date and time of t = 0; empty if the log does not give it."""
    if started != "":
        try:
            if not isinstance(started, str):
                raise ValueError
            datetime.fromisoformat(started)
        except ValueError:
            raise ValueError(
                f'"started" is {_shown(started)}; write it as 2026-03-01T18:20:00Z'
            ) from None
    return started


def _check_scramble(scramble: object) -> None:
    if not isinstance(scramble, str):
        raise ValueError('"scramble" must be a text of moves')
    try:
        parse_turns(scramble)
    except NotationError as error:
        raise ValueError(f'in "scramble", {error}') from None


def parse_event(text: str) -> CubeEvent | None:
    """Read a later line of a log; None for an event that this version does not know.

    Raises ``ValueError`` with the reason, :class:`TornLineError` if the line is not JSON.
    """
    line = _object(text)
    if "turn" in line:
        return _turn(_time(line), line)
    mark = line.get("mark")
    if isinstance(mark, str) and mark in _MARKS:
        return _MARKS[mark](_time(line), line)
    return None


def _time(line: dict[str, Any]) -> float:
    if "t" not in line:
        raise ValueError('"t" is missing: every event needs its seconds')
    return _number(line, "t")


def _number(line: dict[str, Any], key: str) -> float:
    value = line[key]
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    if is_number and abs(value) <= _LATEST_S:  # comparing never overflows, even with many digits
        return float(value)
    raise ValueError(
        f'"{key}" must be a number of seconds, none beyond {_LATEST_S:g}, not {_shown(value)}'
    )


def _whole(line: dict[str, Any], key: str, least: int = 0, most: int = 2**63) -> int:
    value = line.get(key)
    if not isinstance(value, int) or isinstance(value, bool) or not least <= value <= most:
        raise ValueError(f'"{key}" must be a whole number from {least} to {most}')
    return value


def _text(line: dict[str, Any], key: str) -> str:
    value = line.get(key)
    if not isinstance(value, str):
        raise ValueError(f'"{key}" must be a text, not {_shown(value)}')
    return _whole_text(key, value)


def _whole_text(key: str, text: str) -> str:
    """The text. Raises ``ValueError`` for half of a letter: JSON can hold one, UTF-8 cannot."""
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:
        raise ValueError(f'"{key}" holds half of a letter (a lone surrogate)') from None
    return text


def _shown(value: object) -> str:
    text = "missing" if value is None else repr(value)
    return text if len(text) < 40 else text[:36] + "…"


def _turn(t: float, line: dict[str, Any]) -> Turn:
    name = line["turn"]
    if not isinstance(name, str):
        raise ValueError(f'"turn" must be a text such as "R", not {_shown(name)}')
    return Turn(
        t,
        parse_turn(name),
        host=_number(line, "host") if line.get("host") is not None else None,
        seq=_whole(line, "seq") if line.get("seq") is not None else None,
        inferred=line.get("inferred") is True,
    )


def _state(t: float, line: dict[str, Any]) -> State:
    try:
        return State(t, bytes(parse_facelets(_text(line, "facelets")).tolist()))
    except PositionError as error:
        raise ValueError(f'in "facelets", {error}') from None


def _gap(t: float, line: dict[str, Any]) -> Gap:
    return Gap(
        t,
        _whole(line, "lost") if line.get("lost") is not None else None,
        _number(line, "since") if line.get("since") is not None else None,
    )


def _clock(t: float, line: dict[str, Any]) -> ClockAccount:
    drift = None if line.get("drift_ppm") is None else _number(line, "drift_ppm")
    return ClockAccount(t, drift, _number(line, "late_ms"))


def _packet(t: float, line: dict[str, Any]) -> Packet:
    host = _number(line, "host") if line.get("host") is not None else None
    try:
        return Packet(t, _text(line, "char"), bytes.fromhex(_text(line, "hex")), host)
    except ValueError:
        raise ValueError('"char" and "hex" must be texts, "hex" of pairs of hex digits') from None


def _attitude(t: float, line: dict[str, Any]) -> Attitude:
    parts = line.get("quaternion")
    if not isinstance(parts, list) or not is_attitude(parts):
        raise ValueError('"quaternion" must be four numbers, not all of them 0')
    w, x, y, z = map(float, parts)
    return Attitude(t, (w, x, y, z))


def _link(t: float, line: dict[str, Any]) -> LinkChange:
    if not isinstance(line.get("up"), bool):
        raise ValueError(f'"up" must be true or false, not {_shown(line.get("up"))}')
    return LinkChange(t, line["up"])


def _device(t: float, line: dict[str, Any]) -> DeviceInfo:
    return DeviceInfo(t, tuple((key, _text(line, key)) for key in DEVICE_KEYS if key in line))


def _asked(t: float, line: dict[str, Any]) -> Asked:
    if line.get("turns") is None:
        return Asked(t, None)
    return Asked(t, tuple(parse_turn(name) for name in _text(line, "turns").split()))


def _solve(t: float, line: dict[str, Any]) -> SolveMark:
    phase = line.get("phase")
    if phase not in SOLVE_PHASES:
        raise ValueError(f'"phase" is {_shown(phase)}; one of {", ".join(SOLVE_PHASES)}')
    return SolveMark(t, _whole(line, "id"), cast("SolvePhase", phase))


def _holding(t: float, line: dict[str, Any]) -> HeldAs:
    up, front = parse_colour(_text(line, "up")), parse_colour(_text(line, "front"))
    return HeldAs(t, Holding.of(up, front))


_MARKS: Final[dict[str, Callable[[float, dict[str, Any]], CubeEvent]]] = {
    "state": _state,
    "gap": _gap,
    "clock": _clock,
    "battery": lambda t, line: Battery(t, _whole(line, "percent", 0, 100)),
    "attitude": _attitude,
    "packet": _packet,
    "asked": _asked,
    "link": _link,
    "device": _device,
    "solve": _solve,
    "holding": _holding,
    "any-holding": lambda t, line: HeldAs(t, None),
    "reset": lambda t, line: Reset(t),
    "clue": lambda t, line: ClueAsked(t),
}
