"""Positions as 54 face letters, and the laws that a real cube obeys.

The letters stand in the order U L F R B D, each face row by row as seen from outside with
U above (for U: B; for D: F). A letter is the face whose centre has that colour.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from livecube.cube.geometry import FACES, NEXT_STICKER, Array
from livecube.cube.holding import COLOURS
from livecube.cube.pieces import CORNERS, EDGES, HOME, PIECE_AT, TWIST_AT, face_of, piece_name
from livecube.cube.position import stickers
from livecube.errors import PositionError

__all__ = ["check_position", "facelets_text", "parse_facelets"]

_CENTRES: Final = range(4, 54, 9)


def facelets_text(position: Array) -> str:
    """The 54 face letters of one position."""
    letters = [""] * 54
    for home, place in enumerate(stickers(position).tolist()):
        letters[place] = FACES[home // 9]
    return "".join(letters)


def parse_facelets(text: str) -> Array:
    """Read 54 face letters into a position that turns can reach.

    Raises :class:`~livecube.errors.PositionError`, which names the law that is broken.
    """
    _check_letters(text)
    position = np.zeros(20, dtype=np.uint8)
    seen: dict[int, int] = {}
    for place, reference in enumerate(HOME.tolist()):
        spots = _cycle(reference)
        colours = [text[spot] for spot in spots]
        piece, spot = _piece_shown(colours, spots, piece_name(place))
        if piece in seen:
            raise PositionError(
                "piece",
                f"piece {piece_name(piece)} is shown twice, at {piece_name(seen[piece])} "
                f"and at {piece_name(place)}; check the colours there",
            )
        seen[piece] = place
        position[piece] = spot
    check_position(position)
    return position


def _check_letters(text: str) -> None:
    if len(text) != 54:
        raise PositionError("length", f"there are {len(text)} facelets; a cube has 54")
    for index, letter in enumerate(text):
        if letter not in FACES:
            raise PositionError(
                "letter", f"facelet {index + 1} is {letter!r}; use the letters {' '.join(FACES)}"
            )
    for face, centre in enumerate(_CENTRES):
        if text[centre] != FACES[face]:
            raise PositionError(
                "centre",
                f"the centre of face {FACES[face]} is {text[centre]!r}; the facelets must be "
                f"given with {COLOURS[0]} up and {COLOURS[2]} in front",
            )
    for face, letter in enumerate(FACES):
        if text.count(letter) != 9:
            raise PositionError(
                "colour count",
                f"{letter} ({COLOURS[face]}) is shown {text.count(letter)} times instead of 9",
            )


def _cycle(facelet: int) -> list[int]:
    spots = [facelet, int(NEXT_STICKER[facelet])]
    third = int(NEXT_STICKER[spots[1]])
    return spots if third == facelet else [*spots, third]


def _piece_shown(colours: list[str], spots: list[int], place: str) -> tuple[int, int]:
    """The piece with these colours (clockwise) and the facelet of its reference sticker."""
    pieces = CORNERS if len(spots) == 3 else EDGES
    for piece in pieces:
        own = [FACES[face_of(f)] for f in _cycle(int(HOME[piece]))]
        for shift in range(len(spots)):
            if colours[shift:] + colours[:shift] == own:
                return piece, spots[shift]
    raise PositionError(
        "piece", f"no piece has the colours {'-'.join(colours)} that are shown at {place}"
    )


def check_position(position: Array) -> None:
    """Check that turns can reach a position whose 20 pieces are all different.

    Raises :class:`~livecube.errors.PositionError`: real cubes get twisted and reassembled.
    """
    twist = int(TWIST_AT[position[: len(CORNERS)]].sum()) % 3
    if twist:
        raise PositionError(
            "twisted corner",
            f"a corner is twisted {'clockwise' if twist == 1 else 'counter-clockwise'}: no turns "
            "lead here; twist one corner back by hand",
        )
    if int(TWIST_AT[position[len(CORNERS) :]].sum()) % 2:
        raise PositionError(
            "flipped edge",
            "an edge is flipped: no turns lead here; take one edge out and put it back flipped",
        )
    places = PIECE_AT[position]
    if _odd(places[: len(CORNERS)].tolist()) != _odd((places[len(CORNERS) :] - 8).tolist()):
        raise PositionError(
            "swapped pieces",
            "two pieces are swapped: no turns lead here; take the cube apart and put it "
            "together solved",
        )


def _odd(permutation: list[int]) -> bool:
    """Whether a permutation of 0 … n−1 is odd."""
    cycles, seen = 0, set[int]()
    for start in permutation:
        if start not in seen:
            cycles += 1
            while start not in seen:
                seen.add(start)
                start = permutation[start]
    return (len(permutation) - cycles) % 2 == 1
