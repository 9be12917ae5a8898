"""Positions sent as pieces: the number of each piece, and the reference stickers of twists."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Final, Literal, NamedTuple, TypeAlias

import numpy as np

from livecube.cube.geometry import CORNERS, EDGES, FACES, PIECE_AT, PIECES, TWIST_AT, face_of
from livecube.learning.bits import labels
from livecube.profiles.fields import Entries
from livecube.profiles.states import PieceCode, PieceNames, spots

if TYPE_CHECKING:
    from livecube.cube.geometry import Array
    from livecube.learning.bits import Bits, Ints

__all__ = ["FoundPieces", "Shifts", "find_pieces", "shown_pieces"]

_WIDTH: Final = {8: 3, 12: 4}
"""Pieces → bits that hold their numbers; higher bits of the field are 0."""
_TWIST_WIDTH: Final = {3: 2, 2: 1}
"""Number of twists → bits that hold a twist."""
_STRIDES: Final = range(1, 25)


Shifts: TypeAlias = "dict[tuple[int, int], int]"
"""(entry, its partner) → the cube's twist less ours; see :meth:`_Kind.partners`."""


class FoundPieces(NamedTuple):
    """Four rows: corners, twists, edges, flips."""

    rows: tuple[Entries, ...]
    code: PieceCode


@dataclass(frozen=True)
class _Kind:
    """The corners or the edges in the positions of all packets."""

    pieces: range
    there: Ints
    """The piece (from 0) at each place, shape (packets, n)."""
    place: Ints
    """The place of each piece, shape (packets, n)."""
    twist: Ints
    """The clockwise twist of each *piece*, by our reference stickers, shape (packets, n)."""

    @property
    def turns(self) -> int:
        return 3 if self.pieces is CORNERS else 2

    def told(self, says: str) -> Ints:
        """The meaning of a row, in our numbers."""
        return self.there if says == "piece" else self.place

    def partners(self, says: str, index: int) -> tuple[Ints, Ints]:
        """For entry ``index`` of a row of twists: its partner, and our twist; each (packets,).

        The partner is the piece at a place, or the place of a piece.
        """
        if says == "place":
            return self.place[:, index], self.twist[:, index]
        piece = self.there[:, index]
        return piece, np.take_along_axis(self.twist, piece[:, None], axis=1)[:, 0]


def _kind(positions: Array, pieces: range) -> _Kind:
    own, place = positions[:, pieces.start : pieces.stop], _places(positions, pieces)
    return _Kind(pieces, np.argsort(place, axis=1), place, TWIST_AT[own].astype(np.int64))


def shown_pieces(positions: Array, what: str) -> Ints:
    """The piece at each place, or the place of each piece; shape (packets, 8 or 12).

    ``what``: ``corner there``, ``corner place``, ``edge there`` or ``edge place``.
    """
    pieces, says = what.split()
    place = _places(positions, CORNERS if pieces == "corner" else EDGES)
    return place if says == "place" else np.argsort(place, axis=1)


def _places(positions: Array, pieces: range) -> Ints:
    own = positions[:, pieces.start : pieces.stop]
    return PIECE_AT[own].astype(np.int64) - pieces.start


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
    width = _WIDTH[count]
    starts = range(bits.size - width + 1)
    which = {start: index_of.get(bits.labels(start, width)) for start in starts}
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
    """Starts and strides of rows in which every place (or piece) occurs once."""
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
    shifts: Shifts


def _find_twists(bits: Bits, kind: _Kind, says: str, order: list[int], sign: int) -> _Twists | None:
    """The row of twists that goes with a row of numbers; ``order``: what its entries stand for."""
    partners = [kind.partners(says, index) for index in order]
    width = _TWIST_WIDTH[kind.turns]
    starts = range(bits.size - width + 1)
    small = {s for s in starts if bits.read(s, width).max() < kind.turns}

    @cache
    def fits(start: int, k: int) -> bool:
        """Whether the field there is the twist of entry ``k``; most are not that of the first."""
        twists = sign * bits.read(start, width)
        return _shift(twists, *partners[k], kind.turns) is not None

    firsts = {start for start in small if fits(start, 0)}
    for stride in (stride for stride in _STRIDES if stride >= width):
        for start in firsts:
            places = range(start, start + len(order) * stride, stride)
            if all(place in small and fits(place, k) for k, place in enumerate(places)):
                row = Entries(bits.field(start, width), len(order), stride)
                shifts = _shifts(bits, kind, says, order, sign, row)
                if _references(kind, says, shifts) is not None:
                    return _Twists(row, shifts)
    return None


def _shift(twists: Ints, partner: Ints, ours: Ints, turns: int) -> Ints | None:
    """Twists less ours, by partner (−1: partner not seen); None if it varies for a partner."""
    shift = (twists - ours) % turns
    table = np.full(int(partner.max()) + 1, -1, dtype=np.int64)
    table[partner] = shift
    return table if (table[partner] == shift).all() else None


def _shifts(
    bits: Bits, kind: _Kind, says: str, order: list[int], sign: int, row: Entries
) -> Shifts:
    found: Shifts = {}
    for field, index in zip(row.fields, order, strict=True):
        partner, ours = kind.partners(says, index)
        table = _shift(sign * bits.read(field.start, field.bits), partner, ours, kind.turns)
        if table is not None:
            found |= {(index, k): int(v) for k, v in enumerate(table) if v >= 0}
    return found


def _references(
    kind: _Kind, says: str, shifts: Shifts
) -> tuple[dict[int, int], dict[int, int]] | None:
    """The reference sticker of each piece, and the reference spot of each place.

    If a piece's reference is sticker a (clockwise from ours) and a place's is spot b, the twist is
    ours plus a minus b. None if no references explain all shifts.
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
    if not len(stickers) == len(places) == len(kind.pieces):
        return None
    if any(
        (stickers[piece] - places[place] - shift) % kind.turns for (piece, place), shift in pairs
    ):
        return None
    return stickers, places


def _names(
    kind: _Kind,
    says: str,
    order: list[int],
    numbers: dict[int, int],
    shifts: Shifts,
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
