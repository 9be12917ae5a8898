"""What the tracker tells: the pipeline's own events, in order, each with its time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, TypeAlias

if TYPE_CHECKING:
    from livecube.cube.holding import Holding
    from livecube.stages.solve import Solve, Split

__all__ = [
    "SURE",
    "BatteryLevel",
    "ClockTold",
    "CrossColour",
    "DeviceTold",
    "HeldAs",
    "HeldNow",
    "LinkChanged",
    "Lost",
    "Progress",
    "Reopened",
    "Resynced",
    "SolveBegun",
    "SolveOver",
    "StageDone",
    "Turned",
]


@dataclass(frozen=True, slots=True)
class Turned:
    """The cube was turned."""

    t: float
    turn: int
    line: int
    """Turn line, counted from 1 in the log."""
    position: bytes
    cross: str | None
    """Colour of the cross that is followed now; None before there is one."""
    offset: int | None
    """The offset at which that cross is whole; None in the middle of a sequence."""
    solved_slots: tuple[str, ...]
    """Slots solved up to that offset."""
    attitude: tuple[float, float, float, float] | None = None
    """How the cube's core stood in space, as a quaternion; see
    :class:`livecube.events.AttitudeReport`. None without a gyroscope."""
    kept: tuple[str, ...] = ()
    """Slots that are done and not reopened; some may be out at this line."""


@dataclass(frozen=True, slots=True)
class SolveBegun:
    """A solve is under way: from a mark, or seen from its first cross."""

    t: float
    id: int | None
    start_turn: int
    started: float


@dataclass(frozen=True, slots=True)
class StageDone:
    """A stage was done, as far as can be told live."""

    t: float
    split: Split


@dataclass(frozen=True, slots=True)
class Reopened:
    """Slots that were held have been given up for others."""

    t: float
    slots: tuple[str, ...]
    line: int


@dataclass(frozen=True, slots=True)
class CrossColour:
    """The cross that was followed is replaced by another colour's."""

    t: float
    cross: str
    instead_of: str
    line: int


@dataclass(frozen=True, slots=True)
class SolveOver:
    """A solve has ended; its stages in hindsight."""

    t: float
    solve: Solve


@dataclass(frozen=True, slots=True)
class Resynced:
    """The cube stands otherwise than its turns say, or was declared solved."""

    t: float
    position: bytes
    twisted: tuple[int, ...] = ()
    """Pieces by whose twist alone it stands otherwise: corners that were twisted by hand."""


@dataclass(frozen=True, slots=True)
class Lost:
    """Turns were lost; None: nobody knows how many."""

    t: float
    lost: int | None


@dataclass(frozen=True, slots=True)
class BatteryLevel:
    """Charge in percent."""

    t: float
    percent: int


@dataclass(frozen=True, slots=True)
class LinkChanged:
    """The connection to the cube was lost, or is back."""

    t: float
    up: bool


@dataclass(frozen=True, slots=True)
class DeviceTold:
    """What the cube says of itself: names and texts."""

    t: float
    told: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class ClockTold:
    """How good the times of a connection were; see :class:`livecube.events.ClockAccount`."""

    t: float
    drift_ppm: float | None
    late_ms: float


@dataclass(frozen=True, slots=True)
class HeldAs:
    """The solver said how the cube is held."""

    t: float
    holding: Holding | None
    """None: nobody knows any more."""


Progress: TypeAlias = (
    Turned
    | SolveBegun
    | StageDone
    | Reopened
    | CrossColour
    | SolveOver
    | Resynced
    | Lost
    | BatteryLevel
    | LinkChanged
    | DeviceTold
    | ClockTold
    | HeldAs
)


# What is told of the holding; apart from the rest of the room, which takes a moment to load.


SURE: Final = 0.8
"""A holding less sure than this is not spoken of: advice names colours then."""


@dataclass(frozen=True, slots=True)
class HeldNow:
    """How the cube is held has been worked out, or is not sure any more."""

    t: float
    holding: Holding | None
    """None: it is not sure enough."""
    confidence: float
    """0 to 1."""
