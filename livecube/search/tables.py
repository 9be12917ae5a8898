"""Distance tables of cross + corner and cross + edge, built by breadth-first search.

One table each is built for slot 0 (190,080 crosses × 24 places). Symmetry spreads them to rows, so
that everything the search asks about one cross stands in 192 neighbouring bytes. 50 MB in all;
built in about two seconds.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt
from numba import njit

from livecube.search.situation import (
    CROSSES,
    PIECE_MOVES,
    SLOT_SYMMETRY,
    SOLVED_PLACES,
    cross_numbers,
    every_cross,
)

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = [
    "NO_TABLES",
    "PAIR_STATES",
    "SOLVED_CROSS",
    "Tables",
    "build_pair_table",
    "build_tables",
    "cross_distances",
    "cross_moves",
    "inner",
    "piece_distances",
    "seen_crosses",
]

inner: Final = njit(  # type: ignore[call-overload]  # its stubs lack these two options
    nogil=True, no_cpython_wrapper=True, no_cfunc_wrapper=True
)
"""For what only kernels call: without wrappers, and without a file, it is compiled much sooner."""

_UNKNOWN = 255

SOLVED_CROSS = 16 * (((4 * 11 + 6) * 10 + 5) * 9 + 4)
"""Number of the solved cross: DF, DR, DB, DL are cubicles 4, 7, 6, 5 of the twelve."""


@dataclass(frozen=True, slots=True)
class Tables:
    """The tables of the search."""

    moves: npt.NDArray[np.int32]
    """Shape (190080, 18): the cross after a turn."""
    seen: npt.NDArray[np.int32]
    """Shape (4, 190080): the cross as each slot sees it when it is turned to the front right."""
    rows: npt.NDArray[np.uint8]
    """Shape (190080, 192): entry ``24 * piece + place`` is the fewest turns (HTM) that solve
    the cross together with that slot piece; 255 for places that a cross edge occupies."""
    alone: npt.NDArray[np.uint8]
    """Shape (190080,): fewest turns that solve the cross alone."""


NO_TABLES = Tables(
    np.empty((0, 18), dtype=np.int32),
    np.empty((4, 0), dtype=np.int32),
    np.empty((0, 192), dtype=np.uint8),
    np.empty(0, dtype=np.uint8),
)
"""Tables for compiling the kernels while the real ones are being made."""


def build_tables(
    moves: npt.NDArray[np.int32],
    seen: npt.NDArray[np.int32],
    step: Callable[[], None] = lambda: None,
) -> Tables:
    """Build the other tables; ``step`` is called after each of three parts."""
    corner = piece_distances(moves, PIECE_MOVES[0], int(SOLVED_PLACES[0]))
    step()
    edge = piece_distances(moves, PIECE_MOVES[1], int(SOLVED_PLACES[4]))
    step()
    rows = _spread(corner, edge, seen)
    step()
    return Tables(moves, seen, rows, cross_distances(moves))


def cross_moves() -> npt.NDArray[np.int32]:
    """The cross after each turn, shape (190080, 18)."""
    places = every_cross()
    return np.stack([cross_numbers(turn[places]) for turn in PIECE_MOVES[1]], axis=1)


def seen_crosses() -> npt.NDArray[np.int32]:
    """The cross as each slot sees it, shape (4, 190080)."""
    places = every_cross()
    return np.stack(
        [cross_numbers(SLOT_SYMMETRY[slot, 2][np.roll(places, -slot, axis=0)]) for slot in range(4)]
    )


def cross_distances(
    moves: npt.NDArray[np.int32], *, quarter_turns_only: bool = False
) -> npt.NDArray[np.uint8]:
    """Fewest turns that solve each of the 190,080 crosses, shape (190080,)."""
    still = np.zeros((18, 24), dtype=np.uint8)
    allowed = [t for t in range(18) if not quarter_turns_only or t % 3 != 1]
    both = piece_distances(np.ascontiguousarray(moves[:, allowed]), still[: len(allowed)], 0)
    return np.ascontiguousarray(both.reshape(CROSSES, 24)[:, 0])


@njit(cache=True, nogil=True)
def piece_distances(moves, piece_moves, home):  # type: ignore[no-untyped-def]
    """Breadth-first distances of (cross, place of one piece) from the solved cross and ``home``."""
    distance = np.full(moves.shape[0] * 24, 255, dtype=np.uint8)
    queue = np.empty(moves.shape[0] * 24, dtype=np.int32)
    queue[0] = 72784 * 24 + home
    distance[queue[0]] = 0
    head = 0
    tail = 1
    while head < tail:
        state = queue[head]
        head += 1
        cross = state // 24
        place = state % 24
        further = distance[state] + 1
        for turn in range(moves.shape[1]):
            other = moves[cross, turn] * 24 + piece_moves[turn, place]
            if distance[other] == 255:
                distance[other] = further
                queue[tail] = other
                tail += 1
    return distance


def _spread(
    corner: npt.NDArray[np.uint8], edge: npt.NDArray[np.uint8], seen: npt.NDArray[np.int32]
) -> npt.NDArray[np.uint8]:
    """The distances of slot 0's pieces as ``rows`` of all pieces."""
    rows = np.empty((CROSSES, 2, 4, 24), dtype=np.uint8)
    for piece, distance in enumerate((corner, edge)):
        for slot in range(4):
            as_seen = distance.reshape(CROSSES, 24)[seen[slot]]
            rows[:, piece, slot] = as_seen[:, SLOT_SYMMETRY[slot, piece]]
    return rows.reshape(CROSSES, 192)


# The distance table of cross + one pair: the exact number of turns for all 72,990,720 states.
#
# One table for slot 0 serves all slots by symmetry. Distances go to 10 and are packed two to a
# byte: 55 MB. It takes some seconds to build and makes every search several times faster. Until
# it is built, the corner and edge tables bound the search.


PAIR_STATES: Final = CROSSES * 24 * 24
"""Entries: ``(cross * 24 + corner place) * 24 + edge place``; a third are impossible."""

_NOT_REACHED: Final = 14
_FORWARD: Final = 8
"""Up to this distance new states are found from known ones; beyond it few are left, and known
states are found from new ones."""


def build_pair_table(
    moves: npt.NDArray[np.int32], step: Callable[[], None] = lambda: None
) -> npt.NDArray[np.uint8]:
    """Build the table, two entries a byte (the even one in the low bits); shape (54743040,).

    ``moves``: see :class:`livecube.search.tables.Tables`. ``step`` is called after each
    distance.
    """
    # A byte holds both flips of an edge. No edge of a slot stands where a cross edge is.
    edges = np.full((CROSSES, 12), _NOT_REACHED << 4 | _NOT_REACHED, dtype=np.uint8)
    np.put_along_axis(edges, every_cross().T >> 1, 255, axis=1)
    table = np.repeat(edges, 24, axis=0).ravel()
    start = (SOLVED_CROSS * 24 + int(SOLVED_PLACES[0])) * 24 + int(SOLVED_PLACES[4])
    table[start >> 1] &= ~(15 << (start % 2 << 2)) & 255
    distance, found = 0, 1
    while found:
        forward = distance < _FORWARD
        found = _grow(table, moves, PIECE_MOVES[0], PIECE_MOVES[1], distance, forward)
        distance += 1
        step()
    return table


@inner
def _get(table, index):  # type: ignore[no-untyped-def]
    return table[index >> 1] >> ((index & 1) << 2) & 15


@inner
def _put(table, index, value):  # type: ignore[no-untyped-def]
    shift = (index & 1) << 2
    table[index >> 1] = table[index >> 1] & ~(15 << shift) & 255 | value << shift


@njit(cache=True, nogil=True)
def _grow(table, moves, corner_moves, edge_moves, distance, forward):  # type: ignore[no-untyped-def]
    """Find the states one turn from those at ``distance``; returns how many.

    ``forward``: visit those at ``distance`` and look at their neighbours; else visit each state not
    reached yet, and look for a neighbour at ``distance``.
    """
    found = 0
    here, there = (distance, _NOT_REACHED) if forward else (_NOT_REACHED, distance)
    for cross in range(CROSSES):
        for corner in range(24):
            base = (cross * 24 + corner) * 24
            for edge in range(24):
                if _get(table, base + edge) != here:
                    continue
                for turn in range(18):
                    other = (
                        moves[cross, turn] * 24 + corner_moves[turn, corner]
                    ) * 24 + edge_moves[turn, edge]
                    if _get(table, other) == there:
                        _put(table, other if forward else base + edge, distance + 1)
                        found += 1
                        if not forward:
                            break
    return found
