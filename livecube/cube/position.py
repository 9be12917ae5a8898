"""A position: where the reference sticker of each of the 20 pieces is.

A position is a ``uint8`` array of shape (20,), a batch has shape (…, 20); every function
here takes either. The numbers are facelets (see :mod:`livecube.cube.geometry`), so a turn
is one table look-up, for one position or a million.
"""

from __future__ import annotations

from functools import cache, lru_cache
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np
import numpy.typing as npt

from livecube.cube.geometry import (
    CORNERS,
    EDGES,
    FACELET_NORMAL,
    FACES,
    HOME,
    NEXT_STICKER,
    OPPOSITE,
    PIECE_AT,
    ROTATION_MATRICES,
    ROTATIONS,
    TURNS,
    TWIST_AT,
)
from livecube.cube.geometry import Array as Array

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

__all__ = [
    "SOLVED",
    "SOLVED_BYTES",
    "TURN_BYTES",
    "TURN_NAMES",
    "Merged",
    "apply_turn",
    "apply_turns",
    "blocks_outside",
    "compose",
    "from_stickers",
    "htm",
    "in_one_order",
    "inverse",
    "inverse_turn",
    "inverse_turns",
    "is_solved",
    "make_turn",
    "merge",
    "parse_turn",
    "qtm",
    "rotated",
    "rotation_tables",
    "rotation_taking",
    "stickers",
    "summed_quarters",
    "turn_face",
    "turn_name",
    "turn_quarters",
    "turns_text",
    "twisted_corners",
    "what_was_done",
]

SOLVED: Final = HOME.copy()
SOLVED.setflags(write=False)
SOLVED_BYTES: Final = bytes(SOLVED.tolist())

_NEXT: Final = np.array([np.arange(54, dtype=np.uint8), NEXT_STICKER, NEXT_STICKER[NEXT_STICKER]])
_CENTRES: Final = np.flatnonzero(PIECE_AT == 255)
_PIECE: Final = np.where(PIECE_AT == 255, 0, PIECE_AT)
_STICKERS_AT_HOME: Final = np.argsort(ROTATIONS, axis=1)[:, HOME]
"""Shape (24, 20): the facelets that each rotation takes to the homes of the pieces."""
_SOURCES: Final = PIECE_AT[_STICKERS_AT_HOME]
_TWISTS: Final = TWIST_AT[_STICKERS_AT_HOME]
_TURNED_STICKERS: Final = np.array([rotation[_NEXT] for rotation in ROTATIONS])
"""Shape (24, 3, 54): [rotation][n][facelet of a reference sticker] → the facelet, after the
rotation, of the sticker n steps clockwise of it."""

TURN_BYTES: Final = tuple(bytes(row) + bytes(range(54, 256)) for row in TURNS.tolist())
"""The turns as tables for ``bytes.translate``, the quickest way to turn a single position that
is kept as ``bytes`` (the same 20 numbers)."""


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
    """The places of all 54 stickers, shape (…, 54): entry f for the sticker whose home is f."""
    places: Array = _NEXT[TWIST_AT, position[..., _PIECE]]
    places[..., _CENTRES] = _CENTRES
    return places


def from_stickers(places: Array) -> Array:
    """The position(s) whose :func:`stickers` are ``places``, shape (…, 54)."""
    return places[..., HOME]


def compose(first: Array, then: Array) -> Array:
    """The position after the changes that made ``first``, followed by those that made ``then``.

    Each argument may be a single position or a batch.
    """
    places = stickers(then)
    batch = np.broadcast_shapes(first.shape[:-1], places.shape[:-1])
    pieces = np.broadcast_to(first, (*batch, 20)).astype(np.intp)
    return np.take_along_axis(np.broadcast_to(places, (*batch, 54)), pieces, axis=-1)


def inverse(position: Array) -> Array:
    """The position(s) that undo the given ones: composed with them, either way, they are solved."""
    return from_stickers(np.argsort(stickers(position), axis=-1).astype(np.uint8))


def what_was_done(before: bytes, after: bytes) -> bytes:
    """The change from one position to another, done to the solved cube; all as ``bytes``."""
    first, then = (np.frombuffer(one, dtype=np.uint8) for one in (before, after))
    return bytes(compose(inverse(first), then).tolist())


def twisted_corners(one: bytes, other: bytes) -> tuple[int, ...]:
    """The corners whose twist is the only difference of two positions; empty if more differs."""
    if any(PIECE_AT[a] != PIECE_AT[b] for a, b in zip(one, other, strict=True)):
        return ()
    if any(one[edge] != other[edge] for edge in EDGES):
        return ()
    return tuple(corner for corner in CORNERS if one[corner] != other[corner])


def is_solved(position: Array) -> npt.NDArray[np.bool_]:
    """Whether each position is the solved one (centres in the fixed frame), shape (…)."""
    return np.asarray(np.all(position == HOME, axis=-1))


def rotated(position: Array, rotation: int) -> Array:
    """The same pattern seen after a rotation of the whole cube, with the colours renamed.

    If ``p`` is reached from solved by turns of faces f1, f2, …, then ``rotated(p, r)`` is
    reached by turns of the faces to which rotation ``r`` takes f1, f2, ….
    """
    source, places = rotation_tables(rotation)
    result: Array = places[np.arange(20), position[..., source]]
    return result


@cache
def rotation_tables(rotation: int) -> tuple[Array, Array]:
    """The tables that :func:`rotated` looks up: shapes (20,) and (20, 54), uint8.

    The rotation takes a sticker of one piece to the home of piece p. The first table gives that
    piece for each p; the second gives the facelet of piece p for each place of that piece.
    """
    return _SOURCES[rotation], _TURNED_STICKERS[rotation][_TWISTS[rotation]]


def blocks_outside(corner: int, edge: int) -> frozenset[tuple[int, int]]:
    """The places that a solved corner and edge that touch can reach as one block.

    Takes their home facelets, gives pairs of facelets: all except those with the edge in its
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


# Fixed-frame face turns: names, merging, counting.
#
# A turn is an integer ``3 * face + quarters - 1`` (see :mod:`livecube.cube.geometry`).


TURN_NAMES: Final = tuple(face + suffix for face in FACES for suffix in ("", "2", "'"))
_BY_NAME: Final = {name: turn for turn, name in enumerate(TURN_NAMES)}


def turn_name(turn: int) -> str:
    """Name of a turn: ``R``, ``R2``, ``R'``."""
    return TURN_NAMES[turn]


def parse_turn(name: str) -> int:
    """Number of the turn with this name.

    Raises ``ValueError`` if no turn has it.
    """
    try:
        return _BY_NAME[name]
    except KeyError:
        raise ValueError(
            f"{name!r} is not a turn; one of the faces U L F R B D, then nothing, 2 or '"
        ) from None


def turn_face(turn: int) -> int:
    """The face that a turn turns."""
    return turn // 3


def turn_quarters(turn: int) -> int:
    """Clockwise quarter turns: 1, 2 or 3."""
    return turn % 3 + 1


def summed_quarters(turns: Sequence[int]) -> list[tuple[int, int]]:
    """Turns as faces and clockwise quarters; neighbours of one face are summed.

    A cube may report a half turn as two quarter turns, so these tell the same turns alike.
    """
    summed: list[tuple[int, int]] = []
    for turn in turns:
        face, count = turn_face(turn), turn_quarters(turn)
        if summed and summed[-1][0] == face:
            summed[-1] = face, (summed[-1][1] + count) % 4
        else:
            summed.append((face, count))
    return summed


def make_turn(face: int, quarters: int) -> int:
    """The turn of ``face`` by ``quarters`` clockwise, which must not be a multiple of 4."""
    if quarters % 4 == 0:
        raise ValueError("a multiple of four quarters is not a turn")
    return 3 * face + quarters % 4 - 1


def inverse_turn(turn: int) -> int:
    """The turn that undoes this one."""
    return turn + 2 - 2 * (turn % 3)


def inverse_turns(turns: Sequence[int]) -> list[int]:
    """The turns that undo a sequence."""
    return [inverse_turn(turn) for turn in reversed(turns)]


class Merged(NamedTuple):
    """A turn as the half-turn metric counts it."""

    turn: int
    first: int
    """Index of the first merged turn of this face."""
    last: int
    """Index of the last merged turn of this face."""


def merge(turns: Iterable[int]) -> list[Merged]:
    """The turns as the half-turn metric counts them.

    Turns of one face that are separated at most by turns of the opposite face merge to
    their sum modulo four; a sum of 0 vanishes but still separates its neighbours. Opposite
    faces of one group are listed in the order U L F before R B D.
    """
    merged: list[Merged] = []
    group: dict[int, tuple[int, int, int]] = {}  # face: quarters, first, last
    for index, turn in enumerate(turns):
        face = turn // 3
        if group and face not in group and OPPOSITE[face] not in group:
            merged += _merged(group)
            group = {}
        quarters, first, _ = group.get(face, (0, index, index))
        group[face] = (quarters + turn % 3 + 1, first, index)
    return merged + _merged(group)


def in_one_order(turns: Iterable[int]) -> tuple[int, ...]:
    """The merged turns, which are equal where only opposite turns stand in another order."""
    return _in_one_order(tuple(turns))


@lru_cache(maxsize=16384)  # of one position the same sequences are asked for again and again
def _in_one_order(turns: tuple[int, ...]) -> tuple[int, ...]:
    return tuple(merged.turn for merged in merge(turns))


def _merged(group: dict[int, tuple[int, int, int]]) -> list[Merged]:
    """The merged turns of one face, or of two opposite ones."""
    return [
        Merged(3 * face + quarters % 4 - 1, first, last)
        for face, (quarters, first, last) in sorted(group.items())
        if quarters % 4
    ]


def htm(turns: Iterable[int]) -> int:
    """Number of turns in the half-turn metric, merged as :func:`merge` says."""
    # The same as len(merge(turns)), but faster: every split asks for it.
    count = 0
    quarters = [0] * 7
    one, other = 6, 6  # the faces of the present group; 6 is none
    for turn in turns:
        face = turn // 3
        if face not in (one, other):
            count += (quarters[one] % 4 > 0) + (quarters[other] % 4 > 0)
            one, other = face, OPPOSITE[face]
            quarters[one] = quarters[other] = 0
        quarters[face] += turn % 3 + 1
    return count + (quarters[one] % 4 > 0) + (quarters[other] % 4 > 0)


def qtm(turns: Iterable[int]) -> int:
    """Number of quarter turns after merging: a half turn counts two."""
    return sum(2 if turn_quarters(m.turn) == 2 else 1 for m in merge(turns))


def turns_text(turns: Iterable[int]) -> str:
    """The turns as written, separated by blanks."""
    return " ".join(TURN_NAMES[turn] for turn in turns)
