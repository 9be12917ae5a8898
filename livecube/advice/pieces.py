"""Where the two pieces of a slot are, in words, as the cube is held."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from livecube.cube.geometry import (
    FACES,
    HOME,
    ROTATIONS,
    Array,
    face_of,
    sticker_cycle,
)
from livecube.cube.holding import COLOURS, HOLDINGS
from livecube.search.situation import AT_OFFSETS, DOWN_ROTATIONS, SLOT_PAIRS, SLOT_PIECES

if TYPE_CHECKING:
    from livecube.cube.holding import Holding
    from livecube.search.situation import Situation

__all__ = ["Sticker", "piece_words", "slot_stickers", "slot_words"]

_HANDS: Final = ("up", "left", "front", "right", "back", "down")
"""The faces in the hands, in the order U L F R B D."""
_SPOKEN: Final = "UDFBLR"
"""The order in which the faces of a place are named."""


class Sticker(NamedTuple):
    """One sticker of a piece."""

    colour: str
    facelet: int
    """Where it is, in the frame of the hands."""

    @property
    def facing(self) -> str:
        """The face in the hands that it lies in: up, left, front, right, back or down."""
        return _HANDS[face_of(self.facelet)]


def slot_stickers(
    situation: Situation, slot: int, holding: Holding
) -> tuple[tuple[Sticker, ...], tuple[Sticker, ...]]:
    """The stickers of a slot's corner and of its edge."""
    corner, edge = SLOT_PAIRS[slot]
    return _stickers(situation, corner, holding), _stickers(situation, edge, holding)


def piece_words(situation: Situation, slot: int, holding: Holding) -> tuple[str, str]:
    """Where a slot's corner and its edge are: *home*, *flipped*, or place and direction.

    *Home* allows for the present offset, as everywhere. A corner that is twisted in its own slot is
    *in its slot*. Other places are named by the faces in the hands.
    """
    corner, edge = slot_stickers(situation, slot, holding)
    return _corner_words(situation, slot, corner), _edge_words(situation, slot, edge)


def slot_words(situation: Situation, slot: int, holding: Holding) -> str:
    """Both places as one phrase: *corner up front right (white facing right), edge home*."""
    corner, edge = piece_words(situation, slot, holding)
    joined = ", joined" if situation.joined >> slot & 1 else ""
    return f"corner {corner}, edge {edge}{joined}"


def _corner_words(situation: Situation, slot: int, corner: tuple[Sticker, ...]) -> str:
    if situation.corners >> slot & 1:
        return "home"
    facing = next(s.facing for s in corner if s.colour == situation.colour)
    return f"{_corner_place(situation, slot, corner)} ({situation.colour} facing {facing})"


def _corner_place(situation: Situation, slot: int, corner: tuple[Sticker, ...]) -> str:
    piece = SLOT_PIECES[slot]
    if situation.offset is not None:
        own = sticker_cycle(int(AT_OFFSETS[situation.offset][piece]))
        if int(situation.position[piece]) in own:
            return "in its slot"
    return _place(corner)


def _edge_words(situation: Situation, slot: int, edge: tuple[Sticker, ...]) -> str:
    if situation.edges >> slot & 1:
        return "home"
    if situation.flipped >> slot & 1:
        return "flipped"
    told = min(edge, key=lambda s: _SPOKEN.index(FACES[face_of(s.facelet)]))
    return f"{_place(edge)} ({told.colour} facing {told.facing})"


def _place(piece: tuple[Sticker, ...]) -> str:
    """The place of a piece in the hands: *up front right*, *front left*."""
    faces = sorted((face_of(s.facelet) for s in piece), key=lambda f: _SPOKEN.index(FACES[f]))
    return " ".join(_HANDS[face] for face in faces)


def _stickers(situation: Situation, piece: int, holding: Holding) -> tuple[Sticker, ...]:
    to_fixed, to_hands = _down_to_fixed(situation.face), _fixed_to_hands(holding)
    homes, places = sticker_cycle(int(HOME[piece])), sticker_cycle(int(situation.position[piece]))
    return tuple(
        Sticker(COLOURS[face_of(to_fixed[home])], int(to_hands[to_fixed[place]]))
        for home, place in zip(homes, places, strict=True)
    )


@cache
def _down_to_fixed(face: int) -> Array:
    """Shape (54,): the fixed-frame facelet of each facelet in the down frame of ``face``."""
    return np.argsort(ROTATIONS[DOWN_ROTATIONS[face]]).astype(np.uint8)


@cache
def _fixed_to_hands(holding: Holding) -> Array:
    """Shape (54,): the facelet in the hands of each fixed-frame facelet."""
    return np.argsort(ROTATIONS[HOLDINGS.index(holding)]).astype(np.uint8)
