"""A position of a drill. What is here is light: whoever tells of drills needs no search."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from livecube.cube.geometry import OPPOSITE
from livecube.cube.holding import COLOURS, Holding
from livecube.review.one_try import Place
from livecube.stages.frame import FRAMES

if TYPE_CHECKING:
    from livecube.drills.cases import Case

__all__ = ["DrillPlace", "key_of", "pieces_that_count"]


@dataclass(frozen=True, slots=True)
class DrillPlace(Place):
    """A position in which a technique is the best choice."""

    case: Case
    grade: str
    """One of :data:`livecube.drills.grading.GRADES`."""
    margin_s: float | None
    """By how many predicted seconds the next best technique is slower; None: none is known
    that does as much."""

    @property
    def technique(self) -> str:
        """Its id."""
        return self.row.technique

    @property
    def set_up_holding(self) -> Holding:
        """The cross down, green in front if it can be; else red."""
        up, front = OPPOSITE[self.face], COLOURS.index("green")
        return Holding.of(up, front if front not in (up, self.face) else COLOURS.index("red"))

    @property
    def key(self) -> str:
        """See :func:`key_of`."""
        return key_of(self.position, self.face)


def pieces_that_count(face: int) -> tuple[int, ...]:
    """The twelve pieces of the cross and its slots; where the others are is all the same."""
    frame = FRAMES[face]
    return (*frame.cross, *frame.corners, *frame.edges)


def key_of(position: bytes, face: int) -> str:
    """The same for all positions that ask the same: cross colour, and where its pieces are."""
    return f"{face}" + bytes(position[piece] for piece in pieces_that_count(face)).hex()
