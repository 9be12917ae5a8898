"""Reading and writing sequences of moves.

Face turns, wide turns and rotations follow article 12a of the World Cube Association
Regulations (April 1, 2026): ``R``, ``R'``, ``R2``, ``Rw`` (also ``2Rw``), ``x``. Accepted as
common practice, no published source: slices ``M E S``, lower-case wides ``r``, ``R2'``,
groups ``(R U R' U')3``, and comments from ``//`` to the end of the line. A pause of the hands is
written ``…`` and read as a blank.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

import numpy as np

from livecube.cube.geometry import (
    CORNERS,
    EDGES,
    FACES,
    HOME,
    NEXT_STICKER,
    PIECE_AT,
    TWIST_AT,
    Array,
    face_of,
    piece_name,
)
from livecube.cube.holding import COLOURS, Move, fixed_turns
from livecube.cube.position import stickers
from livecube.errors import NotationError, PositionError

if TYPE_CHECKING:
    from collections.abc import Iterable

__all__ = [
    "check_position",
    "facelets_text",
    "is_odd",
    "moves_text",
    "parse_facelets",
    "parse_moves",
    "parse_turns",
]

_LIMIT: Final = 10_000
"""Longest sequence that is read: nested repetitions could fill the memory."""

_TOKEN: Final = re.compile(
    r"""(?P<blank>[\s…]+|//[^\n]*)
      | (?P<open>\()
      | (?P<close>\))(?P<times>[0-9]*)(?P<back>['’′]?)
      | (?P<layers>[0-9]*)(?P<letter>[A-Za-z])(?P<wide>w?)(?P<amount>[0-9]*)(?P<prime>['’′]?)""",
    re.VERBOSE,
)


def parse_moves(text: str) -> list[Move]:
    """Read a sequence of moves.

    Raises :class:`~livecube.errors.NotationError` with column and reason.

    >>> moves_text(parse_moves("(R U R' U')2 r // two triggers and a wide turn"))
    "R U R' U' R U R' U' Rw"
    """
    stack: list[tuple[int, list[Move]]] = [(0, [])]
    at = count = 0
    while at < len(text):
        match = _TOKEN.match(text, at)
        if match is None:
            raise NotationError(text, at + 1, f"{text[at]!r} is not part of any move")
        if match["open"]:
            stack.append((at, []))
        elif match["close"]:
            count += _close_group(text, at, match, stack)
        elif match["letter"]:
            stack[-1][1].append(_move(text, at, match))
            count += 1
        if count > _LIMIT:
            raise NotationError(text, at + 1, f"the sequence is longer than {_LIMIT} moves")
        at = match.end()
    if len(stack) > 1:
        raise NotationError(text, stack[-1][0] + 1, "this group is never closed; add ')'")
    return stack[0][1]


def _close_group(
    text: str, at: int, match: re.Match[str], stack: list[tuple[int, list[Move]]]
) -> int:
    """Put a closed group into the group around it; returns how many moves its repetition adds."""
    if len(stack) == 1:
        raise NotationError(text, at + 1, "')' closes no group; remove it or add '(' before")
    _, moves = stack.pop()
    digits = match["times"].lstrip("0") or ("0" if match["times"] else "1")
    times = int(digits) if len(digits) < 6 else _LIMIT + 1
    if times == 0:
        raise NotationError(text, at + 2, "a group repeated 0 times does nothing; remove it")
    if len(moves) * times > _LIMIT:
        raise NotationError(text, at + 1, f"this repetition is longer than {_LIMIT} moves")
    if match["back"]:
        moves = [move.inverted() for move in reversed(moves)]
    stack[-1][1].extend(moves * times)
    return len(moves) * (times - 1)


def _move(text: str, at: int, match: re.Match[str]) -> Move:
    letter, written = match["letter"], match[0]

    def fail(group: str, reason: str) -> NotationError:
        return NotationError(text, match.start(group) + 1, f"in {written!r}, {reason}")

    wide = bool(match["wide"]) or (letter.islower() and letter.upper() in FACES)
    if letter in "xyzMES":
        symbol = letter
        if match["wide"]:
            raise fail("wide", f"{letter} cannot be wide")
    elif letter.upper() in FACES:
        symbol = letter.upper() + ("w" if wide else "")
        if match["wide"] and letter.islower():
            raise fail("wide", f"write {letter} or {letter.upper()}w, not both")
    else:
        raise fail("letter", f"{letter!r} names no face, slice or rotation")
    if match["layers"] and not (match["wide"] and match["layers"] == "2"):
        raise fail("layers", "only 2 may stand before a wide turn of this cube (2Rw)")
    if match["amount"] not in ("", "2"):
        raise fail("amount", "only 2 (a half turn) may follow")
    # A half turn has the same effect in both directions.
    return Move(symbol, 2 if match["amount"] else 3 if match["prime"] else 1)


def moves_text(moves: Iterable[Move]) -> str:
    """The moves as written, separated by blanks; reads back by :func:`parse_moves`."""
    return " ".join(map(str, moves))


def parse_turns(text: str) -> list[int]:
    """Read moves made with white up and green in front, as fixed-frame turns.

    Raises :class:`~livecube.errors.NotationError`.

    >>> from livecube.cube.position import turns_text
    >>> turns_text(parse_turns("M2 y R"))
    'L2 R2 F'
    """
    return fixed_turns(parse_moves(text))[0]


# Positions as 54 face letters, and the checks that turns can reach them.
#
# The letters stand in the order U L F R B D, each face row by row as seen from outside with
# U above (for U: B; for D: F). A letter is the face whose centre has that colour.


_CENTRES: Final = range(4, 54, 9)


def facelets_text(position: Array) -> str:
    """The 54 face letters of one position."""
    letters = [""] * 54
    for home, place in enumerate(stickers(position).tolist()):
        letters[place] = FACES[home // 9]
    return "".join(letters)


def parse_facelets(text: str) -> Array:
    """Read 54 face letters into a position that turns can reach.

    Raises :class:`~livecube.errors.PositionError`, which names the check that fails.
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

    Raises :class:`~livecube.errors.PositionError`. Real cubes get twisted and wrongly assembled.
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
    if is_odd(places[: len(CORNERS)].tolist()) != is_odd((places[len(CORNERS) :] - 8).tolist()):
        raise PositionError(
            "swapped pieces",
            "two pieces are swapped: no turns lead here; take the cube apart and put it "
            "together solved",
        )


def is_odd(permutation: list[int]) -> bool:
    """Whether a permutation of 0 … n−1 is odd."""
    cycles, seen = 0, set[int]()
    for start in permutation:
        if start not in seen:
            cycles += 1
            while start not in seen:
                seen.add(start)
                start = permutation[start]
    return (len(permutation) - cycles) % 2 == 1
