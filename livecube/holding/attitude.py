"""What a gyroscope says of rotations: by how much the core of the cube has turned in space.

Only the change since the turn before is looked at, so that a sensor that drifts does no harm; and
it is not trusted blindly: hands tilt the cube while they turn it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, TypeAlias

import numpy as np

from livecube.cube.geometry import FACES
from livecube.cube.holding import HOLDINGS, Holding

if TYPE_CHECKING:
    from livecube.holding.arrays import Array

__all__ = ["BETWEEN", "Quaternion", "turned_between"]

Quaternion: TypeAlias = tuple[float, float, float, float]
"""w, x, y, z; see :class:`livecube.events.AttitudeReport`."""

_SWAY: Final = np.radians(25)
"""How far hands tilt the cube between two turns, standard deviation: a guess."""
_ASTRAY: Final = 0.01
"""How likely what a sensor says has nothing to do with the cube."""

_OUT_OF: Final = {"R": (0, 1), "L": (0, -1), "U": (1, 1), "D": (1, -1), "F": (2, 1), "B": (2, -1)}
"""Axis and direction out of each face."""


def _matrix(holding: Holding) -> Array:
    """Shape (3, 3): from the cube's axes to those of the hands."""
    matrix = np.zeros((3, 3))
    for place, face in enumerate(holding.faces):
        to, sign = _OUT_OF[FACES[place]]
        of, its = _OUT_OF[FACES[face]]
        matrix[to, of] = sign * its
    return matrix


_MATRICES: Final = np.array([_matrix(holding) for holding in HOLDINGS])


def _between() -> Array:
    """For two holdings by which of the 24 rotations the core turns, in its own axes."""
    turned = np.einsum("aji,bjk->abik", _MATRICES, _MATRICES)
    same = np.isclose(turned[:, :, None], _MATRICES[None, None]).all(axis=(3, 4))
    found: Array = same.argmax(axis=2).astype(np.int8)
    return found


BETWEEN: Final = _between()
"""Shape (24, 24), int8: the rotation of the core between two holdings; 0 is none."""


def turned_between(before: Quaternion | None, after: Quaternion | None) -> Array:
    """Shape (24,): how likely a gyroscope says what it said, for each rotation of the core.

    Ones if it said nothing.
    """
    if before is None or after is None or not any(before) or not any(after):
        return np.ones(24)
    turned = _rotation(before).T @ _rotation(after)
    # The trace of a rotation matrix is 1 + 2 cos(angle).
    cosines = (np.einsum("aij,ij->a", _MATRICES, turned) - 1) / 2
    angles = np.arccos(np.clip(cosines, -1, 1))
    likely: Array = np.exp(-0.5 * (angles / _SWAY) ** 2) + _ASTRAY
    return likely


def _rotation(quaternion: Quaternion) -> Array:
    """Shape (3, 3): a quaternion of any length as a rotation matrix."""
    w, x, y, z = np.array(quaternion) / np.linalg.norm(quaternion)
    return np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - w * z), 2 * (x * z + w * y)],
            [2 * (x * y + w * z), 1 - 2 * (x * x + z * z), 2 * (y * z - w * x)],
            [2 * (x * z - w * y), 2 * (y * z + w * x), 1 - 2 * (x * x + y * y)],
        ]
    )
