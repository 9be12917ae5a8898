"""Distance tables of cross + corner and cross + edge, built by breadth-first search.

One table each is built for slot 0 (190,080 crosses × 24 places). Symmetry spreads them to rows, so
that everything the search asks about one cross stands in 192 neighbouring bytes. 50 MB in all;
built in less than a second.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import count
from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt

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
    "seen_crosses",
]

_UNKNOWN: Final = 255

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
    alone = cross_distances(moves)
    step()
    distances = _piece_distances(moves)
    step()
    rows = _spread(distances, seen)
    step()
    return Tables(moves, seen, rows, alone)


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
    allowed = [t for t in range(18) if not quarter_turns_only or t % 3 != 1]
    distance = np.full(CROSSES, _UNKNOWN, dtype=np.uint8)
    found, turns = np.array([SOLVED_CROSS]), 0
    while len(found):
        distance[found] = turns
        after = moves[found][:, allowed]
        found, turns = np.unique(after[distance[after] == _UNKNOWN]), turns + 1
    return distance


def _piece_distances(moves: npt.NDArray[np.int32]) -> npt.NDArray[np.uint8]:
    """Fewest turns that solve the cross and slot 0's corner (first) or edge, (2, 190080, 24).

    The places with which a cross is found after as many turns are bits of one number, those of the
    edge above those of the corner: so all are turned at once, by looking up each part of the
    number.
    """
    turned = _turned_places()
    columns = np.ascontiguousarray(moves.T)
    distance = np.full((CROSSES, 48), _UNKNOWN, dtype=np.uint8)
    known = np.zeros(CROSSES, dtype=np.uint64)
    found = known.copy()
    found[SOLVED_CROSS] = 1 << int(SOLVED_PLACES[0]) | 1 << 24 + int(SOLVED_PLACES[4])
    turns = 0
    while found.any():
        bits = np.unpackbits(found.astype("<u8").view(np.uint8), bitorder="little")
        distance[bits.reshape(CROSSES, 64)[:, :48].view(bool)] = turns
        known |= found
        before = np.flatnonzero(found)
        parts = [
            found[before] >> np.uint64(_PART * n) & np.uint64((1 << _PART) - 1) for n in range(4)
        ]
        after = np.zeros_like(known)
        for turn in range(18):
            lookups = turned[turn]
            one = lookups[0][parts[0]]
            for n in range(1, 4):
                one |= lookups[n][parts[n]]
            after[columns[turn][before]] |= one
        found, turns = after & ~known, turns + 1
    return np.ascontiguousarray(distance.reshape(CROSSES, 2, 24).transpose(1, 0, 2))


_PART: Final = 12
"""Bits that are looked up at once."""


def _turned_places() -> npt.NDArray[np.uint64]:
    """Shape (18, 4, 4096): after each turn the bits of places, for each part of them."""
    turned = np.zeros((18, 4, 1 << _PART), dtype=np.uint64)
    part = np.arange(1 << _PART)
    for bit in range(48):
        kind, place = divmod(bit, 24)
        to = PIECE_MOVES[kind, :, place].astype(np.uint64) + np.uint64(24 * kind)
        is_in = (part >> bit % _PART & 1).astype(np.uint64)
        turned[:, bit // _PART] |= is_in << to[:, None]
    return turned


def _spread(distances: npt.NDArray[np.uint8], seen: npt.NDArray[np.int32]) -> npt.NDArray[np.uint8]:
    """The distances of slot 0's pieces as ``rows`` of all pieces."""
    rows = np.empty((CROSSES, 2, 4, 24), dtype=np.uint8)
    for piece in range(2):
        for slot in range(4):
            as_seen = distances[piece][seen[slot]]
            rows[:, piece, slot] = as_seen[:, SLOT_SYMMETRY[slot, piece]]
    return rows.reshape(CROSSES, 192)


# The distance table of cross + one pair: the exact number of turns for all 72,990,720 states.
#
# One table for slot 0 serves all slots by symmetry. Distances go to 10 and are packed two to a
# byte: 55 MB. It takes some seconds to build and makes every search several times faster. Until
# it is built, the corner and edge tables bound the search.


PAIR_STATES: Final = CROSSES * 24 * 24
"""Entries: ``(cross * 24 + corner place) * 24 + edge place``; a third are impossible."""

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
    from livecube.search.table_kernels import NOT_REACHED, grow

    # A byte holds both flips of an edge. No edge of a slot stands where a cross edge is.
    edges = np.full((CROSSES, 12), NOT_REACHED << 4 | NOT_REACHED, dtype=np.uint8)
    np.put_along_axis(edges, every_cross().T >> 1, 255, axis=1)
    table = np.repeat(edges, 24, axis=0).ravel()
    start = (SOLVED_CROSS * 24 + int(SOLVED_PLACES[0])) * 24 + int(SOLVED_PLACES[4])
    table[start >> 1] ^= NOT_REACHED << (start % 2 << 2)
    for distance in count():
        forward = distance < _FORWARD
        found = grow(table, moves, PIECE_MOVES[0], PIECE_MOVES[1], distance, forward)
        step()
        if not found:
            break
    return table
