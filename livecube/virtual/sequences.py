"""Known sequences of the last layer, each verified by the cube before it is used.

Common practice, no published source. Every sequence is written with the cross down. Its effect is
computed, never looked up, and one that disturbs the first two layers is an error.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Final

from livecube.cube.holding import Move, fixed_turns
from livecube.cube.notation import moves_text, parse_moves
from livecube.cube.position import SOLVED, TURN_BYTES

__all__ = ["ORIENT", "PERMUTE", "Sequence", "mirrored", "read_sequence", "turned_back"]

ORIENT: Final = """
R U2 R2 F R F' U2 R' F R F'
F R U R' U' F' f R U R' U' f'
f R U R' U' f' U' F R U R' U' F'
f R U R' U' f' U F R U R' U' F'
r' U2 R U R' U r
r U2 R' U' R U' r'
r U R' U R U2 r'
r' U' R U' R' U2 r
R U R' U' R' F R2 U R' U' F'
R U R' U R' F R F' R U2 R'
r U R' U R' F R F' R U2 r'
M' R' U' R U' R' U2 R U' R r'
F U R U' R2 F' R U R U' R'
R' F R U R' F' R F U' F'
r' U' r R' U' R U r' U r
r U r' R U R' U' r U' r'
R U R' U R' F R F' U2 R' F R F'
r U R' U R U2 r2 U' R U' R' U2 r
M U R U R' U' M' R' F R F'
M U R U R' U' M2 U R U' r'
R U2 R' U' R U R' U' R U' R'
R U2 R2 U' R2 U' R2 U2 R
R2 D' R U2 R' D R U2 R
r U R' U' r' F R F'
F' r U R' U' r' F R
R U2 R' U' R U' R'
R U R' U R U2 R'
r U R' U' M U R U' R'
R U R' U' R U' R' F' U' F R U R'
F R' F R2 U' R' U' R U R' F2
R' U' F U R U' R' F' R
S R U R' U' R' F R f'
R U R' U' R' F R F'
R U R2 U' R' F R U R U' F'
R U2 R2 F R F' R U2 R'
L' U' L U' L' U L U L F' L' F
F R' F' R U R U' R'
R U R' U R U' R' U' R' F R F'
L F' L' U' L U F U' L'
R' F R U R' U' F' U R
R U R' U R U2 R' F R U R' U' F'
R' U' R U' R' U2 R F R U R' U' F'
f' L' U' L U f
f R U R' U' f'
F U R U' R' F'
F R U R' U' F'
R' U' R' F R F' U R
F' L' U' L U L' U' L U F
F R U R' U' R U R' U' F'
r U' r2 U r2 U r2 U' r
r' U r2 U' r2 U' r2 U r'
f R U R' U' R U R' U' f'
R U R' U R U' B U' B' R'
r' U' R U' R' U R U' R' U2 r
r U R' U R U' R' U R U2 r'
R U2 R2 U' R U' R' U2 F R F'
r' U' r U' R' U R U' R' U R r' U r
R U R' U' M' U R U' r'
"""
"""Orientation of the whole last layer, one a line."""

PERMUTE: Final = """
x R' U R' D2 R U' R' D2 R2 x'
x R2 D2 R U R' D2 R U' R x'
x' R U' R' D R U R' D' R U R' D R U' R' D' x
R' U' F' R U R' U' R' F R2 U' R' U' R U R' U R
R2 U R' U R' U' R U' R2 U' D R' U R D'
R' U' R U D' R2 U R' U R U' R U' R2 D
R2 U' R U' R U R' U R2 U D' R U' R' D
R U R' U' D R2 U' R U' R' U R' U R2 D'
M2 U M2 U2 M2 U M2
R' U L' U2 R U' R' U2 R L
x R2 F R F' R U2 r' U r U2 x'
R U R' F' R U R' U' R' F R2 U' R'
R U R' U R U R' F' R U R' U' R' F R2 U' R' U2 R U' R'
R' U R U' R' F' U' F R U R' F R' F' R U' R
R U' R' U' R U R D R' U' R D' R' U2 R'
R2 F R U R U' R' F' R U2 R' U2 R
R U R' U' R' F R2 U' R' U' R U R' F'
M2 U M U2 M' U M2
M2 U' M U2 M' U' M2
R U' R U R U R U' R' U' R2
R2 U R U R' U' R' U' R' U R'
R' U R' U' y R' F' R2 U' R' U R' F R F
F R U' R' U' R U R' F' R U R' U' R' F R F'
M' U M2 U M2 U M' U2 M2
"""
"""Permutation of an oriented last layer, one a line."""


@dataclass(frozen=True, slots=True)
class Sequence:
    """A verified sequence: the hands' moves, and its effect on a cube with the cross down."""

    moves: tuple[Move, ...]
    turns: tuple[int, ...]
    """Face turns in the holding at its start."""


_FIRST_TWO_LAYERS: Final = (*range(4, 8), *range(12, 20))


@cache
def read_sequence(text: str) -> Sequence:
    """Read and verify one sequence.

    Raises ``ValueError`` if it disturbs a piece of the first two layers.
    """
    moves = tuple(parse_moves(text))
    turns = tuple(fixed_turns(moves)[0])
    position = SOLVED.tobytes()
    for turn in turns:
        position = position.translate(TURN_BYTES[turn])
    if any(position[piece] != SOLVED[piece] for piece in _FIRST_TWO_LAYERS):
        raise ValueError(f"{text!r} does not keep the first two layers; mend or remove it")
    return Sequence(moves, turns)


_MIRROR: Final = {"R": "L", "L": "R", "Rw": "Lw", "Lw": "Rw"}


def mirrored(text: str) -> str:
    """The sequence with left and right exchanged, as a left-handed solver knows it."""
    return moves_text(
        # M and x keep their direction in the mirror; all others turn in the opposite one.
        move
        if move.symbol in "Mx"
        else Move(_MIRROR.get(move.symbol, move.symbol), 4 - move.quarters)
        for move in parse_moves(text)
    )


def turned_back(text: str) -> str:
    """The inverse sequence, for solvers who know other sequences than usual."""
    return moves_text(move.inverted() for move in reversed(parse_moves(text)))
