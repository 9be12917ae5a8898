"""The cube as 54 facelets in space, and the effect of every turn on them.

No table is typed in by hand: facelets get their place from the unfolded order, a turn is a
rotation of space applied to one layer, and everything else (pieces, slices, holdings) is
derived from these.

**Facelets** are numbered ``9 * face + 3 * row + column`` with the faces in the order
U L F R B D, each row by row as seen from outside with U above (for U: B above; for D: F).

**Turns** are numbered ``3 * face + quarters - 1``: U, U2, U', L, L2, L', …, D'.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

__all__ = [
    "CORNERS",
    "EDGES",
    "FACELET_NORMAL",
    "FACELET_POINT",
    "FACES",
    "HOME",
    "NEXT_STICKER",
    "OPPOSITE",
    "PIECES",
    "PIECE_AT",
    "ROTATIONS",
    "ROTATION_MATRICES",
    "TURNS",
    "TWIST_AT",
    "Array",
    "face_of",
    "in_order",
    "parse_piece",
    "piece_faces",
    "piece_name",
    "sticker_cycle",
]

Array = npt.NDArray[np.uint8]

FACES: Final = "ULFRBD"
"""The six faces, in the order in which everything is numbered."""

OPPOSITE: Final = (5, 3, 4, 1, 2, 0)
"""``OPPOSITE[face]`` is the face on the other side."""


def in_order(face: int, following: int) -> bool:
    """Whether a turn of one face may follow one of another, opposite ones in one order only."""
    return following != face and (following > face or OPPOSITE[following] != face)


# Axes: x points to R, y to U, z to F.
_NORMAL: Final = np.array(
    [(0, 1, 0), (-1, 0, 0), (0, 0, 1), (1, 0, 0), (0, 0, -1), (0, -1, 0)], dtype=np.int64
)
_ABOVE: Final = np.array(
    [(0, 0, -1), (0, 1, 0), (0, 1, 0), (0, 1, 0), (0, 1, 0), (0, 0, 1)], dtype=np.int64
)

FACELET_NORMAL: Final = np.repeat(_NORMAL, 9, axis=0)
"""Shape (54, 3): the direction a facelet faces."""

FACELET_POINT: Final = np.array(
    [
        _NORMAL[face] + (1 - row) * _ABOVE[face] + (col - 1) * np.cross(_ABOVE[face], _NORMAL[face])
        for face in range(6)
        for row in range(3)
        for col in range(3)
    ],
    dtype=np.int64,
)
"""Shape (54, 3): the small cube (coordinates −1, 0, 1) that a facelet belongs to."""


def _keys(points: npt.NDArray[np.int64], normals: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    """One number for each place (small cube and direction)."""
    weights = np.array([1, 3, 9])
    return np.asarray((points + 1) @ weights + 27 * ((normals + 1) @ weights))


_FACELET_AT: Final = np.zeros(729, dtype=np.uint8)
_FACELET_AT[_keys(FACELET_POINT, FACELET_NORMAL)] = np.arange(54)


def _quarter(axis: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    """Matrix of a clockwise quarter turn as seen from outside along ``axis`` (a unit vector)."""
    x, y, z = (int(v) for v in axis)
    cross = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]], dtype=np.int64)
    return np.asarray(np.outer(axis, axis) - cross, dtype=np.int64)


def _moved(matrix: npt.NDArray[np.int64], layer: npt.NDArray[np.bool_]) -> Array:
    """Where each facelet goes when ``matrix`` acts on the facelets in ``layer``."""
    places = _FACELET_AT[_keys(FACELET_POINT @ matrix.T, FACELET_NORMAL @ matrix.T)]
    return np.where(layer, places, np.arange(54, dtype=np.uint8))


def _turns() -> Array:
    rows = []
    for face in range(6):
        once = _moved(_quarter(_NORMAL[face]), FACELET_POINT @ _NORMAL[face] == 1)
        rows += [once, once[once], once[once[once]]]
    return np.array(rows)


def _rotation_matrices() -> npt.NDArray[np.int64]:
    """All 24 rotations, each reached from the identity by quarter turns about U and F axes."""
    found = [np.eye(3, dtype=np.int64)]
    for matrix in found:
        for face in (0, 2):
            product = _quarter(_NORMAL[face]) @ matrix
            if not any((product == other).all() for other in found):
                found.append(product)
    return np.array(found)


TURNS: Final = _turns()
"""Shape (18, 54): ``TURNS[turn][facelet]`` is where that facelet goes."""

ROTATION_MATRICES: Final = _rotation_matrices()
"""Shape (24, 3, 3); number 0 is the identity."""

ROTATIONS: Final = np.array([_moved(m, np.ones(54, dtype=bool)) for m in ROTATION_MATRICES])
"""Shape (24, 54): where each facelet goes when the whole cube is turned in space."""


def _next_sticker() -> Array:
    """For each facelet the next one clockwise on the same piece (centres: itself)."""
    result = np.arange(54, dtype=np.uint8)
    points, normals = FACELET_POINT.tolist(), FACELET_NORMAL.tolist()
    pieces: dict[tuple[int, ...], list[int]] = {}
    for facelet, point in enumerate(points):
        pieces.setdefault(tuple(point), []).append(facelet)
    for point, same in pieces.items():
        for i in same:
            for j in same:
                # Clockwise as seen from outside: n(i), n(j), point form a left-handed turn.
                (a, b, c), (d, e, f), (x, y, z) = normals[i], normals[j], point
                spin = (b * f - c * e) * x + (c * d - a * f) * y + (a * e - b * d) * z
                if (len(same) == 2 and j != i) or (len(same) == 3 and spin < 0):
                    result[i] = j
    return result


NEXT_STICKER: Final = _next_sticker()
"""Shape (54,): the next facelet clockwise on the same corner; the other one of an edge."""


# Names of the 20 pieces, and tables from facelets to pieces.
#
# Pieces are numbered 0–7 for the corners and 8–19 for the edges; a piece is named by the
# faces it belongs to. Its *reference sticker* is the one in U or D, or else in F or B.


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
"""Shape (20,): home facelet of each piece's reference sticker, the solved position."""


def _piece_tables() -> tuple[Array, Array]:
    piece_at = np.full(54, 255, dtype=np.uint8)
    twist_at = np.zeros(54, dtype=np.uint8)
    for piece, home in enumerate(HOME):
        for twist, facelet in enumerate(sticker_cycle(int(home))):
            piece_at[facelet], twist_at[facelet] = piece, twist
    return piece_at, twist_at


PIECE_AT, TWIST_AT = _piece_tables()
"""Shape (54,) each: the piece whose home includes the facelet (255 for a centre), and how many
stickers clockwise of that piece's reference sticker the facelet lies."""


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
