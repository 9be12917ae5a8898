"""A position: where the reference sticker of each of the 20 pieces is.

A position is a ``uint8`` array of shape (20,), a batch has shape (…, 20); every function
here takes either. The numbers are facelets (see :mod:`livecube.cube.geometry`), so a turn
is one table look-up, for one position or a million.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt

from livecube.cube.geometry import FACELET_NORMAL, NEXT_STICKER, ROTATION_MATRICES, ROTATIONS, TURNS
from livecube.cube.geometry import Array as Array
from livecube.cube.pieces import CORNERS, EDGES, HOME, PIECE_AT, TWIST_AT

if TYPE_CHECKING:
    from collections.abc import Iterable

__all__ = [
    "SOLVED",
    "SOLVED_BYTES",
    "TURN_BYTES",
    "apply_turn",
    "apply_turns",
    "blocks_outside",
    "compose",
    "from_stickers",
    "inverse",
    "is_solved",
    "rotated",
    "rotation_tables",
    "rotation_taking",
    "stickers",
    "twisted_corners",
    "what_was_done",
]

SOLVED: Final = HOME.copy()
SOLVED.setflags(write=False)
SOLVED_BYTES: Final = bytes(SOLVED.tolist())

_NEXT: Final = np.array([np.arange(54, dtype=np.uint8), NEXT_STICKER, NEXT_STICKER[NEXT_STICKER]])
_STICKERS_AT_HOME: Final = np.argsort(ROTATIONS, axis=1)[:, HOME]
"""Shape (24, 20): the facelets that each rotation takes to the homes of the pieces."""
_SOURCES: Final = PIECE_AT[_STICKERS_AT_HOME]
_TWISTS: Final = TWIST_AT[_STICKERS_AT_HOME]
_TURNED_STICKERS: Final = np.array([rotation[_NEXT] for rotation in ROTATIONS])
"""Shape (24, 3, 54): from a reference sticker's facelet to where, after the rotation, the
sticker is that lies so many clockwise of it."""

TURN_BYTES: Final = tuple(bytes(row) + bytes(range(54, 256)) for row in TURNS.tolist())
"""The turns as tables for ``bytes.translate``: the quickest way to turn a single position
kept as ``bytes`` (the same 20 numbers)."""


def apply_turn(position: Array, turn: int) -> Array:
    """The position(s) after one fixed-frame face turn (0 to 17)."""
    result: Array = TURNS[turn][position]
    return result


def apply_turns(position: Array, turns: Iterable[int]) -> Array:
    """The position(s) after several fixed-frame face turns, one after the other."""
    for turn in turns:
        position = TURNS[turn][position]
    return position


def stickers(position: Array) -> Array:
    """Where all 54 stickers are, shape (…, 54): entry f is the place of the one whose home is f."""
    centres = PIECE_AT == 255
    piece = np.where(centres, 0, PIECE_AT)
    places = _NEXT[TWIST_AT, position[..., piece]]
    return np.where(centres, np.arange(54, dtype=np.uint8), places)


def from_stickers(places: Array) -> Array:
    """The position(s) whose :func:`stickers` are ``places``, shape (…, 54)."""
    return places[..., HOME]


def compose(first: Array, then: Array) -> Array:
    """What happens when the changes that made ``first`` are followed by those of ``then``.

    A single position and a batch go together, in either place.
    """
    places = stickers(then)
    batch = np.broadcast_shapes(first.shape[:-1], places.shape[:-1])
    pieces = np.broadcast_to(first, (*batch, 20)).astype(np.intp)
    return np.take_along_axis(np.broadcast_to(places, (*batch, 54)), pieces, axis=-1)


def inverse(position: Array) -> Array:
    """What undoes the given position(s): composed with it, either way round, is solved."""
    return from_stickers(np.argsort(stickers(position), axis=-1).astype(np.uint8))


def what_was_done(before: bytes, after: bytes) -> bytes:
    """What leads from one position to another, done to the solved cube; all as ``bytes``."""
    first, then = (np.frombuffer(one, dtype=np.uint8) for one in (before, after))
    return bytes(compose(inverse(first), then).tolist())


def twisted_corners(one: bytes, other: bytes) -> tuple[int, ...]:
    """The corners by whose twist alone two positions differ; none if they differ otherwise."""
    if one == other or any(PIECE_AT[a] != PIECE_AT[b] for a, b in zip(one, other, strict=True)):
        return ()
    if any(one[edge] != other[edge] for edge in EDGES):
        return ()
    return tuple(corner for corner in CORNERS if one[corner] != other[corner])


def is_solved(position: Array) -> npt.NDArray[np.bool_]:
    """Whether each position is the solved one (centres in the fixed frame), shape (…)."""
    return np.asarray(np.all(position == HOME, axis=-1))


def rotated(position: Array, rotation: int) -> Array:
    """The same pattern as seen after rotating the whole cube in space and renaming the colours.

    If ``p`` is reached from solved by turns of faces f1, f2, …, then ``rotated(p, r)`` is
    reached by turns of the faces to which rotation ``r`` takes f1, f2, ….
    """
    source, places = rotation_tables(rotation)
    result: Array = places[np.arange(20), position[..., source]]
    return result


@cache
def rotation_tables(rotation: int) -> tuple[Array, Array]:
    """What :func:`rotated` looks up: shapes (20,) and (20, 54), uint8.

    Piece p of the result is at home a sticker of some piece of the given position. Which one
    (first table), and where its own facelet goes from each place of that piece (second table),
    depends on the rotation alone.
    """
    return _SOURCES[rotation], _TURNED_STICKERS[rotation][_TWISTS[rotation]]


def blocks_outside(corner: int, edge: int) -> frozenset[tuple[int, int]]:
    """Where a solved corner and edge that touch get when they are moved as one block.

    Takes their home facelets, gives pairs of facelets: all but those with the edge in its
    own cubicle. At these places the two touch elsewhere with both shared colours matching.
    """
    places = {(int(rotation[corner]), int(rotation[edge])) for rotation in ROTATIONS}
    return frozenset((c, e) for c, e in places if e not in (edge, int(NEXT_STICKER[edge])))


@cache
def rotation_taking(face: int, to: int, other: int, other_to: int) -> int:
    """Number of the rotation that takes ``face`` to face ``to`` and ``other`` to ``other_to``.

    Raises ``ValueError`` if there is none (opposite faces sent to neighbours, say).
    """
    normals = FACELET_NORMAL[::9]
    for index, matrix in enumerate(ROTATION_MATRICES):
        if (matrix @ normals[face] == normals[to]).all() and (
            matrix @ normals[other] == normals[other_to]
        ).all():
            return index
    raise ValueError(f"no rotation takes faces {face} and {other} to {to} and {other_to}")
