"""The arrays of the search for the fastest ways: its bounds, its scratch, what it finds.

Here no numba is needed, so that whoever only prepares them does not wait for it.
"""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from livecube.search.task import LONGEST_WAY

if TYPE_CHECKING:
    import numpy.typing as npt

__all__ = [
    "KINDS",
    "NO_SECONDS",
    "SECOND_AT",
    "Kept",
    "Scratch",
    "SecondsTables",
    "empty_kept",
    "empty_scratch",
]

KINDS: Final = 5
"""Kinds of holding: upright with slot 0, 1, 2 or 3 at the front right; tilted."""
SECOND_AT: Final = (0, 5, 6, 7)
"""Rows of ``SecondsTables.left`` for a second part at offset 1, 2 or 3; first, without one."""
_STANDS: Final = 1 << 16
"""Room for the ways in which the hands may stand in all open nodes; some hundreds are usual."""


class SecondsTables(NamedTuple):
    """The bounds of a search, all admissible."""

    moves: npt.NDArray[np.int32]
    """Shape (190080, 18): the cross after a turn."""
    views: npt.NDArray[np.int32]
    """Shape (190080, 4, 4): [cross][offset k][slot] → the cross as the slot sees it, renamed so
    that it is solved if it was whole at offset k."""
    cross: npt.NDArray[np.uint8]
    """Shape (190080, 24): units of milliseconds that solve the cross from a holding."""
    pair: npt.NDArray[np.uint8]
    """Shape (2, 576, 24): the same for the pair of slot 0 (``24 * corner + edge``) by itself;
    second, without turns of the cross layer, and without the time to bring the cross down."""
    pieces: npt.NDArray[np.uint8]
    """Shape (2, 4561920, KINDS): for the cross and the corner (first) or edge of slot 0,
    ``24 * cross + place``, from a kind of holding."""
    still: npt.NDArray[np.uint8]
    """The same without turns of the cross layer."""
    left: npt.NDArray[np.int64]
    """Shape (8, 24): least milliseconds after a part: only to bring the cross down; to turn the
    layer back from offset 1, 2, 3 and then that; to do a second part, which turns the layer on and
    back, and then that; to do one that stands at offset 1, 2, 3 (``SECOND_AT``) and then that."""
    more: npt.NDArray[np.int64]
    """Shape (8,): the least of ``left`` in upright holdings, somewhat less for a second part that
    turns the layer on. The entries of ``pieces`` are too low by this much, the time of the steps
    still to do."""
    turning: npt.NDArray[np.int64]
    """Shape (8,): the least of ``left``."""


NO_SECONDS: Final = SecondsTables(
    np.empty((0, 18), dtype=np.int32),
    np.empty((0, 4, 4), dtype=np.int32),
    np.empty((0, 24), dtype=np.uint8),
    np.empty((2, 0, 24), dtype=np.uint8),
    np.empty((2, 0, KINDS), dtype=np.uint8),
    np.empty((2, 0, KINDS), dtype=np.uint8),
    np.empty((8, 24), dtype=np.int64),
    np.empty(8, dtype=np.int64),
    np.empty(8, dtype=np.int64),
)
"""Tables for compiling the kernel while the real ones are being made."""


class Kept(NamedTuple):
    """The cheapest ways of a question, best first; the first axis is the way."""

    cost: npt.NDArray[np.int64]
    """Shape (most,): milliseconds."""
    length: npt.NDArray[np.int64]
    """Shape (most,): turns."""
    turns: npt.NDArray[np.int64]
    """Shape (most, LONGEST_WAY)."""
    steps: npt.NDArray[np.int64]
    """Shape (most, LONGEST_WAY): ``24 * move + holding``, the move as written in this holding."""
    end: npt.NDArray[np.int64]
    """Shape (most,): the holding after it."""


class Scratch(NamedTuple):
    """What a search remembers of the turns that it tries; the first axis is mostly the level."""

    orders: npt.NDArray[np.int64]
    """Shape (2, 8): the pieces of each part, those that exceed the limit most often first."""
    counts: npt.NDArray[np.int64]
    """Shape (2,): how many these are."""
    cross: npt.NDArray[np.int64]
    place: npt.NDArray[np.int64]
    """Shape (levels, 8)."""
    stands: npt.NDArray[np.int64]
    """Shape (many, 5): how the hands may stand: holding, state, cost, the stand before, and the
    step from there."""
    first_stand: npt.NDArray[np.int64]
    after_stand: npt.NDArray[np.int64]
    """Those of a node: the first, and the one after the last."""
    filled: npt.NDArray[np.int64]
    """The stands of open nodes end here."""
    part: npt.NDArray[np.int64]
    begun: npt.NDArray[np.bool_]
    offset: npt.NDArray[np.int64]
    """−1, or where the layer is left."""
    more_goal: npt.NDArray[np.int64]
    """Pieces that the first part has solved."""
    viable: npt.NDArray[np.int64]
    """Bit k: the part may still end at offset k."""
    many: npt.NDArray[np.int64]
    upcoming: npt.NDArray[np.int64]
    """The number of children, and of the next one."""
    children_of: npt.NDArray[np.int64]
    """Shape (levels, 18, 5): a child's turn, first stand and the one after its last, part and
    offset."""
    turned: npt.NDArray[np.int64]
    """Shape (levels, 18, 8): ``place`` after each turn."""
    crossed: npt.NDArray[np.int64]
    """Shape (levels, 18): ``cross`` after each turn."""
    ends: npt.NDArray[np.int64]
    """Shape (levels, 18): ``viable`` after each turn of a part without turns of the layer."""
    path_turn: npt.NDArray[np.int64]
    path_step: npt.NDArray[np.int64]
    paths: npt.NDArray[np.int64]
    """Shape (2, levels): the steps of two ways, compared."""
    bounds: npt.NDArray[np.int64]
    own: npt.NDArray[np.int64]
    at_offset: npt.NDArray[np.int64]
    """Shape (KINDS,), each: bounds of a turn."""
    rooms: npt.NDArray[np.int64]
    """Shape (18, KINDS): milliseconds left after each turn."""
    turns: npt.NDArray[np.int64]
    """Shape (18,): turns still to try."""


def empty_kept(most: int) -> Kept:
    """Room for so many ways."""
    return Kept(*(_numbers(most, *more) for more in ((), (), (LONGEST_WAY,), (LONGEST_WAY,), ())))


def empty_scratch() -> Scratch:
    """Room for a search, for one at a time."""
    size = LONGEST_WAY + 1
    level = partial(_numbers, size)
    begun = np.zeros(size, dtype=np.bool_)
    return Scratch(
        _numbers(2, 8), _numbers(2), level(), level(8), _numbers(_STANDS, 5), level(), level(),
        level(), level(), begun, level(), level(), level(), level(), level(), level(18, 5),
        level(18, 8), level(18), level(18), level(), level(), _numbers(2, size), _numbers(KINDS),
        _numbers(KINDS), _numbers(KINDS), _numbers(18, KINDS), _numbers(18),
    )  # fmt: skip


def _numbers(*shape: int) -> npt.NDArray[np.int64]:
    return np.zeros(shape, dtype=np.int64)
