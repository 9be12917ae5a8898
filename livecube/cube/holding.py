"""The 24 ways to hold the cube, and moves as people write them.

A :class:`Holding` gives the colours up and front in the hands. A :class:`Move` is a move as a
person writes it: a face turn, a wide turn, a slice or a rotation, read in a holding. Every
move is some fixed-frame turns and then a change of holding: ``Rw`` turns the face on the
left and rotates the cube by x; ``M`` turns left and right and rotates by x'.

Faces and directions: article 12a of the World Cube Association Regulations (April 1, 2026);
slices (M follows L, E follows D, S follows F) and lower-case wides are common practice, no
published source.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Final

from livecube.cube.geometry import FACES, OPPOSITE, ROTATIONS, TURNS, face_of, piece_faces
from livecube.cube.position import make_turn, rotation_taking, turn_face, turn_quarters

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

__all__ = [
    "COLOURS",
    "HOLDINGS",
    "ROTATION_SYMBOLS",
    "SCRAMBLE_HOLDING",
    "SLICE_SYMBOLS",
    "Holding",
    "Move",
    "cross_down",
    "fixed_turns",
    "hand_moves",
    "parse_colour",
    "piece_colours",
    "rotation_between",
]

COLOURS: Final = ("white", "orange", "green", "red", "blue", "yellow")
"""Colour of each face's centre, in the order U L F R B D of the fixed frame."""

ROTATION_SYMBOLS: Final = "xyz"
SLICE_SYMBOLS: Final = "MES"
_AXIS_FACE: Final = {"x": "R", "y": "U", "z": "F", "M": "L", "E": "D", "S": "F"}


def parse_colour(name: str) -> int:
    """The face with this centre colour in the fixed frame.

    Raises ``ValueError`` if it is not one of the six.
    """
    try:
        return COLOURS.index(name.lower())
    except ValueError:
        raise ValueError(f"{name!r} is not a colour; one of {', '.join(COLOURS)}") from None


@dataclass(frozen=True, slots=True)
class Move:
    """A move as written: ``symbol`` one of U L F R B D, Uw … Dw, M E S, x y z; 1 to 3 quarters."""

    symbol: str
    quarters: int

    def __str__(self) -> str:
        return self.symbol + ("", "2", "'")[self.quarters - 1]

    def inverted(self) -> Move:
        """The move that undoes this one."""
        return Move(self.symbol, 4 - self.quarters)

    @property
    def is_rotation(self) -> bool:
        """Whether this move only changes the holding."""
        return self.symbol in ROTATION_SYMBOLS


@dataclass(frozen=True, slots=True)
class Holding:
    """How the cube is held: for each face in the hands (order U L F R B D) the fixed face there."""

    faces: tuple[int, int, int, int, int, int]

    @property
    def up(self) -> str:
        """Colour that is up."""
        return COLOURS[self.faces[0]]

    @property
    def front(self) -> str:
        """Colour that is in front."""
        return COLOURS[self.faces[2]]

    def __str__(self) -> str:
        return f"{self.up} up, {self.front} front"

    @staticmethod
    def of(up: int, front: int) -> Holding:
        """The holding with these fixed faces up and front.

        Raises ``ValueError`` if they are the same or opposite.
        """
        if front in (up, OPPOSITE[up]):
            raise ValueError(
                f"{COLOURS[up]} up and {COLOURS[front]} front cannot be held; "
                "choose two colours that touch"
            )
        return HOLDINGS[rotation_taking(FACES.index("U"), up, FACES.index("F"), front)]

    def hand_face(self, fixed_face: int) -> int:
        """The face in the hands at which a fixed face is."""
        return self.faces.index(fixed_face)

    def after(self, move: Move) -> Holding:
        """The holding after a move."""
        return _after(self, move)


def _holding(rotation: int) -> Holding:
    a, b, c, d, e, f = (face_of(ROTATIONS[rotation][9 * face + 4]) for face in range(6))
    return Holding((a, b, c, d, e, f))


HOLDINGS: Final = tuple(_holding(rotation) for rotation in range(24))
"""All 24; number r is held after turning the hands' frame by rotation r."""


def piece_colours(piece: int) -> str:
    """A piece named by its colours in alphabetical order: *blue-red-white*."""
    return "-".join(sorted(COLOURS[face] for face in piece_faces(piece)))


SCRAMBLE_HOLDING: Final = HOLDINGS[0]
"""White up, green front: article 4d1."""


def cross_down(face: int) -> Holding:
    """The holding with the cross on ``face`` down, and green in front if possible; else red."""
    green, red = COLOURS.index("green"), COLOURS.index("red")
    return Holding.of(OPPOSITE[face], green if face not in (green, OPPOSITE[green]) else red)


@cache
def _axis_cycle(symbol: str) -> tuple[int, ...]:
    """To which face each face goes under one quarter of a rotation symbol."""
    axis = FACES.index(_AXIS_FACE[symbol])
    cycle = list(range(6))
    for facelet, moved in enumerate(TURNS[3 * axis].tolist()):
        if moved // 9 != facelet // 9:
            cycle[facelet // 9] = moved // 9
    return tuple(cycle)


def _rotation_of(move: Move) -> tuple[str, int]:
    """The rotation that a move contains, as symbol and quarters (0: none)."""
    if move.is_rotation:
        return move.symbol, move.quarters
    if move.symbol in SLICE_SYMBOLS or move.symbol.endswith("w"):
        face = _AXIS_FACE.get(move.symbol, move.symbol[0])
        for symbol in ROTATION_SYMBOLS:
            if face == _AXIS_FACE[symbol]:
                return symbol, move.quarters
            if face == FACES[OPPOSITE[FACES.index(_AXIS_FACE[symbol])]]:
                return symbol, 4 - move.quarters
    return "x", 0


@cache
def _after(holding: Holding, move: Move) -> Holding:
    symbol, quarters = _rotation_of(move)
    faces = holding.faces
    cycle = _axis_cycle(symbol)
    for _ in range(quarters):
        a, b, c, d, e, f = (faces[cycle.index(face)] for face in range(6))
        faces = (a, b, c, d, e, f)
    return Holding(faces)


@cache
def _made(holding: Holding, move: Move) -> tuple[tuple[int, ...], Holding]:
    """The fixed-frame turns that one move makes, and the holding afterwards: one look-up."""
    return _turned(holding, move), _after(holding, move)


def _turned(holding: Holding, move: Move) -> tuple[int, ...]:
    if move.is_rotation:
        return ()
    if move.symbol in SLICE_SYMBOLS:
        # The whole cube follows the slice, so both outer layers are turned back.
        along = FACES.index(_AXIS_FACE[move.symbol])
        pairs = [(along, -move.quarters), (OPPOSITE[along], move.quarters)]
    elif move.symbol.endswith("w"):
        pairs = [(OPPOSITE[FACES.index(move.symbol[0])], move.quarters)]
    else:
        pairs = [(FACES.index(move.symbol), move.quarters)]
    return tuple(sorted(make_turn(holding.faces[face], quarters) for face, quarters in pairs))


def fixed_turns(
    moves: Iterable[Move], holding: Holding = SCRAMBLE_HOLDING
) -> tuple[list[int], Holding]:
    """Fixed-frame turns of moves made from ``holding``, and the holding afterwards."""
    turns: list[int] = []
    for move in moves:
        its, holding = _made(holding, move)
        turns += its
    return turns, holding


def hand_moves(turns: Sequence[int], holding: Holding = SCRAMBLE_HOLDING) -> list[Move]:
    """Fixed-frame turns as face turns in the hands; the holding does not change."""
    return [Move(FACES[holding.hand_face(turn_face(t))], turn_quarters(t)) for t in turns]


@cache
def rotation_between(before: Holding, after: Holding) -> tuple[Move, ...]:
    """The fewest rotations (none, one or two) that lead from one holding to the other."""
    if before == after:
        return ()
    singles = [Move(symbol, quarters) for symbol in "yxz" for quarters in (1, 3, 2)]
    for move in singles:
        if _after(before, move) == after:
            return (move,)
    return next(
        (first, second)
        for first in singles
        for second in singles
        if _after(_after(before, first), second) == after
    )
