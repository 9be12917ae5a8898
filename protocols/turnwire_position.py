"""A position as four numbers, the way turnwire snapshots carry it (``turnwire.md``, Positions)."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from livecube.cube.geometry import CORNERS, EDGES, PIECE_AT, TWIST_AT
from livecube.cube.notation import check_position

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["Coordinates", "coordinates", "position"]

_PLACE: Final = tuple(PIECE_AT.tolist())
_TWIST: Final = tuple(TWIST_AT.tolist())
_FACELET: Final = {
    (place, _TWIST[facelet]): facelet for facelet, place in enumerate(_PLACE) if place != 255
}


class Coordinates(NamedTuple):
    """The four numbers of a position."""

    corner_permutation: int
    """0 to 8! − 1; 16 bits."""
    corner_twists: int
    """0 to 3**8 − 1, base three, UFR in the lowest place; 16 bits."""
    edge_permutation: int
    """0 to 12! − 1; 32 bits."""
    edge_flips: int
    """0 to 2**12 − 1, UF in the lowest bit; 16 bits."""


def coordinates(position: bytes) -> Coordinates:
    """The four numbers of a position (20 facelets)."""
    places = [_PLACE[facelet] for facelet in position]
    twists = [_TWIST[facelet] for facelet in position]
    return Coordinates(
        _rank(places[: len(CORNERS)]),
        sum(twists[piece] * 3**piece for piece in CORNERS),
        _rank(places[len(CORNERS) :]),
        sum(twists[piece] << (piece - EDGES.start) for piece in EDGES),
    )


def position(numbers: Coordinates) -> bytes:
    """The position (20 facelets) with these four numbers.

    Raises ``ValueError`` if a number is too large and
    :class:`~livecube.errors.PositionError` if turns cannot reach the position.
    """
    places = [
        *_unrank(numbers.corner_permutation, CORNERS),
        *_unrank(numbers.edge_permutation, EDGES),
    ]
    twists = [
        *_digits(numbers.corner_twists, 3, len(CORNERS)),
        *_digits(numbers.edge_flips, 2, len(EDGES)),
    ]
    result = bytes(_FACELET[at] for at in zip(places, twists, strict=True))
    check_position(np.frombuffer(result, dtype=np.uint8))
    return result


def _rank(places: Sequence[int]) -> int:
    """Number of this permutation in the list of all in dictionary order, from 0."""
    rank = 0
    for index, place in enumerate(places):
        smaller = sum(later < place for later in places[index + 1 :])
        rank = rank * (len(places) - index) + smaller
    return rank


def _unrank(rank: int, places: range) -> list[int]:
    """The permutation of ``places`` that stands at ``rank``."""
    choices = []
    for size in range(1, len(places) + 1):
        rank, choice = divmod(rank, size)
        choices.append(choice)
    if rank:
        raise ValueError(f"the permutation of {len(places)} pieces is out of range")
    left = list(places)
    return [left.pop(choice) for choice in reversed(choices)]


def _digits(number: int, base: int, count: int) -> list[int]:
    digits = []
    for _ in range(count):
        number, digit = divmod(number, base)
        digits.append(digit)
    if number:
        raise ValueError(f"the orientation of {count} pieces is out of range")
    return digits
