"""The tracker's output: the pipeline's own events, in order, each with its time.

Events that need no tracker, such as lost turns, are passed on unchanged.
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
    "HelpWanted",
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
    """A solve has begun: a mark says so, or its first cross shows it."""

    id: int | None
    start_turn: int
    started: float


@dataclass(frozen=True, slots=True)
class StageDone(Moment):
    """A stage was done, as judged live."""

    split: Split


@dataclass(frozen=True, slots=True)
class Reopened(Moment):
    """Held slots were broken up for others."""

    slots: tuple[str, ...]
    line: int


@dataclass(frozen=True, slots=True)
class CrossColour(Moment):
    """Another colour's cross is followed from now on."""

    cross: str
    instead_of: str
    line: int


@dataclass(frozen=True, slots=True)
class SolveOver(Moment):
    """A solve has ended; its stages in hindsight."""

    solve: Solve


@dataclass(frozen=True, slots=True)
class Resynced(Moment):
    """The cube's position contradicts its turns, or it was declared solved."""

    position: bytes
    twisted: tuple[int, ...] = ()
    """Corners that were twisted by hand, if their twist is the only difference."""


Progress: TypeAlias = (
    Turned | SolveBegun | StageDone | Reopened | CrossColour | SolveOver | Resynced | Notice
)


# The holding as it is reported. It stands here because the room `holding` is slow to load.


SURE: Final = 0.8
"""A holding with a lower probability is not named: advice names colours instead."""


@dataclass(frozen=True, slots=True)
class HeldNow(Moment):
    """The holding was worked out, or is no longer sure."""

    holding: Holding | None
    """None: not sure enough."""
    confidence: float
    """Probability, 0 to 1."""


@dataclass(frozen=True, slots=True)
class HelpWanted(Moment):
    """The solver asked for help by a gesture, or wants none any more."""

    wanted: bool
    """False: the gesture was made again, or the solve is over."""
