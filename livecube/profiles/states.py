"""How packets give a position: by pieces or by stickers, in the cube's own numbers."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from operator import itemgetter
from typing import TYPE_CHECKING, Literal, TypeAlias

import numpy as np

from livecube.cube.geometry import (
    CORNERS,
    FACES,
    HOME,
    NEXT_STICKER,
    PIECE_AT,
    PIECES,
    face_of,
    parse_piece,
)
from livecube.cube.notation import check_position, facelets_text
from livecube.errors import PositionError

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

__all__ = ["PieceCode", "PieceNames", "StickerCode", "Twist", "spots"]

Twist: TypeAlias = Literal["clockwise", "counterclockwise"]


def spots(name: str) -> list[int]:
    """The facelets of a piece's home, clockwise, from the one in the first-named face on.

    Raises ``ValueError`` if no piece has this name.
    """
    home = int(HOME[parse_piece(name)])
    cycle = [home]
    while (following := int(NEXT_STICKER[cycle[-1]])) != home:
        cycle.append(following)
    first = next(i for i, f in enumerate(cycle) if FACES[face_of(f)] == name[0])
    return cycle[first:] + cycle[:first]


@dataclass(frozen=True)
class PieceNames:
    """The corners or the edges, in the cube's numbers.

    The first face of a name holds the reference sticker of a piece, or the reference spot of a
    place: twists are counted from them.
    """

    pieces: tuple[str, ...]
    """Name of the piece with each number."""
    places: tuple[str, ...]
    """Name of the place with each number."""

    @cached_property
    def facelets(self) -> dict[tuple[int, int, int], tuple[int, int]]:
        """(piece, place, clockwise twist) → our piece, and the facelet of its reference sticker."""
        found = {}
        for number, name in enumerate(self.pieces):
            own = spots(name)
            piece = int(PIECE_AT[own[0]])
            reference = own.index(int(HOME[piece]))
            for place, place_name in enumerate(self.places):
                there = spots(place_name)
                for twist in range(len(there)):
                    spot = there[(reference + twist) % len(there)]
                    found[number, place, twist] = piece, spot
        return found

    @cached_property
    def numbers(self) -> dict[tuple[int, int], tuple[int, int, int]]:
        """The inverse of :attr:`facelets`."""
        return {shown: numbers for numbers, shown in self.facelets.items()}


@dataclass(frozen=True)
class PieceCode:
    """A position by its pieces: a row of numbers and one of twists, for corners and for edges."""

    corners: PieceNames
    edges: PieceNames
    says: Literal["piece", "place"] = "piece"
    """``piece``: the row gives the piece at each place; ``place``: the place of each piece."""
    twist: Twist = "clockwise"
    """Direction in which corner twists are counted."""

    def position(self, rows: Sequence[Sequence[int]]) -> bytes:
        """The position (20 facelets) from rows of corners, twists, edges and flips.

        Raises :class:`~livecube.errors.PositionError` if the position is impossible.
        """
        corners, twists, edges, flips = rows
        result = bytearray(20)
        if self.twist == "counterclockwise":
            twists = [-t % 3 if t < 3 else t for t in twists]
        for names, numbers, turned in ((self.corners, corners, twists), (self.edges, edges, flips)):
            if len(set(numbers)) < len(numbers):
                raise PositionError("piece", "a piece or a place is named twice")
            for index, (number, twist) in enumerate(zip(numbers, turned, strict=True)):
                piece, place = (number, index) if self.says == "piece" else (index, number)
                found = names.facelets.get((piece, place, twist))
                if found is None:
                    raise PositionError("piece", f"no piece {number} with twist {twist}")
                result[found[0]] = found[1]
        check_position(np.frombuffer(result, dtype=np.uint8))
        return bytes(result)

    def rows(self, position: bytes) -> list[list[int]]:
        """The inverse: rows of corners, twists, edges and flips of a position."""
        return [
            row
            for names, pieces in ((self.corners, position[:8]), (self.edges, position[8:]))
            for row in self._rows_of(names, pieces)
        ]

    def _rows_of(self, names: PieceNames, pieces: bytes) -> tuple[list[int], list[int]]:
        first = 0 if names is self.corners else CORNERS.stop
        back = self.twist == "counterclockwise" and names is self.corners
        numbers, twists = [0] * len(pieces), [0] * len(pieces)
        for shown in enumerate(pieces, start=first):
            number, place, twist = names.numbers[shown]
            index, value = (place, number) if self.says == "piece" else (number, place)
            numbers[index], twists[index] = value, -twist % 3 if back else twist
        return numbers, twists


@dataclass(frozen=True)
class StickerCode:
    """A position by its stickers: a row of colours."""

    facelets: tuple[int, ...]
    """The facelet of each entry of the row: 54 to 48 facelets, only centres may be missing."""
    colours: tuple[int, ...]
    """The cube's numbers of the six colours, in the order of their home faces."""

    @cached_property
    def _places(self) -> list[tuple[list[int], Callable[[Sequence[int]], tuple[int, ...]]]]:
        """For each place: its facelets, clockwise, and what takes their colours from the row."""
        index = {facelet: at for at, facelet in enumerate(self.facelets)}
        places = [spots(name) for name in PIECES]
        return [(place, itemgetter(*(index[facelet] for facelet in place))) for place in places]

    @cached_property
    def _shown(self) -> dict[tuple[int, ...], tuple[int, int]]:
        """Colours of a place, clockwise → the piece there, and the spot of its first sticker."""
        found = {}
        for piece, name in enumerate(PIECES):
            own = [self.colours[face_of(facelet)] for facelet in spots(name)]
            for spot in range(len(own)):
                found[tuple(own[-spot:] + own[:-spot] if spot else own)] = piece, spot
        return found

    @cached_property
    def _centres(self) -> list[tuple[int, int]]:
        """The centres: index in the row, and number of the colour."""
        return [(at, self.colours[f // 9]) for at, f in enumerate(self.facelets) if f % 9 == 4]

    def position(self, rows: Sequence[Sequence[int]]) -> bytes:
        """The position (20 facelets) that shows these colours; ``rows`` has one row.

        Raises :class:`~livecube.errors.PositionError` if the position is impossible.
        """
        (row,) = rows
        if any(row[at] != colour for at, colour in self._centres):
            raise PositionError("centre", "a centre has another colour")
        result = bytearray([255] * 20)
        for facelets, shown_in in self._places:
            found = self._shown.get(shown_in(row))
            if found is None or result[found[0]] != 255:
                raise PositionError("piece", "a piece is there twice, or none has such colours")
            result[found[0]] = facelets[found[1]]
        check_position(np.frombuffer(result, dtype=np.uint8))
        return bytes(result)

    def rows(self, position: bytes) -> list[list[int]]:
        """The inverse: the one row of colours of a position."""
        text = facelets_text(np.frombuffer(position, dtype=np.uint8))
        return [[self.colours[FACES.index(text[facelet])] for facelet in self.facelets]]
