"""The cube as 54 facelets in space, and what every turn does to them.

Nothing here is typed in by hand: facelets get their place from the unfolded order, a turn
is a rotation of space applied to one layer, and everything else (pieces, slices, holdings)
is derived from that.

**Facelets** are numbered ``9 * face + 3 * row + column`` with the faces in the order
U L F R B D, each row by row as seen from outside with U above (for U: B above; for D: F).

**Turns** are numbered ``3 * face + quarters - 1``: U, U2, U', L, L2, L', …, D'.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

__all__ = [
    "FACELET_NORMAL",
    "FACELET_POINT",
    "FACES",
    "NEXT_STICKER",
    "OPPOSITE",
    "ROTATIONS",
    "ROTATION_MATRICES",
    "TURNS",
    "Array",
]

Array = npt.NDArray[np.uint8]

FACES: Final = "ULFRBD"
"""The six faces, in the order in which everything is numbered."""

OPPOSITE: Final = (5, 3, 4, 1, 2, 0)
"""``OPPOSITE[face]`` is the face on the other side."""

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
