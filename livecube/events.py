"""What happens to a cube, as values.

A decoder gives *reports*: what a packet said, with the cube's own clock in raw
milliseconds. The clock turns reports into *events* with seconds; logs are read as events.
Nothing after that point can tell a live cube from a recorded one.
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
"""What a cube may say of itself. No serial number: it would tell whose cube a log is of."""


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
    """Turns were lost that cannot be recovered any more."""

    lost: int | None
    """How many; None if the cube does not count its turns."""


@dataclass(frozen=True, slots=True)
class BadPacket:
    """A packet that makes no sense. Data, not an exception: radio noise is no one's mistake."""

    reason: str
    data: bytes


@dataclass(frozen=True, slots=True)
class AttitudeReport:
    """How the core of a cube with a gyroscope stands in space."""

    quaternion: tuple[float, float, float, float]
    """w, x, y, z of the rotation that takes the cube's axes to those of space: x out of the red
    centre, y out of white, z out of green. Where space's axes lie does not matter, and they may
    drift. Of any length but 0."""


_FAR: Final = 1e6
"""No part of a quaternion is greater."""


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
    """Something that happens once: an event, or news that are made of events."""

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
    """Worked out from positions, not reported by the cube."""


@dataclass(frozen=True, slots=True)
class State(Moment):
    """The cube stands in this position (20 facelets)."""

    position: bytes


@dataclass(frozen=True, slots=True)
class Gap(Moment):
    """Turns were lost here; ``lost`` says how many, None if unknown."""

    lost: int | None
    since: float | None = None
    """The place is not known: they were lost at any time since then. None: it is known."""


@dataclass(frozen=True, slots=True)
class Battery(Moment):
    """Charge in percent, 0 to 100."""

    percent: int


@dataclass(frozen=True, slots=True)
class Attitude(Moment):
    """How the core of the cube stands in space; see :class:`AttitudeReport`."""

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
    """What the cube says of itself."""

    told: tuple[tuple[str, str], ...]
    """Keys of ``DEVICE_KEYS`` and texts, as far as they are told."""


@dataclass(frozen=True, slots=True)
class ClockAccount(Moment):
    """How good the times of a connection were, as it was measured."""

    drift_ppm: float | None
    """By how much the host's clock ran faster than the cube's, in millionths; None: the cube
    has no clock, and the times are those of the arrivals."""
    late_ms: float
    """With a clock: 95 % of the packets were at most so much later than the quickest, which the
    times do not suffer from. Without: arrivals come in steps of about so much, and so are the
    times uncertain."""


@dataclass(frozen=True, slots=True)
class Asked(Moment):
    """While a cube is being learned: its owner is asked for these turns, and makes them now."""

    turns: tuple[int, ...] | None
    """None: any turns that end with the cube solved."""


@dataclass(frozen=True, slots=True)
class SolveMark(Moment):
    """A solve enters a phase; ``id`` numbers the solves of a log."""

    id: int
    phase: SolvePhase


@dataclass(frozen=True, slots=True)
class HeldAs(Moment):
    """The solver says how the cube is held."""

    holding: Holding | None
    """None: nobody knows any more."""


@dataclass(frozen=True, slots=True)
class Reset(Moment):
    """The solver says that the cube is solved now."""


@dataclass(frozen=True, slots=True)
class ClueAsked(Moment):
    """The solver asks for the next clue of the hint that stands."""


Cause: TypeAlias = Turn | State | Attitude | Packet | Asked | SolveMark | Reset | ClueAsked
"""Events of which the program makes something else, or nothing."""
Notice: TypeAlias = Gap | Battery | LinkChange | DeviceInfo | ClockAccount | HeldAs
"""Events that people are told as they are."""
CubeEvent: TypeAlias = Cause | Notice
