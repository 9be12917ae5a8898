"""Numbers that the search works on.

Everything here is in the *down frame*: the cross is down, and slots are numbered in the
order in which a D turn carries their corners on:

======  =======  ====  ========
slot    corner   edge  place
======  =======  ====  ========
0       DFR      FR    front right
1       DBR      BR    back right
2       DBL      BL    back left
3       DFL      FL    front left
======  =======  ====  ========

A corner's *place* is ``3 * corner cubicle + twist`` (0 to 23), an edge's ``2 * edge cubicle
+ flip``. The *cross* is one number for the four cross edges (0 to 190,079). A *piece* 0–3 is
the corner of that slot, 4–7 the edge of slot ``piece - 4``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from livecube.cube.geometry import FACES, OPPOSITE, ROTATIONS, TURNS, Array
from livecube.cube.pieces import CORNERS, EDGES, HOME, PIECE_AT, TWIST_AT, parse_piece
from livecube.cube.position import rotation_taking

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = [
    "CROSSES",
    "CROSS_EDGES",
    "DOWN_ROTATIONS",
    "PIECE_MOVES",
    "SLOT_PIECES",
    "SLOT_SYMMETRY",
    "SOLVED_PLACES",
    "TURN_SEEN",
    "cross_number",
    "cross_places",
    "piece_places",
    "turn_map",
]

CROSSES: Final = 12 * 11 * 10 * 9 * 16
"""How many places the four edges of a cross can have together: 190,080."""

CROSS_EDGES: Final = tuple(parse_piece(n) for n in ("DF", "DR", "DB", "DL"))
SLOT_PIECES: Final = tuple(
    parse_piece(n) for n in ("DFR", "DBR", "DBL", "DFL", "FR", "BR", "BL", "FL")
)
"""Pieces 0–7 as the cube core numbers them."""


def _places() -> tuple[Array, Array]:
    corner, edge = np.full(54, 255, dtype=np.uint8), np.full(54, 255, dtype=np.uint8)
    for facelet in range(54):
        piece = int(PIECE_AT[facelet])
        if piece in CORNERS:
            corner[facelet] = 3 * piece + TWIST_AT[facelet]
        elif piece in EDGES:
            edge[facelet] = 2 * (piece - len(CORNERS)) + TWIST_AT[facelet]
    return corner, edge


_CORNER_PLACE, _EDGE_PLACE = _places()
_CORNER_PLACES: Final[list[int]] = _CORNER_PLACE.tolist()
_EDGE_PLACES: Final[list[int]] = _EDGE_PLACE.tolist()


def _facelet_of(places: Array) -> list[int]:
    return [int(np.flatnonzero(places == place)[0]) for place in range(24)]


def _moved(places: Array, change: Array) -> Array:
    """Where each of the 24 places goes when facelets move as ``change`` (54) says."""
    return np.array([places[change[f]] for f in _facelet_of(places)], dtype=np.uint8)


PIECE_MOVES: Final = np.array(
    [
        [_moved(_CORNER_PLACE, turn) for turn in TURNS],
        [_moved(_EDGE_PLACE, turn) for turn in TURNS],
    ]
)
"""Shape (2, 18, 24): new place of a corner (0) or edge (1) after a turn."""


def _slot_symmetry() -> Array:
    result = []
    ring, down = [FACES.index(face) for face in "FRBL"], FACES.index("D")
    for slot in range(4):
        spin = ROTATIONS[rotation_taking(down, down, ring[slot], ring[0])]
        corner, cross_edge = _moved(_CORNER_PLACE, spin), _moved(_EDGE_PLACE, spin)
        # A side edge's reference sticker is in F or B: a quarter turn makes it the other one.
        slot_edge = cross_edge ^ (slot & 1)
        result.append([corner, slot_edge, cross_edge])
    return np.array(result)


SLOT_SYMMETRY: Final = _slot_symmetry()
"""Shape (4, 3, 24): place of a corner, a slot edge, a cross edge as slot s sees it when it
is turned to the front right and called slot 0."""

SOLVED_PLACES: Final = np.array(
    [_CORNER_PLACE[HOME[p]] if p in CORNERS else _EDGE_PLACE[HOME[p]] for p in SLOT_PIECES],
    dtype=np.uint8,
)
"""Shape (8,): place of each piece when solved."""

DOWN_ROTATIONS: Final = tuple(
    rotation_taking(face, FACES.index("D"), beside, FACES.index("F"))
    for face, beside in (
        (f, next(b for b in range(6) if b not in (f, OPPOSITE[f]))) for f in range(6)
    )
)
"""For each cross face a rotation of the cube that takes it down."""


def turn_map(rotation: int) -> list[int]:
    """To which turn each of the 18 turns corresponds after a rotation of the cube."""
    faces = [int(ROTATIONS[rotation][9 * face + 4]) // 9 for face in range(6)]
    return [3 * faces[turn // 3] + turn % 3 for turn in range(18)]


def _turn_seen() -> Array:
    ring, down = [FACES.index(face) for face in "FRBL"], FACES.index("D")
    return np.array(
        [turn_map(rotation_taking(down, down, side, ring[0])) for side in ring], dtype=np.uint8
    )


TURN_SEEN: Final = _turn_seen()
"""Shape (4, 18): each turn as slot s sees it when it is turned to the front right."""


def cross_number(position: Sequence[int]) -> int:
    """Number of the cross in one position (20 facelets), cross down."""
    number, flips = 0, 0
    before: list[int] = []
    for i, edge in enumerate(CROSS_EDGES):
        place = _EDGE_PLACES[position[edge]]
        number = number * (12 - i) + (place >> 1) - sum(one < place >> 1 for one in before)
        flips = 2 * flips + (place & 1)
        before.append(place >> 1)
    return 16 * number + flips


def cross_places(position: Sequence[int]) -> list[int]:
    """Places of the edges DF, DR, DB, DL in one position (20 facelets), cross down."""
    return [_EDGE_PLACES[position[edge]] for edge in CROSS_EDGES]


def piece_places(position: Sequence[int]) -> list[int]:
    """Places of the eight slot pieces in one position (20 facelets), cross down."""
    corners = [_CORNER_PLACES[position[piece]] for piece in SLOT_PIECES[:4]]
    return corners + [_EDGE_PLACES[position[piece]] for piece in SLOT_PIECES[4:]]
