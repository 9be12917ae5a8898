"""The known sequences that help: orientation and permutation of the last layer, one look or two.

Positions here are 20 facelets as ``bytes``, the cross down, first two layers solved. A look is a
key (the visible part of the case) and a book from keys to the sequences that settle it.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Final, NamedTuple

from livecube.cube.geometry import FACES, PIECE_AT, TWIST_AT
from livecube.cube.position import SOLVED, TURN_BYTES, inverse_turns, make_turn
from livecube.virtual.sequences import (
    ORIENT,
    PERMUTE,
    Sequence,
    mirrored,
    read_sequence,
    turned_back,
)

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = [
    "LOOKS",
    "Answer",
    "answers",
    "is_settled",
    "turn_that_solves",
]

_SOLVED: Final = SOLVED.tobytes()
_UP: Final = FACES.index("U")
_CORNERS: Final = range(4)
_EDGES: Final = range(8, 12)
_PIECE: Final = PIECE_AT.tolist()
_TWIST: Final = TWIST_AT.tolist()


class Answer(NamedTuple):
    """Turn the upper layer by ``quarters``, then do the sequence."""

    quarters: int
    sequence: Sequence


def _up(position: bytes, quarters: int) -> bytes:
    return position.translate(TURN_BYTES[make_turn(_UP, quarters)]) if quarters % 4 else position


def _twists(position: bytes, pieces: range) -> bytes:
    """Twist of the piece at each of these places."""
    seen = {_PIECE[position[p]]: _TWIST[position[p]] for p in pieces}
    return bytes(seen[place] for place in pieces)


def _edge_flips(position: bytes) -> bytes:
    return _twists(position, _EDGES)


def _orientation(position: bytes) -> bytes:
    return _twists(position, _CORNERS) + _twists(position, _EDGES)


def _standing(position: bytes, pieces: range, first: int) -> bytes:
    """Number of the piece at each place, counted round the layer from piece ``first``."""
    seen = {_PIECE[position[p]]: p - pieces.start for p in pieces}
    return bytes((seen[place] - first) % 4 for place in pieces)


def _corner_places(position: bytes) -> bytes:
    first = next(p for p in _CORNERS if _PIECE[position[p]] == 0)
    return _standing(position, _CORNERS, first)


def _places(position: bytes) -> bytes:
    first = next(p for p in _CORNERS if _PIECE[position[p]] == 0)
    return _standing(position, _CORNERS, first) + _standing(position, _EDGES, first)


LOOKS: Final[dict[str, tuple[Callable[[bytes], bytes], str]]] = {
    "edges-up": (_edge_flips, ORIENT),
    "orient": (_orientation, ORIENT),
    "corners-home": (_corner_places, PERMUTE),
    "permute": (_places, PERMUTE),
}
"""For each look its key, and the sequences that may settle it. ``edges-up`` and ``corners-home``
are the first looks of a two-look solver."""


@cache
def _book(look: str, mirror: bool, backwards: bool) -> dict[bytes, list[Sequence]]:
    key, texts = LOOKS[look]
    book: dict[bytes, list[Sequence]] = {}
    for written in texts.strip().splitlines():
        text = mirrored(written) if mirror else written
        sequence = read_sequence(turned_back(text) if backwards else text)
        position = _SOLVED
        for turn in inverse_turns(sequence.turns):
            position = position.translate(TURN_BYTES[turn])
        book.setdefault(key(position), []).append(sequence)
    return book


def answers(
    position: bytes, look: str, *, mirror: bool = False, backwards: bool = False
) -> list[Answer]:
    """All known sequences that settle the case in this look, with the turn of U before each."""
    key, _ = LOOKS[look]
    book = _book(look, mirror, backwards)
    return [
        Answer(quarters, sequence)
        for quarters in range(4)
        for sequence in book.get(key(_up(position, quarters)), ())
    ]


def is_settled(position: bytes, look: str) -> bool:
    """Whether the case in this look is settled."""
    key, _ = LOOKS[look]
    return key(position) == key(_SOLVED)


def turn_that_solves(position: bytes) -> int:
    """Quarters of U that solve the cube (0: solved).

    Raises ``ValueError`` if no turn of U does.
    """
    for quarters in range(4):
        if _up(position, quarters) == _SOLVED:
            return quarters
    raise ValueError("no turn of the last layer solves this position")
