"""A position as numbers for the two phases of the search, and the effect of turns on them.

The first phase uses the twists of the corners, the flips of the edges, and the places of the
four middle-layer edges. It ends when all these are as in the solved cube. From there on only
:data:`SECOND_TURNS` are allowed, which keep them so. The second phase uses the order of the
corners, of the eight edges of the upper and lower layer, and of the four of the middle layer.
"""

from __future__ import annotations

from itertools import combinations, permutations
from math import factorial
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import numpy.typing as npt

from livecube.cube.geometry import HOME, PIECE_AT, TURNS, TWIST_AT, sticker_cycle
from livecube.cube.position import SOLVED

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from livecube.cube.geometry import Array

__all__ = [
    "CORNER_ORDERS",
    "EDGE_ORDERS",
    "FLIPS",
    "MIDDLE_ORDERS",
    "MIDDLE_SETS",
    "SECOND_TURNS",
    "TWISTS",
    "coordinates_of",
    "move_tables",
]

TWISTS: Final = 3**7
FLIPS: Final = 2**11
MIDDLE_SETS: Final = 495
CORNER_ORDERS: Final = factorial(8)
EDGE_ORDERS: Final = factorial(8)
MIDDLE_ORDERS: Final = factorial(4)

SECOND_TURNS: Final = (0, 1, 2, 15, 16, 17, 4, 7, 10, 13)
"""All turns of U and D; half turns of L, F, R and B."""

_CORNERS, _OUTER, _MIDDLE = slice(0, 8), slice(8, 16), slice(16, 20)
_SETS: Final = list(combinations(range(12), 4))
_SET_NUMBER: Final = np.full(1 << 12, -1, dtype=np.int64)
for _number, _places in enumerate(_SETS):
    _SET_NUMBER[sum(1 << place for place in _places)] = _number
_STICKERS: Final = [sticker_cycle(int(home)) for home in HOME]


def _twist(positions: Array) -> npt.NDArray[np.int64]:
    return _oriented(positions[..., _CORNERS], 0, 7, 3)


def _flip(positions: Array) -> npt.NDArray[np.int64]:
    return _oriented(positions[..., 8:20], 8, 11, 2)


def _oriented(facelets: Array, first: int, counted: int, ways: int) -> npt.NDArray[np.int64]:
    """Orientations by place; that of the last place follows from the others."""
    places = PIECE_AT[facelets].astype(np.int64) - first
    weights = np.append(ways ** np.arange(counted), 0)
    return np.asarray((TWIST_AT[facelets] * weights[places]).sum(axis=-1))


def _middle_set(positions: Array) -> npt.NDArray[np.int64]:
    places = PIECE_AT[positions[..., _MIDDLE]].astype(np.int64) - 8
    return np.asarray(_SET_NUMBER[(1 << places).sum(axis=-1)])


def _order(positions: Array, part: slice) -> npt.NDArray[np.int64]:
    """The number of an order of places in the list of all orders."""
    places = PIECE_AT[positions[..., part]].astype(np.int64)
    count = places.shape[-1]
    later_and_less = (places[..., None, :] < places[..., :, None]).astype(np.int64)
    later_and_less *= np.triu(np.ones((count, count), dtype=np.int64), 1)
    weights = np.array([factorial(count - 1 - i) for i in range(count)])
    return np.asarray((later_and_less.sum(axis=-1) * weights).sum(axis=-1))


def coordinates_of(positions: Array) -> npt.NDArray[np.int64]:
    """Twist, flip, middle set, and the orders of corners, outer and middle edges; shape (…, 6).

    The last two have a meaning only after the first phase.
    """
    orders = [_order(positions, part) for part in (_CORNERS, _OUTER, _MIDDLE)]
    return np.stack([_twist(positions), _flip(positions), _middle_set(positions), *orders], axis=-1)


def move_tables() -> dict[str, npt.NDArray[np.uint16]]:
    """For each coordinate its value after each of the 18 turns, or of those of the second phase.

    Shapes (number, 18) for ``twist``, ``flip`` and ``middle_set``, (number, 10) for the others.
    """
    every = range(18)
    outer = np.arange(8, 16)
    return {
        "twist": _moved(_all_oriented(0, 8, 3), _twist, every),
        "flip": _moved(_all_oriented(8, 12, 2), _flip, every),
        "middle_set": _moved(_all_sets(), _middle_set, every),
        "corner_order": _moved(
            _all_orders(np.arange(8)), lambda p: _order(p, _CORNERS), SECOND_TURNS
        ),
        "edge_order": _moved(_all_orders(outer), lambda p: _order(p, _OUTER), SECOND_TURNS),
        "middle_order": _moved(
            _all_orders(np.arange(16, 20)), lambda p: _order(p, _MIDDLE), SECOND_TURNS
        ),
    }


def _moved(
    positions: Array, number: Callable[[Array], npt.NDArray[Any]], turns: Iterable[int]
) -> npt.NDArray[np.uint16]:
    assert (number(positions) == np.arange(len(positions))).all()
    columns = [number(TURNS[turn][positions]) for turn in turns]
    return np.ascontiguousarray(np.stack(columns, axis=-1).astype(np.uint16))


def _all_oriented(first: int, count: int, ways: int) -> Array:
    """One position for each way in which the pieces, all at their places, may be oriented."""
    numbers = np.arange(ways ** (count - 1))
    digits = numbers[:, None] // ways ** np.arange(count - 1) % ways
    digits = np.append(digits, -digits.sum(axis=1, keepdims=True) % ways, axis=1)
    result = np.repeat(SOLVED[None], len(numbers), axis=0)
    stickers = np.array(_STICKERS[first : first + count], dtype=np.uint8)
    result[:, first : first + count] = stickers[np.arange(count), digits]
    return result


def _all_sets() -> Array:
    """One position for each set of places of the four middle edges."""
    result = np.repeat(SOLVED[None], MIDDLE_SETS, axis=0)
    result[:, _MIDDLE] = HOME[8 + np.array(_SETS)]
    return result


def _all_orders(pieces: npt.NDArray[np.int64]) -> Array:
    """One position for each order of some pieces among their own places."""
    orders = np.array(list(permutations(pieces.tolist())))
    result = np.repeat(SOLVED[None], len(orders), axis=0)
    result[:, pieces] = HOME[orders]
    return result
