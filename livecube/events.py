"""The events of a cube, as values.

A decoder gives *reports*: the content of a packet, with the cube's own clock in raw milliseconds.
The clock turns reports into *events* with seconds; logs are read as events. After that point a
live cube and a recorded one look the same.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal, TypeAlias

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.cube.holding import Holding

__all__ = [
    "DEVICE_KEYS",
    "SOLVE_PHASES",
    "Asked",
    "Attitude",
    "AttitudeReport",
    "BadPacket",
    "Battery",
    "BatteryReport",
    "Cause",
    "ClockAccount",
    "ClueAsked",
    "CubeEvent",
    "DeviceInfo",
    "Gap",
    "GapReport",
    "HeldAs",
    "LinkChange",
    "Moment",
    "Notice",
    "Packet",
    "Report",
    "Reset",
    "SolveMark",
    "SolvePhase",
    "State",
    "StateReport",
    "Turn",
    "TurnReport",
    "is_attitude",
]

SolvePhase: TypeAlias = Literal["scramble", "inspect", "start", "end", "abandon"]
SOLVE_PHASES: tuple[SolvePhase, ...] = ("scramble", "inspect", "start", "end", "abandon")
DEVICE_KEYS = ("maker", "model", "hardware", "firmware", "software")
"""Kept device information. No serial number: it would identify the owner of a log."""


# Reports: from a decoder, before the clock.


@dataclass(frozen=True, slots=True)
class TurnReport:
    """One face turn, as a packet reported it."""

    turn: int
    """Fixed-frame turn, 0 to 17."""
    seq: int | None
    """The cube's running number of this turn, as sent (it wraps); None if it has none."""
    cube_ms: int | None
    """The cube's clock as sent, in ms (it wraps, never mix it with host time); None: no clock."""


@dataclass(frozen=True, slots=True)
class StateReport:
    """The whole position, as a packet reported it."""

    position: bytes
    """20 facelets, see :mod:`livecube.cube.position`."""
    seq: int | None
    """Running number of the last turn that this position includes."""
    cube_ms: int | None


@dataclass(frozen=True, slots=True)
class BatteryReport:
    """Charge in percent, 0 to 100."""

    percent: int


@dataclass(frozen=True, slots=True)
class GapReport:
    """Turns were lost for good."""

    lost: int | None
    """How many; None if the cube does not count its turns."""


@dataclass(frozen=True, slots=True)
class BadPacket:
    """A packet that makes no sense. Data, not an exception: radio noise is no one's mistake."""

    reason: str
    data: bytes


@dataclass(frozen=True, slots=True)
class AttitudeReport:
    """Attitude in space of the core of a cube with a gyroscope."""

    quaternion: tuple[float, float, float, float]
    """w, x, y, z of the rotation that takes the cube's axes to those of space: x out of the red
    centre, y out of white, z out of green. The axes of space may lie anywhere, and may drift. Any
    length except 0."""


_FAR: Final = 1e6
"""Largest value in a quaternion."""


def is_attitude(quaternion: Sequence[object]) -> bool:
    """Whether this is a rotation: four finite numbers, not all of them 0."""
    return (
        len(quaternion) == 4
        and all(isinstance(part, int | float) and abs(part) <= _FAR for part in quaternion)
        and any(quaternion)
    )


Report: TypeAlias = (
    TurnReport | StateReport | BatteryReport | GapReport | AttitudeReport | BadPacket
)


# Events: with seconds, in order; what logs hold and the pipeline works on.


@dataclass(frozen=True, slots=True)
class Moment:
    """Something at one time: an event, or news made from events."""

    t: float
    """Seconds on the cube's clock."""


@dataclass(frozen=True, slots=True)
class Turn(Moment):
    """One fixed-frame face turn."""

    turn: int
    host: float | None = None
    """Host seconds of the arrival, on the host's own clock."""
    seq: int | None = None
    inferred: bool = False
    """Inferred from positions, not reported by the cube."""


@dataclass(frozen=True, slots=True)
class State(Moment):
    """The cube's position (20 facelets)."""

    position: bytes


@dataclass(frozen=True, slots=True)
class Gap(Moment):
    """Turns were lost here; ``lost`` says how many, None if unknown."""

    lost: int | None
    since: float | None = None
    """If set, the place is unknown: the turns were lost at any time since then."""


@dataclass(frozen=True, slots=True)
class Battery(Moment):
    """Charge in percent, 0 to 100."""

    percent: int


@dataclass(frozen=True, slots=True)
class Attitude(Moment):
    """Attitude of the cube's core in space; see :class:`AttitudeReport`."""

    quaternion: tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class Packet(Moment):
    """A raw notification, kept for later decoding."""

    char: str
    data: bytes
    host: float | None = None
    """Host seconds of the arrival, on the host's own clock."""


@dataclass(frozen=True, slots=True)
class LinkChange(Moment):
    """The connection to the cube was lost, or has come back."""

    up: bool


@dataclass(frozen=True, slots=True)
class DeviceInfo(Moment):
    """Device information from the cube."""

    told: tuple[tuple[str, str], ...]
    """Keys of ``DEVICE_KEYS`` with their texts, as many as the cube sends."""


@dataclass(frozen=True, slots=True)
class ClockAccount(Moment):
    """Measured accuracy of the times of a connection."""

    drift_ppm: float | None
    """How much faster the host's clock ran than the cube's, in millionths; None: the cube has no
    clock, and the times are those of the arrivals."""
    late_ms: float
    """With a clock: 95 % of the packets were at most this much later than the quickest; the times
    do not suffer from it. Without a clock: arrivals come in steps of about this length, and the
    times are uncertain by as much."""


@dataclass(frozen=True, slots=True)
class Asked(Moment):
    """While a cube is being learned: its owner is asked to make these turns now."""

    turns: tuple[int, ...] | None
    """None: any turns that end with the cube solved."""


@dataclass(frozen=True, slots=True)
class SolveMark(Moment):
    """A solve enters a phase; ``id`` numbers the solves of a log."""

    id: int
    phase: SolvePhase


@dataclass(frozen=True, slots=True)
class HeldAs(Moment):
    """The solver states the holding."""

    holding: Holding | None
    """None: no longer known."""


@dataclass(frozen=True, slots=True)
class Reset(Moment):
    """The solver states that the cube is solved now."""


@dataclass(frozen=True, slots=True)
class ClueAsked(Moment):
    """The solver asks for the next clue of the hint that stands."""


Cause: TypeAlias = Turn | State | Attitude | Packet | Asked | SolveMark | Reset | ClueAsked
"""Events that are not shown as they are: the program makes something of them, or nothing."""
Notice: TypeAlias = Gap | Battery | LinkChange | DeviceInfo | ClockAccount | HeldAs
"""Events that are shown as they are."""
CubeEvent: TypeAlias = Cause | Notice
