"""A position of a drill. This module is light: showing drills needs no search."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from livecube.advice.pieces import slot_stickers
from livecube.advice.words import place_of
from livecube.cube.geometry import PIECE_AT
from livecube.cube.holding import cross_down
from livecube.review.trying import Place
from livecube.search.situation import AT_OFFSETS, SLOT_PIECES
from livecube.stages.frame import FRAMES

if TYPE_CHECKING:
    from livecube.advice.rows import Opportunity
    from livecube.cube.holding import Holding
    from livecube.search.situation import Situation

__all__ = [
    "Case",
    "DrillPlace",
    "MissedPlace",
    "case_of",
    "key_of",
    "pieces_that_count",
    "pieces_words",
]

# The case of a drill: the slot in the hands, and where its two pieces are, in few words.
#
# Cases are asked repeatedly, so they are as coarse as solvers see them. For a piece in the upper
# layer a case names only the layer and, for a corner, the direction: one turn of the layer changes
# its place.


@dataclass(frozen=True, slots=True)
class Case:
    """One case of a technique; its text is its name in the history."""

    side: str
    """Where the slot is in the hands, in the cheapest holding: *front right* and so on."""
    pieces: str
    """Where its corner and its edge are."""

    def __str__(self) -> str:
        return f"{self.side}; {self.pieces}"


def case_of(situation: Situation, row: Opportunity) -> Case:
    """The case of the slots that a row fills, in the row's holding."""
    sides = [place_of(slot, row.holding) for slot in row.slots]
    numbers = situation.slot_numbers(row.slots)
    if len(numbers) > 1:
        apart = "opposite slots" if (numbers[0] - numbers[1]) % 4 == 2 else "neighbouring slots"
        return Case(" and ".join(sorted(sides)), apart)
    return Case(sides[0], pieces_words(situation, numbers[0], row.holding))


def pieces_words(situation: Situation, slot: int, holding: Holding) -> str:
    """Where the corner and the edge of a slot are: *corner home, edge above*."""
    corner, edge = _corner(situation, slot, holding), _edge(situation, slot, holding)
    joined = ", joined" if situation.joined >> slot & 1 else ""
    return f"corner {corner}, edge {edge}{joined}"


def _corner(situation: Situation, slot: int, holding: Holding) -> str:
    if situation.corners >> slot & 1:
        return "home"
    stickers, _ = slot_stickers(situation, slot, holding)
    facings = [sticker.facing for sticker in stickers]
    if "up" in facings:
        cross = next(s.facing for s in stickers if s.colour == situation.colour)
        return "above facing up" if cross == "up" else "above facing aside"
    home = AT_OFFSETS[situation.offset or 0][SLOT_PIECES[slot]]
    own = PIECE_AT[situation.position[SLOT_PIECES[slot]]] == PIECE_AT[home]
    return "twisted in its slot" if situation.offset is not None and own else "in a slot"


def _edge(situation: Situation, slot: int, holding: Holding) -> str:
    if situation.edges >> slot & 1:
        return "home"
    if situation.flipped >> slot & 1:
        return "flipped"
    _, stickers = slot_stickers(situation, slot, holding)
    facings = [sticker.facing for sticker in stickers]
    if "up" in facings:
        return "above"
    return "below" if "down" in facings else "in a slot"


@dataclass(frozen=True, slots=True)
class DrillPlace(Place):
    """A position in which a technique is the best choice."""

    case: Case
    grade: str
    """One of :data:`livecube.drills.judging.GRADES`."""
    margin_s: float | None
    """Predicted seconds by which the next best technique is slower; None: no other technique is
    known that fills as many slots."""

    @property
    def technique(self) -> str:
        """The id of the technique."""
        return self.row.technique

    @property
    def set_up_holding(self) -> Holding:
        """The cross down, and green in front if possible; else red."""
        return cross_down(self.face)

    @property
    def key(self) -> str:
        """See :func:`key_of`."""
        return key_of(self.position, self.face)


@dataclass(frozen=True, slots=True)
class MissedPlace(DrillPlace):
    """A chance that a person missed in a kept solve, to be tried again."""

    solve: int
    """Number of the solve in the history."""
    pair: int
    """The pair before which it came, from 1."""
    saved_s: float
    """Predicted seconds that it would have saved."""


def pieces_that_count(face: int) -> tuple[int, ...]:
    """The twelve pieces of the cross and its slots; the other pieces do not matter."""
    frame = FRAMES[face]
    return (*frame.cross, *frame.corners, *frame.edges)


def key_of(position: bytes, face: int) -> str:
    """A key of cross colour and its twelve pieces: equal for positions of the same question."""
    return f"{face}" + bytes(position[piece] for piece in pieces_that_count(face)).hex()
