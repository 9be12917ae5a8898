"""How hard a drill's position is: grades of our own, counted from what the eyes have to do.

Each of these makes a position harder by one point:

- each turn beyond five (at most three points), for one slot; beyond ten for two;
- the slot is at the back, as the cube is held for it;
- each of the two pieces that shows no sticker on the three faces that are seen (up, front, right);
- the cross layer stands aside when it begins;
- the cube is not only turned: a wide turn or a rotation is part of it;
- the next best technique is nearly as good (within :data:`CLOSE_S`).

Up to one point is *open*, two or three *veiled*, more *hidden*.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from livecube.advice.pieces import slot_stickers
from livecube.advice.words import place_of
from livecube.cube.geometry import FACES

if TYPE_CHECKING:
    from livecube.advice.opportunity import Opportunity
    from livecube.search.situation import Situation

__all__ = ["CLOSE_S", "GRADES", "grade_of", "points"]

GRADES: Final = ("open", "veiled", "hidden")
"""The grades, from the easiest."""
CLOSE_S: Final = 0.1
"""Predicted seconds that nobody would see."""
_EASY_TURNS: Final = 5
_MOST_FOR_TURNS: Final = 3
_SEEN: Final = {"up", "front", "right"}


def points(situation: Situation, row: Opportunity, margin_s: float) -> int:
    """How hard it is; ``margin_s``: by how much the next best technique is slower."""
    turns = min(_MOST_FOR_TURNS, max(0, row.turns - _EASY_TURNS * len(row.slots)))
    back = any("back" in place_of(slot, row.holding) for slot in row.slots)
    handled = any(move.symbol not in FACES for move in row.moves)
    return (
        turns
        + back
        + _unseen(situation, row)
        + bool(situation.offset)
        + handled
        + (margin_s < CLOSE_S)
    )


def grade_of(points: int) -> str:
    """The grade for so many points."""
    return GRADES[0 if points <= 1 else 1 if points <= 3 else 2]


def _unseen(situation: Situation, row: Opportunity) -> int:
    """Pieces of the first slot that show nothing to whoever holds the cube."""
    slot = situation.slot_numbers(row.slots[:1])[0]
    pieces = slot_stickers(situation, slot, row.holding)
    return sum(not _SEEN & {sticker.facing for sticker in piece} for piece in pieces)
