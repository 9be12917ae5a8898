"""The distance table of cross + one pair: the exact number of turns for all 72,990,720 states.

One table for slot 0 serves all slots by symmetry. Distances go to 10 and are packed two to a
byte: 55 MB. It takes some seconds to build and makes every search several times faster; without
it the corner and edge tables answer.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt
from numba import njit

from livecube.search.coordinates import CROSSES, PIECE_MOVES, SOLVED_PLACES
from livecube.search.tables import SOLVED_CROSS, decode_cross

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = ["PAIR_STATES", "build_pair_table", "pair_distance_counts"]

PAIR_STATES: Final = CROSSES * 24 * 24
"""Entries: ``(cross * 24 + corner place) * 24 + edge place``; a third are impossible."""

_IMPOSSIBLE: Final = 15
_UNKNOWN: Final = 14
_FORWARD: Final = 8
"""Up to this distance new states are found from known ones, beyond it the other way round,
since few are left then."""


def build_pair_table(
    moves: npt.NDArray[np.int32], step: Callable[[], None] = lambda: None
) -> npt.NDArray[np.uint8]:
    """Build the table, two entries a byte (the even one in the low bits); shape (54743040,).

    ``moves``: see :class:`livecube.search.tables.Tables`. ``step`` is called after each
    distance.
    """
    table = np.full(PAIR_STATES // 2, _UNKNOWN << 4 | _UNKNOWN, dtype=np.uint8)
    _rule_out(table)
    start = (SOLVED_CROSS * 24 + int(SOLVED_PLACES[0])) * 24 + int(SOLVED_PLACES[4])
    _put(table, start, 0)
    distance, found = 0, 1
    while found:
        grow = _from_known if distance < _FORWARD else _from_unknown
        found = grow(table, moves, PIECE_MOVES[0], PIECE_MOVES[1], distance)
        distance += 1
        step()
    return table


def pair_distance_counts(table: npt.NDArray[np.uint8]) -> list[int]:
    """How many states have each distance."""
    counts = np.bincount(table & 15, minlength=16) + np.bincount(table >> 4, minlength=16)
    return [int(n) for n in counts[:_UNKNOWN] if n]


@njit(cache=True, nogil=True)
def _get(table, index):  # type: ignore[no-untyped-def]
    return table[index >> 1] >> ((index & 1) << 2) & 15


@njit(cache=True, nogil=True)
def _put(table, index, value):  # type: ignore[no-untyped-def]
    shift = (index & 1) << 2
    table[index >> 1] = table[index >> 1] & ~(15 << shift) & 255 | value << shift


@njit(cache=True, nogil=True)
def _rule_out(table):  # type: ignore[no-untyped-def]
    """Mark the states whose edge would stand where a cross edge is."""
    places = np.empty(4, dtype=np.int64)
    for cross in range(CROSSES):
        decode_cross(cross, places)
        for i in range(4):
            for flip in range(2):
                edge = places[i] // 2 * 2 + flip
                for corner in range(24):
                    _put(table, (cross * 24 + corner) * 24 + edge, _IMPOSSIBLE)


@njit(cache=True, nogil=True)
def _from_known(table, moves, corner_moves, edge_moves, distance):  # type: ignore[no-untyped-def]
    """Find the states one turn behind those at ``distance``; how many."""
    found = 0
    for cross in range(CROSSES):
        for corner in range(24):
            base = (cross * 24 + corner) * 24
            for edge in range(24):
                if _get(table, base + edge) != distance:
                    continue
                for turn in range(18):
                    other = (
                        moves[cross, turn] * 24 + corner_moves[turn, corner]
                    ) * 24 + edge_moves[turn, edge]
                    if _get(table, other) == _UNKNOWN:
                        _put(table, other, distance + 1)
                        found += 1
    return found


@njit(cache=True, nogil=True)
def _from_unknown(table, moves, corner_moves, edge_moves, distance):  # type: ignore[no-untyped-def]
    """The same, looking from the unknown states for a neighbour at ``distance``."""
    found = 0
    for cross in range(CROSSES):
        for corner in range(24):
            base = (cross * 24 + corner) * 24
            for edge in range(24):
                if _get(table, base + edge) != _UNKNOWN:
                    continue
                for turn in range(18):
                    other = (
                        moves[cross, turn] * 24 + corner_moves[turn, corner]
                    ) * 24 + edge_moves[turn, edge]
                    if _get(table, other) == distance:
                        _put(table, base + edge, distance + 1)
                        found += 1
                        break
    return found
