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

from livecube.cube.geometry import FACES
from livecube.cube.holding import Move, fixed_turns
from livecube.errors import NotationError

if TYPE_CHECKING:
    from collections.abc import Iterable

__all__ = ["moves_text", "parse_moves", "parse_turns"]

_LIMIT: Final = 10_000
"""Longest sequence that is read; nested repetitions could otherwise fill the memory."""

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
    """Put a finished group into the one around it; how many moves its repetition adds."""
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
    # The direction of a half turn is no difference for the cube.
    return Move(symbol, 2 if match["amount"] else 3 if match["prime"] else 1)


def moves_text(moves: Iterable[Move]) -> str:
    """The moves as written, separated by blanks; reads back by :func:`parse_moves`."""
    return " ".join(map(str, moves))


def parse_turns(text: str) -> list[int]:
    """Read moves made with white up and green in front, as fixed-frame turns.

    Raises :class:`~livecube.errors.NotationError`.

    >>> from livecube.cube.turns import turns_text
    >>> turns_text(parse_turns("M2 y R"))
    'L2 R2 F'
    """
    return fixed_turns(parse_moves(text))[0]
