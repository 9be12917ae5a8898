"""Names of the 20 pieces, and tables from facelets to pieces.

Pieces are numbered 0–7 for the corners and 8–19 for the edges; a piece is named by the
faces it belongs to. Its *reference sticker* is the one in U or D, or else in F or B.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from livecube.cube.geometry import FACES, NEXT_STICKER, Array

__all__ = [
    "CORNERS",
    "EDGES",
    "HOME",
    "PIECES",
    "PIECE_AT",
    "TWIST_AT",
    "face_of",
    "parse_piece",
    "piece_faces",
    "piece_name",
    "sticker_cycle",
]

PIECES: Final = (
    "UFR UFL UBL UBR DFR DFL DBL DBR "  # corners
    "UF UL UB UR DF DL DB DR FR FL BL BR"  # edges
).split()
CORNERS: Final = range(8)
EDGES: Final = range(8, 20)


def face_of(facelet: int) -> int:
    """Number of the face that a facelet lies in."""
    return int(facelet) // 9


def sticker_cycle(facelet: int) -> list[int]:
    """The facelets of one piece, clockwise from ``facelet``."""
    cycle = [facelet]
    while (following := int(NEXT_STICKER[cycle[-1]])) != facelet:
        cycle.append(following)
    return cycle


def _homes() -> Array:
    by_faces = {}
    for facelet in range(54):
        cycle = sticker_cycle(facelet)
        if len(cycle) > 1:
            by_faces[FACES[face_of(facelet)], frozenset(FACES[face_of(f)] for f in cycle)] = facelet
    return np.array([by_faces[name[0], frozenset(name)] for name in PIECES], dtype=np.uint8)


HOME: Final = _homes()
"""Shape (20,): home facelet of each piece's reference sticker; this is the solved position."""


def _piece_tables() -> tuple[Array, Array]:
    piece_at = np.full(54, 255, dtype=np.uint8)
    twist_at = np.zeros(54, dtype=np.uint8)
    for piece, home in enumerate(HOME):
        for twist, facelet in enumerate(sticker_cycle(int(home))):
            piece_at[facelet], twist_at[facelet] = piece, twist
    return piece_at, twist_at


PIECE_AT, TWIST_AT = _piece_tables()
"""Shape (54,) each: whose home a facelet is (255 for a centre), and how many stickers
clockwise of that piece's reference sticker it lies."""


def piece_name(piece: int) -> str:
    """Name of a piece: its faces, the reference sticker's first."""
    return PIECES[piece]


def piece_faces(piece: int) -> frozenset[int]:
    """The two or three faces that a piece belongs to."""
    return frozenset(FACES.index(letter) for letter in PIECES[piece])


def parse_piece(name: str) -> int:
    """Number of the piece with these faces, in any order.

    Raises ``ValueError`` if no piece has them.
    """
    for piece, known in enumerate(PIECES):
        if len(known) == len(name) and set(known) == set(name):
            return piece
    raise ValueError(f"no piece lies in the faces {name!r}; try 'DFR' or 'UF'")
