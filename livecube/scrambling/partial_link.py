"""The fewest turns that bring some of the pieces to given places; the others may go anywhere.

The search meets in the middle: it makes all sequences of up to five turns from the first position
and undoes them from the second. So it finds every link of up to ten turns, the shortest first.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from livecube.cube.geometry import OPPOSITE, TURNS
from livecube.cube.position import inverse_turns

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from livecube.cube.geometry import Array

__all__ = ["LONGEST_PARTIAL_LINK", "partial_link"]

_DEPTH: Final = 5
LONGEST_PARTIAL_LINK: Final = 2 * _DEPTH
"""Longer links are not searched for."""

_FACTORS: Final = np.random.default_rng(20).integers(1, 2**63, 20, dtype=np.uint64) | np.uint64(1)
"""Factors of a 64-bit hash; rows with the same hash are compared in full later."""


class _Level(NamedTuple):
    """All sequences of a given length; opposite faces come in one order only."""

    stickers: Array
    """Shape (54, n): where each sequence takes each facelet."""
    before: npt.NDArray[np.int64]
    """Shape (n,): row of the sequence without its last turn, in the level before."""
    turns: npt.NDArray[np.int64]
    """Shape (n,): last turn of the sequence."""


def partial_link(start: bytes, end: bytes, pieces: Sequence[int]) -> tuple[int, ...] | None:
    """The fewest fixed-frame turns that bring ``pieces`` from one position to another.

    Positions are 20 facelets. One of the shortest links, always the same; None if ten turns do
    not suffice.
    """
    some = list(pieces)
    here, there = (np.frombuffer(place, dtype=np.uint8)[some] for place in (start, end))
    made: list[npt.NDArray[np.uint64]] = []
    undone: list[npt.NDArray[np.uint64]] = []
    for length in range(LONGEST_PARTIAL_LINK + 1):
        first, last = (length + 1) // 2, length // 2
        if first == len(made):
            made.append(_hashes(_levels()[first].stickers, here))
        if last == len(undone):
            undone.append(_hashes(_levels()[last].stickers, there))
        for i, j in _meetings(made[first], undone[last]):
            ways = _levels()[first].stickers[:, i], _levels()[last].stickers[:, j]
            if (ways[0][here] == ways[1][there]).all():
                return (*_turning(first, i), *inverse_turns(_turning(last, j)))
    return None


def _hashes(stickers: Array, facelets: Array) -> npt.NDArray[np.uint64]:
    """One number for each sequence, of the places of these facelets."""
    result = np.zeros(stickers.shape[1], dtype=np.uint64)
    for facelet, factor in zip(facelets, _FACTORS, strict=False):
        result += stickers[facelet] * factor
    return result


def _meetings(
    made: npt.NDArray[np.uint64], undone: npt.NDArray[np.uint64]
) -> list[tuple[int, int]]:
    """Pairs of rows with the same number, in the order of the made rows."""
    in_order, others = np.sort(made), np.sort(undone)  # much quicker than the rows' own order
    at = np.minimum(others.searchsorted(in_order), len(others) - 1)
    both = np.unique(in_order[others[at] == in_order])  # few, or none
    first: dict[int, int] = {}
    for j in np.flatnonzero(np.isin(undone, both)).tolist():
        first.setdefault(int(undone[j]), j)
    return [(i, first[int(made[i])]) for i in np.flatnonzero(np.isin(made, both)).tolist()]


def _turning(length: int, row: int) -> tuple[int, ...]:
    """The turns of one row."""
    turns: list[int] = []
    for level in _levels()[length:0:-1]:
        turns.append(int(level.turns[row]))
        row = int(level.before[row])
    return tuple(reversed(turns))


@cache
def _levels() -> tuple[_Level, ...]:
    nothing = np.zeros(1, dtype=np.int64)
    levels = [_Level(np.arange(54, dtype=np.uint8)[:, None], nothing, ~nothing)]
    for _ in range(_DEPTH):
        level = levels[-1]
        rows = [np.flatnonzero(_may_follow(level.turns // 3, turn // 3)) for turn in range(18)]
        levels.append(
            _Level(
                np.hstack([TURNS[t][level.stickers.take(row, 1)] for t, row in enumerate(rows)]),
                np.concatenate(rows),
                np.repeat(np.arange(18), [len(row) for row in rows]),
            )
        )
    return tuple(levels)


def _may_follow(last: npt.NDArray[np.int64], face: int) -> npt.NDArray[np.bool_]:
    """Whether a turn of ``face`` may follow turns of the faces ``last`` (-1: none)."""
    allowed: npt.NDArray[np.bool_] = last != face
    if OPPOSITE[face] > face:
        allowed &= last != OPPOSITE[face]
    return allowed
