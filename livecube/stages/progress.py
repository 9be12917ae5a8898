"""What the tracker tells: the pipeline's own events, in order, each with its time.

Events that say all by themselves, as that turns were lost, are told as they are.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, TypeAlias

from livecube.events import Moment, Notice

if TYPE_CHECKING:
    from livecube.cube.holding import Holding
    from livecube.stages.solve import Solve, Split

__all__ = [
    "SURE",
    "CrossColour",
    "HeldNow",
    "Progress",
    "Reopened",
    "Resynced",
    "SolveBegun",
    "SolveOver",
    "StageDone",
    "Turned",
]


@dataclass(frozen=True, slots=True)
class Turned(Moment):
    """The cube was turned."""

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
class SolveBegun(Moment):
    """A solve is under way: from a mark, or seen from its first cross."""

    id: int | None
    start_turn: int
    started: float


@dataclass(frozen=True, slots=True)
class StageDone(Moment):
    """A stage was done, as far as can be told live."""

    split: Split


@dataclass(frozen=True, slots=True)
class Reopened(Moment):
    """Slots that were held have been given up for others."""

    slots: tuple[str, ...]
    line: int


@dataclass(frozen=True, slots=True)
class CrossColour(Moment):
    """The cross that was followed is replaced by another colour's."""

    cross: str
    instead_of: str
    line: int


@dataclass(frozen=True, slots=True)
class SolveOver(Moment):
    """A solve has ended; its stages in hindsight."""

    solve: Solve


@dataclass(frozen=True, slots=True)
class Resynced(Moment):
    """The cube stands otherwise than its turns say, or was declared solved."""

    position: bytes
    twisted: tuple[int, ...] = ()
    """Pieces by whose twist alone it stands otherwise: corners that were twisted by hand."""


Progress: TypeAlias = (
    Turned | SolveBegun | StageDone | Reopened | CrossColour | SolveOver | Resynced | Notice
)


# What is told of the holding; apart from the rest of the room, which takes a moment to load.


SURE: Final = 0.8
"""A holding less sure than this is not spoken of: advice names colours then."""


@dataclass(frozen=True, slots=True)
class HeldNow(Moment):
    """How the cube is held has been worked out, or is not sure any more."""

    holding: Holding | None
    """None: it is not sure enough."""
    confidence: float
    """0 to 1."""
