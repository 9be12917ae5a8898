"""Short codes of positions, to hand on by message, on paper or aloud.

A code is 16 characters in four groups: ``2222-2222-2222-22TS`` is the solved cube. The characters
are the digits 2 to 9 and the letters without I, L and O, 31 in all; case, blanks and hyphens do not
count when a code is read. 14 characters hold the number of the position, one the holding, and the
last one is a check: any single wrong character and any two exchanged ones are noticed.

The number of a position is made of the four coordinates of its pieces. The check: the characters
as numbers, each times another power of 3 modulo 31, sum up to 0; 31 is a prime and 3 one of its
primitive roots, so that the 16 factors differ.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from livecube.cube.geometry import CORNERS, FACES, HOME, NEXT_STICKER, PIECE_AT, TWIST_AT, Array
from livecube.cube.holding import HOLDINGS, Holding
from livecube.cube.notation import is_odd, parse_facelets, parse_turns
from livecube.cube.position import SOLVED, apply_turns
from livecube.errors import NotationError, PositionError

__all__ = ["parse_code", "parse_position", "position_code", "spelled_code"]

_CHARACTERS: Final = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"
_BASE: Final = len(_CHARACTERS)
_DIGITS: Final = 14
_LENGTH: Final = _DIGITS + 2
_GROUP: Final = 4
_WEIGHTS: Final = tuple(pow(3, at, _BASE) for at in range(_LENGTH))
_FACELETS: Final = 54
_UNTOLD: Final = len(HOLDINGS)
"""Stands for no holding."""

_TWISTS: Final = 3**7
_FLIPS: Final = 2**11
_EDGE_ORDERS: Final = 239_500_800
"""12!/2: the last two edges follow from the corners."""

_WORDS: Final = {
    **{word[0].upper(): word for word in (
        "alfa", "bravo", "charlie", "delta", "echo", "foxtrot", "golf", "hotel", "juliett", "kilo",
        "mike", "november", "papa", "quebec", "romeo", "sierra", "tango", "uniform", "victor",
        "whiskey", "x-ray", "yankee", "zulu",
    )},
    **dict(zip("23456789", ("two", "three", "four", "five", "six", "seven", "eight", "nine"),
               strict=True)),
}  # fmt: skip
"""Letters by the words of the ICAO spelling alphabet (Annex 10, volume II, from memory)."""
_LETTERS: Final = {word.replace("-", ""): letter for letter, word in _WORDS.items()}


def position_code(position: Array | bytes, holding: Holding | None = None) -> str:
    """The code of a position (20 facelets) and of how the cube is held there, if that is told.

    >>> position_code(SOLVED)
    '2222-2222-2222-22TS'
    """
    number = _number(np.frombuffer(position, dtype=np.uint8))
    digits = [number // _BASE**at % _BASE for at in reversed(range(_DIGITS))]
    digits.append(_UNTOLD if holding is None else HOLDINGS.index(holding))
    rest = _weighed(digits)
    digits.append(-rest * pow(_WEIGHTS[-1], -1, _BASE) % _BASE)
    text = "".join(_CHARACTERS[digit] for digit in digits)
    return "-".join(text[at : at + _GROUP] for at in range(0, _LENGTH, _GROUP))


def parse_code(text: str) -> tuple[Array, Holding | None]:
    """The position of a code, shape (20,), and the holding if the code tells one.

    The words of :func:`spelled_code` are read, too. Raises :class:`~livecube.errors.PositionError`
    for anything that is no code; a slip of one character, or two exchanged, never goes unnoticed.
    """
    digits = [_digit(one) for one in _letters(text)]
    if len(digits) != _LENGTH:
        raise PositionError(
            "code", f"a code has {_LENGTH} characters and this has {len(digits)}; see what is amiss"
        )
    *_, held, _check = digits
    number = 0
    for digit in digits[:_DIGITS]:
        number = number * _BASE + digit
    edges = _EDGE_ORDERS * _FLIPS
    if _weighed(digits) or held > _UNTOLD or number >= 40_320 * _TWISTS * edges:
        raise PositionError(
            "code", "a character of this code is wrong, or two are exchanged; compare them again"
        )
    return _position(number), None if held == _UNTOLD else HOLDINGS[held]


def spelled_code(code: str) -> str:
    """A code as it is read aloud, group by group: *kilo seven quebec mike, …*."""
    groups = code.split("-")
    return ", ".join(" ".join(_WORDS[letter] for letter in group) for group in groups)


def parse_position(text: str) -> tuple[Array, Holding | None]:
    """A position that somebody gives, shape (20,), and a holding if they tell one.

    Reads a code, 54 facelets, or turns made on a solved cube with white up and green in front.
    Raises :class:`~livecube.errors.PositionError` or :class:`~livecube.errors.NotationError`.
    """
    if text.count("-") > 1 or any(word in _LETTERS for word in _split(text)):
        return parse_code(text)
    letters = text.strip()
    if len(letters) == _FACELETS and set(letters) <= {*FACES}:
        return parse_facelets(letters), None
    try:
        return apply_turns(SOLVED, parse_turns(text)), None
    except NotationError:
        if len(_letters(text)) == _LENGTH and set(_letters(text)) <= {*_CHARACTERS}:
            return parse_code(text)  # somebody left out the hyphens
        raise


def _split(text: str) -> list[str]:
    return text.lower().replace("-", "").replace(",", " ").split()


def _letters(text: str) -> str:
    return "".join(_LETTERS.get(word, word) for word in _split(text)).upper()


def _digit(letter: str) -> int:
    if letter not in _CHARACTERS:
        raise PositionError(
            "code", f"there is no {letter!r} in codes: they have the digits 2 to 9 and letters, "
            "but not I, L and O"
        )  # fmt: skip
    return _CHARACTERS.index(letter)


def _weighed(digits: list[int]) -> int:
    return sum(w * digit for w, digit in zip(_WEIGHTS, digits, strict=False)) % _BASE


# Positions as numbers: corners' order and twists, edges' order and flips.


def _number(position: Array) -> int:
    places, twists = PIECE_AT[position].tolist(), TWIST_AT[position].tolist()
    corners, edges = places[: len(CORNERS)], [place - 8 for place in places[len(CORNERS) :]]
    number = _order_number(corners)
    for twist in twists[:7]:
        number = number * 3 + twist
    number = number * _EDGE_ORDERS + _order_number(edges) // 2
    for flip in twists[len(CORNERS) : -1]:
        number = number * 2 + flip
    return number


def _position(number: int) -> Array:
    number, flips = divmod(number, _FLIPS)
    number, edge_order = divmod(number, _EDGE_ORDERS)
    corner_order, twists = divmod(number, _TWISTS)
    corners = _ordered(corner_order, 8)
    edges = _ordered(2 * edge_order, 12)
    if is_odd(corners) != is_odd(edges):
        edges[-2:] = edges[:-3:-1]
    turned = [twists // 3**at % 3 for at in reversed(range(7))]
    turned.append(-sum(turned) % 3)
    flipped = [flips >> at & 1 for at in reversed(range(11))]
    flipped.append(sum(flipped) % 2)
    places = corners + [8 + edge for edge in edges]
    return np.array(
        [_facelet(place, twist) for place, twist in zip(places, turned + flipped, strict=True)],
        dtype=np.uint8,
    )


def _facelet(place: int, twist: int) -> int:
    facelet = int(HOME[place])
    while TWIST_AT[facelet] != twist:
        facelet = int(NEXT_STICKER[facelet])
    return facelet


def _order_number(order: list[int]) -> int:
    """The number of an order of 0 … n−1 among all, sorted."""
    number, left = 0, sorted(order)
    for one in order:
        number = number * len(left) + left.index(one)
        left.remove(one)
    return number


def _ordered(number: int, count: int) -> list[int]:
    """The order with this number."""
    picks = []
    for size in range(1, count + 1):
        number, pick = divmod(number, size)
        picks.append(pick)
    left = list(range(count))
    return [left.pop(pick) for pick in reversed(picks)]
