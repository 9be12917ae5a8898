"""Positions that are sent by pieces: which number is which piece, and what twists count from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal, NamedTuple

import numpy as np

from livecube.cube.geometry import FACES
from livecube.cube.pieces import CORNERS, EDGES, PIECE_AT, PIECES, TWIST_AT, face_of
from livecube.learning.bits import labels
from livecube.profiles.fields import Entries
from livecube.profiles.states import PieceCode, PieceNames, spots

if TYPE_CHECKING:
    from livecube.cube.geometry import Array
    from livecube.learning.bits import Bits, Ints

__all__ = ["FoundPieces", "find_pieces"]

_WIDTHS: Final = {8: range(3, 9), 12: range(4, 9)}
_TWIST_WIDTHS: Final = range(1, 5)
_STRIDES: Final = range(1, 25)


class FoundPieces(NamedTuple):
    """Four rows: corners, twists, edges, flips."""

    rows: tuple[Entries, ...]
    code: PieceCode


@dataclass(frozen=True)
class _Kind:
    """The corners or the edges in the positions of all packets."""

    pieces: range
    there: Ints
    """Shape (packets, n): which piece (from 0) is at each place."""
    place: Ints
    """Which place each piece is at."""
    twist: Ints
    """How far each *piece* is twisted, clockwise, as our reference stickers have it."""

    @property
    def turns(self) -> int:
        return 3 if self.pieces is CORNERS else 2

    def told(self, says: str) -> Ints:
        """What a row says, in our numbers."""
        return self.there if says == "piece" else self.place

    def partners(self, says: str, index: int) -> tuple[Ints, Ints]:
        """For entry ``index`` of a row of twists: what it goes with, and our twist of it."""
        if says == "place":
            return self.place[:, index], self.twist[:, index]
        piece = self.there[:, index]
        return piece, np.take_along_axis(self.twist, piece[:, None], axis=1)[:, 0]


def _kind(positions: Array, pieces: range) -> _Kind:
    own = positions[:, pieces.start : pieces.stop]
    place = PIECE_AT[own].astype(np.int64) - pieces.start
    return _Kind(pieces, np.argsort(place, axis=1), place, TWIST_AT[own].astype(np.int64))


def find_pieces(bits: Bits, positions: Array) -> FoundPieces | None:
    """The four rows that show the positions of the packets."""
    for says in ("piece", "place"):
        corners = _find_kind(bits, _kind(positions, CORNERS), says, (1, -1))
        edges = _find_kind(bits, _kind(positions, EDGES), says, (1,))
        if corners is not None and edges is not None:
            literal: Literal["piece", "place"] = "piece" if says == "piece" else "place"
            twist: Literal["clockwise", "counterclockwise"] = (
                "clockwise" if corners.sign == 1 else "counterclockwise"
            )
            code = PieceCode(corners.names, edges.names, literal, twist)
            return FoundPieces((corners.row, corners.twists, edges.row, edges.twists), code)
    return None


class _Found(NamedTuple):
    row: Entries
    twists: Entries
    names: PieceNames
    sign: int


def _find_kind(bits: Bits, kind: _Kind, says: str, signs: tuple[int, ...]) -> _Found | None:
    count, told = len(kind.pieces), kind.told(says)
    index_of = {labels(told[:, index]): index for index in range(count)}
    if len(index_of) < count:
        return None
    for width in _WIDTHS[count]:
        starts = range(bits.size - width + 1)
        which = {start: index_of.get(labels(bits.read(start, width))) for start in starts}
        for start, stride in _chains(which, width, count):
            row = Entries(bits.field(start, width), count, stride)
            order = [which[field.start] or 0 for field in row.fields]
            numbers = _numbers(bits, row, order, told)
            if numbers is None:
                continue
            for sign in signs:
                found = _find_twists(bits, kind, says, order, sign)
                if found is not None:
                    names = _names(kind, says, order, numbers, found.shifts)
                    return _Found(row, found.row, names, sign)
    return None


def _chains(which: dict[int, int | None], width: int, count: int) -> list[tuple[int, int]]:
    """Starts and strides of rows in which every place (or piece) stands once."""
    strides = [stride for stride in _STRIDES if stride >= width]
    return [
        (start, stride)
        for stride in strides
        for start in which
        if {which.get(start + k * stride) for k in range(count)} == set(range(count))
    ]


def _numbers(bits: Bits, row: Entries, order: list[int], told: Ints) -> dict[int, int] | None:
    """The cube's number of each of ours, if all entries of a row agree on it."""
    numbers: dict[int, int] = {}
    for field, index in zip(row.fields, order, strict=True):
        values = bits.read(field.start, field.bits)
        for ours, number in zip(told[:, index].tolist(), values.tolist(), strict=True):
            if numbers.setdefault(ours, number) != number:
                return None
    right = sorted(numbers.values()) == list(range(len(row.fields)))
    return numbers if right else None


class _Twists(NamedTuple):
    row: Entries
    shifts: dict[tuple[int, int], int]
    """For entry and partner: what the cube's twist is more than ours."""


def _find_twists(bits: Bits, kind: _Kind, says: str, order: list[int], sign: int) -> _Twists | None:
    for width in _TWIST_WIDTHS:
        if 1 << width < kind.turns:
            continue
        for stride in (s for s in _STRIDES if s >= width):
            for start in range(bits.size - width - (len(order) - 1) * stride + 1):
                row = Entries(bits.field(start, width), len(order), stride)
                shifts = _shifts(bits, kind, says, order, sign, row)
                if shifts is not None:
                    return _Twists(row, shifts)
    return None


def _shifts(
    bits: Bits, kind: _Kind, says: str, order: list[int], sign: int, row: Entries
) -> dict[tuple[int, int], int] | None:
    found: dict[tuple[int, int], int] = {}
    for field, index in zip(row.fields, order, strict=True):
        values = bits.read(field.start, field.bits)
        if values.max() >= kind.turns:
            return None
        partner, twist = kind.partners(says, index)
        for other, shift in zip(
            partner.tolist(), (sign * values - twist) % kind.turns, strict=True
        ):
            if found.setdefault((index, other), int(shift)) != shift:
                return None
    return found if _references(kind, says, found) is not None else None


def _references(
    kind: _Kind, says: str, shifts: dict[tuple[int, int], int]
) -> tuple[dict[int, int], dict[int, int]] | None:
    """Which sticker twists are counted from: of each piece, and at each place.

    Counted from a piece's sticker a (clockwise from our reference) and a place's spot b, a twist
    is ours plus a minus b.
    """
    stickers: dict[int, int] = {0: 0}
    places: dict[int, int] = {}
    pairs = [
        ((other, index) if says == "piece" else (index, other), shift)
        for (index, other), shift in shifts.items()
    ]
    for _ in range(2 * len(kind.pieces)):
        for (piece, place), shift in pairs:
            if piece in stickers:
                places.setdefault(place, (stickers[piece] - shift) % kind.turns)
            elif place in places:
                stickers[piece] = (shift + places[place]) % kind.turns
    for (piece, place), shift in pairs:
        if (stickers.get(piece, 0) - places.get(place, 0) - shift) % kind.turns:
            return None
    whole = len(stickers) == len(places) == len(kind.pieces)
    return (stickers, places) if whole else None


def _names(
    kind: _Kind,
    says: str,
    order: list[int],
    numbers: dict[int, int],
    shifts: dict[tuple[int, int], int],
) -> PieceNames:
    found = _references(kind, says, shifts)
    assert found is not None
    stickers, places = found
    by_number = sorted(numbers, key=numbers.__getitem__)
    pieces, spots_ = (by_number, order) if says == "piece" else (order, by_number)
    return PieceNames(
        tuple(_name(kind.pieces.start + piece, stickers[piece]) for piece in pieces),
        tuple(_name(kind.pieces.start + place, places[place]) for place in spots_),
    )


def _name(piece: int, first: int) -> str:
    """A piece's faces, clockwise, from sticker ``first`` on."""
    faces = [FACES[face_of(facelet)] for facelet in spots(PIECES[piece])]
    return "".join(faces[first:] + faces[:first])
