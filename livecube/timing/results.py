"""The result of an attempt: its truncated time, with penalties, or DNF or DNS.

World Cube Association Regulations (April 1, 2026). Times are whole milliseconds, so that floating
point loses no precision.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, Literal, TypeAlias, get_args

from livecube.cube.position import SOLVED_BYTES, TURN_BYTES
from livecube.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = [
    "CALLS_MS",
    "DNF",
    "INSPECTION_MS",
    "LATEST_START_MS",
    "NO_TIMES",
    "PLUS_MS",
    "TEN_MINUTES_MS",
    "NoTime",
    "Penalty",
    "PenaltyKind",
    "PenaltyReason",
    "Result",
    "Standing",
    "inspection_penalties",
    "next_call",
    "parse_penalties",
    "parse_time",
    "penalties_json",
    "penalties_sentence",
    "penalties_text",
    "result_json",
    "result_of",
    "result_text",
    "seconds_text",
    "standing",
    "standing_penalties",
    "time_text",
    "to_the_millisecond",
    "truncated",
    "workings_text",
]

NoTime: TypeAlias = Literal["DNF", "DNS"]
NO_TIMES: Final[tuple[NoTime, ...]] = get_args(NoTime)
DNF: Final[NoTime] = "DNF"
"""Did not finish."""
Result: TypeAlias = int | NoTime
"""Of an attempt or an average: milliseconds, or DNF (did not finish) or DNS (did not start)."""

PenaltyKind: TypeAlias = Literal["+2", "DNF"]
PenaltyReason: TypeAlias = Literal["inspection", "one turn short", "not solved", "decided"]
"""*decided*: a person set the penalty."""

PLUS_MS: Final = 2_000
TEN_MINUTES_MS: Final = 600_000
_TIME: Final = re.compile(r"(?:(\d{1,3}):)?(\d{1,2})(?:\.(\d{1,3}))?")
_REASONS: Final = {
    "inspection": "inspection took too long",
    "one turn short": "one turn short",
    "not solved": "not solved",
    "decided": "decided",
}


@dataclass(frozen=True, slots=True)
class Penalty:
    """Two seconds more, or DNF."""

    kind: PenaltyKind
    reason: PenaltyReason = "decided"


def truncated(ms: int) -> int:
    """A measured time, truncated.

    Article 9f1: under 10 minutes cut to 0.01 s; 9f2: from there on to whole seconds.
    """
    step = 10 if ms < TEN_MINUTES_MS else 1000
    return ms // step * step


def result_of(ms: int, penalties: tuple[Penalty, ...]) -> Result:
    """The result of an attempt: its truncated time and two seconds for each penalty.

    A sum from ten minutes on is truncated to whole seconds, as such a time is.
    """
    if any(penalty.kind == DNF for penalty in penalties):
        return DNF
    return truncated(truncated(ms) + PLUS_MS * len(penalties))


def time_text(ms: int) -> str:
    """A result in milliseconds as text: ``12.67``, ``1:02.03``, ``10:05``."""
    minutes, rest = divmod(ms, 60_000)
    seconds = f"{rest // 1000}" if not minutes else f"{rest // 1000:02d}"
    hundredths = f".{rest % 1000 // 10:02d}" if ms < TEN_MINUTES_MS else ""
    return f"{minutes}:{seconds}{hundredths}" if minutes else f"{seconds}{hundredths}"


def seconds_text(seconds: float) -> str:
    """Measured seconds of a part of a solve, cut to hundredths as results are: ``12.59``.

    Whatever stands beside a result is cut alike (article 9f1), so that both agree.
    """
    return f"{round(1000 * seconds) // 10 / 100:.2f}"


def to_the_millisecond(seconds: float) -> float:
    """Predicted seconds without what sums of binary fractions leave beside whole milliseconds."""
    return round(seconds, 3)


def parse_time(text: str) -> int:
    """Milliseconds of a time as :func:`time_text` writes it.

    Raises :class:`~livecube.errors.UsageError`.
    """
    match = _TIME.fullmatch(text)
    if match is None or (match[1] and int(match[2]) > 59):
        raise UsageError(f"{text!r} is not a time; write 12.67, 1:02.03 or 10:05")
    return 60_000 * int(match[1] or 0) + 1000 * int(match[2]) + int((match[3] or "").ljust(3, "0"))


def result_text(result: Result) -> str:
    """A result as it is written: a time, ``DNF`` or ``DNS``."""
    return result if isinstance(result, str) else time_text(result)


def workings_text(ms: int, penalties: tuple[Penalty, ...]) -> str:
    """How a result is worked out, as text.

    Article A7b4: ``T + X = F`` with the time, the sum of the penalties and the final result.
    """
    result = result_of(ms, penalties)
    time = time_text(truncated(ms))
    if result == DNF:
        return f"DNF ({time})"
    if not penalties:
        return time
    return f"{time} + {PLUS_MS // 1000 * len(penalties)} = {result_text(result)}"


def parse_penalties(text: str) -> tuple[Penalty, ...]:
    """Penalties that a person sets: ``none``, ``+2``, ``+4``, ``DNF``.

    Raises :class:`~livecube.errors.UsageError`.
    """
    match text.upper():
        case "NONE":
            return ()
        case "+2":
            return (Penalty("+2"),)
        case "+4":
            return (Penalty("+2"), Penalty("+2"))
        case "DNF":
            return (Penalty("DNF"),)
    raise UsageError(f"{text!r} is not a penalty; one of none, +2, +4, DNF")


def penalties_text(penalties: tuple[Penalty, ...]) -> str:
    """Penalties in words that :func:`parse_penalties` reads: ``+2``, ``DNF``, ``none``."""
    if any(penalty.kind == DNF for penalty in penalties):
        return DNF
    return f"+{PLUS_MS // 1000 * len(penalties)}" if penalties else "none"


# One attempt: inspection with its calls, and the position when the timer was stopped.
#
# World Cube Association Regulations (April 1, 2026). On a cube that reports every turn the first
# turn starts the time and the solved cube stops it; by hand it can be stopped before.


INSPECTION_MS: Final = 15_000
"""Article A3a1: less than 15 seconds to inspect the cube and start."""
CALLS_MS: Final = (8_000, 12_000)
"""Articles A3b3 and A3b4: the calls after 8 and 12 seconds."""
LATEST_START_MS: Final = 17_000
"""Article A4d2: starting at this time or later makes the attempt DNF."""

Standing: TypeAlias = Literal["solved", "one turn short", "not solved"]


def inspection_penalties(ms: int) -> tuple[Penalty, ...]:
    """The penalties of an inspection of this length.

    Article A4d1: from 15.00 s on two seconds; A4d2: from 17.00 s on DNF.
    """
    if ms < INSPECTION_MS:
        return ()
    return (Penalty("+2" if ms < LATEST_START_MS else "DNF", "inspection"),)


def next_call(ms: int) -> int | None:
    """The next time, in ms of inspection, at which something is called or shown; None: no more.

    The two calls, and the two limits.
    """
    moments = (*CALLS_MS, INSPECTION_MS, LATEST_START_MS)
    return next((moment for moment in moments if moment > ms), None)


def standing(position: bytes) -> Standing:
    """How far a cube (20 facelets) is from solved when the time is stopped.

    Articles 10e and 10f1: one turn from solved costs two seconds, more is DNF.
    """
    if position == SOLVED_BYTES:
        return "solved"
    near = any(position.translate(turn) == SOLVED_BYTES for turn in TURN_BYTES)
    return "one turn short" if near else "not solved"


def standing_penalties(position: bytes) -> tuple[Penalty, ...]:
    """The penalties of a cube in this position when the time is stopped."""
    how = standing(position)
    if how == "solved":
        return ()
    return (Penalty("+2" if how == "one turn short" else "DNF", how),)


def penalties_sentence(penalties: Sequence[Penalty]) -> str:
    """The reasons of penalties, as a sentence."""
    reasons = dict.fromkeys(_REASONS[penalty.reason] for penalty in penalties)
    return ", ".join(reasons)


def penalties_json(penalties: Sequence[Penalty]) -> list[dict[str, str]]:
    """Kind and reason of each."""
    return [{"kind": one.kind, "reason": one.reason} for one in penalties]


def result_json(result: Result) -> dict[str, Any]:
    """The milliseconds of a result, or null with DNF or DNS."""
    is_time = not isinstance(result, str)
    return {"result_ms": result if is_time else None, "no_time": None if is_time else result}
