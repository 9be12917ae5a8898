"""The referee's cube in the hands: moves as people write them, played on all 54 facelets.

No frames are computed: the whole cube is turned to the holding, every layer that a move names is
turned, and at the end the whole cube is turned back by its centres.
"""

from __future__ import annotations

from functools import cache
from typing import Final

from referee_cube import AXES, COLOURS, FACELETS, clockwise, dot

__all__ = ["played_in_hands", "turns_in"]

SLICES: Final = {"M": "L", "E": "D", "S": "F"}
ROTATIONS: Final = {"x": "R", "y": "U", "z": "F"}


def _layers(symbol: str) -> tuple[str, tuple[int, ...]]:
    """The face that a move is named after, and which layers it turns: 1 is at the face."""
    if symbol in SLICES:
        return SLICES[symbol], (0,)
    if symbol in ROTATIONS:
        return ROTATIONS[symbol], (1, 0, -1)
    if symbol.endswith("w"):
        return symbol[0], (1, 0)
    return symbol, (1,)


@cache
def _table(move: str) -> bytes:
    """The effect of a move on every facelet."""
    symbol = move.rstrip("'2")
    quarters = {"": 1, "2": 2, "'": 3, "2'": 2}[move[len(symbol) :]]
    face, layers = _layers(symbol)
    normal = AXES[face]
    table = bytearray(range(256))
    for place, (point, facing) in enumerate(FACELETS):
        if dot(point, normal) in layers:
            for _ in range(quarters):
                point, facing = clockwise(point, normal), clockwise(facing, normal)
            table[place] = FACELETS.index((point, facing))
    return bytes(table)


def _played(state: bytes, moves: str) -> bytes:
    for move in moves.split():
        state = state.translate(_table(move))
    return state


def _centre(face: str) -> int:
    return FACELETS.index((AXES[face], AXES[face]))


@cache
def _rotation(up: int, front: int) -> str:
    """The rotation that brings two facelets up and to the front."""
    wanted = bytes([_centre("U"), _centre("F")])
    for first in ("", "x", "x2", "x'", "z", "z'"):
        for second in ("", "y", "y2", "y'"):
            if _played(bytes([up, front]), f"{first} {second}") == wanted:
                return f"{first} {second}"
    raise ValueError("two faces that are not neighbours")


def played_in_hands(where: bytes, moves: str, up: str, front: str) -> bytes:
    """Where every sticker lies after moves in a holding, the cube turned back afterwards.

    ``where`` says for each of the 54 homes on which facelet that sticker lies, white up and
    green in front; ``up`` and ``front`` are colours.
    """
    faces = {colour: face for face, colour in COLOURS.items()}
    held = _played(where, _rotation(_centre(faces[up]), _centre(faces[front])))
    done = _played(held, moves)
    return _played(done, _rotation(done[_centre("U")], done[_centre("F")]))


def turns_in(moves: str) -> int:
    """Turns in the half-turn metric: a slice counts two, a rotation none."""
    symbols = [move.rstrip("'2") for move in moves.split()]
    return sum(2 if symbol in SLICES else symbol not in ROTATIONS for symbol in symbols)
