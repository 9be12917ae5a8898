"""Moves of the hands as numbers, and what each does in each of the 24 holdings, as arrays.

A *hand move* is 0 to 44: a face turn of the face where it is in the hands (``3 * face +
quarters - 1``, as in :mod:`livecube.cube.turns`), a wide turn (18 more), or a slice (36 +
``3 * M, E or S`` + quarters - 1). A *rotation* is the number of the holding that it leads to
from holding 0. Rotations are made between the moves; 0 is none.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from livecube.cube.geometry import FACES
from livecube.cube.holding import HOLDINGS, SLICE_SYMBOLS, Move, fixed_turns, rotation_between

if TYPE_CHECKING:
    from livecube.holding.arrays import Array

__all__ = [
    "FACE_MOVES",
    "HAND_MOVES",
    "HELD_AFTER",
    "INVERSE",
    "MIRRORED",
    "MIRRORED_ROTATIONS",
    "ROTATED",
    "ROTATIONS_WRITTEN",
    "SEEN_AS_FACE",
    "SEEN_AS_SLICE",
    "SEEN_AS_WIDE",
    "hand_move",
    "rotation_number",
]

FACE_MOVES: Final = 18
"""As many face turns as there are, and wide turns likewise."""

HAND_MOVES: Final = (
    *(Move(face, quarters) for face in FACES for quarters in (1, 2, 3)),
    *(Move(face + "w", quarters) for face in FACES for quarters in (1, 2, 3)),
    *(Move(symbol, quarters) for symbol in SLICE_SYMBOLS for quarters in (1, 2, 3)),
)
"""All 45, by number."""

_NUMBER: Final = {move: number for number, move in enumerate(HAND_MOVES)}
_HOLDING: Final = {holding: number for number, holding in enumerate(HOLDINGS)}


def hand_move(move: Move) -> int:
    """The number of a move that is no rotation."""
    return _NUMBER[move]


INVERSE: Final = np.array([_NUMBER[move.inverted()] for move in HAND_MOVES])
"""Shape (45,): the move that undoes each."""

_SIDES: Final = {"R": "L", "L": "R", "Rw": "Lw", "Lw": "Rw"}


def _mirror(move: Move) -> Move:
    """What the other hand does: left and right exchanged."""
    # M and x turn about the line from left to right, and keep their direction in the mirror.
    if move.symbol in "Mx":
        return move
    return Move(_SIDES.get(move.symbol, move.symbol), 4 - move.quarters)


MIRRORED: Final = np.array([_NUMBER[_mirror(move)] for move in HAND_MOVES])
"""Shape (45,): each move with left and right exchanged."""

ROTATIONS_WRITTEN: Final = tuple(rotation_between(HOLDINGS[0], holding) for holding in HOLDINGS)
"""Each rotation as the fewest moves: none, one or two."""


def _rotated() -> Array:
    table = np.empty((24, 24), dtype=np.int8)
    for before, held in enumerate(HOLDINGS):
        for rotation, moves in enumerate(ROTATIONS_WRITTEN):
            table[before, rotation] = _HOLDING[fixed_turns(moves, held)[1]]
    return table


ROTATED: Final = _rotated()
"""Shape (24, 24), int8: the holding after a rotation, by holding and rotation."""


MIRRORED_ROTATIONS: Final = np.array(
    [_HOLDING[fixed_turns(map(_mirror, moves))[1]] for moves in ROTATIONS_WRITTEN]
)
"""Shape (24,): each rotation with left and right exchanged."""


def rotation_number(before: int, after: int) -> int:
    """The rotation that leads from one holding to another."""
    return int(np.flatnonzero(ROTATED[before] == after)[0])


def _held_after() -> Array:
    rows = [[_HOLDING[held.after(move)] for move in HAND_MOVES] for held in HOLDINGS]
    return np.array(rows, dtype=np.int8)


HELD_AFTER: Final = _held_after()
"""Shape (24, 45), int8: the holding after a move, by holding and hand move."""


def _seen_as(first: int, last: int) -> Array:
    table = np.full((24, 18), -1, dtype=np.int8)
    for before, held in enumerate(HOLDINGS):
        for move in range(first, last):
            table[before, fixed_turns([HAND_MOVES[move]], held)[0][0]] = move
    return table


SEEN_AS_FACE: Final = _seen_as(0, FACE_MOVES)
"""Shape (24, 18), int8: the face turn that a fixed-frame turn is, by the holding before it."""

SEEN_AS_WIDE: Final = _seen_as(FACE_MOVES, 2 * FACE_MOVES)
"""Shape (24, 18), int8: the wide turn that a fixed-frame turn may be, by the holding before it."""


def _seen_as_slice() -> Array:
    table = np.full((24, 18, 18), -1, dtype=np.int8)
    for before, held in enumerate(HOLDINGS):
        for move in range(2 * FACE_MOVES, len(HAND_MOVES)):
            one, two = fixed_turns([HAND_MOVES[move]], held)[0]
            table[before, one, two] = table[before, two, one] = move
    return table


SEEN_AS_SLICE: Final = _seen_as_slice()
"""Shape (24, 18, 18), int8: the slice that two turns together may be; −1 where none can."""
