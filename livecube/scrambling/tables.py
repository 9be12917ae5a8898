"""Tables of the two-phase search: the effect of turns, and the fewest turns that are needed.

4 MB in all, built in about a second by breadth-first search.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from numba import njit

from livecube.cube.position import SOLVED
from livecube.scrambling.coordinates import (
    CORNER_ORDERS,
    EDGE_ORDERS,
    FLIPS,
    MIDDLE_ORDERS,
    MIDDLE_SETS,
    TWISTS,
    coordinates_of,
    move_tables,
)

__all__ = ["SHAPES", "PhaseTables", "build_phase_tables"]

_UNKNOWN: Final = 255

SHAPES: Final[dict[str, tuple[int, ...]]] = {
    "twist": (TWISTS, 18),
    "flip": (FLIPS, 18),
    "middle_set": (MIDDLE_SETS, 18),
    "corner_order": (CORNER_ORDERS, 10),
    "edge_order": (EDGE_ORDERS, 10),
    "middle_order": (MIDDLE_ORDERS, 10),
    "twist_needs": (TWISTS, MIDDLE_SETS),
    "flip_needs": (FLIPS, MIDDLE_SETS),
    "corner_needs": (CORNER_ORDERS, MIDDLE_ORDERS),
    "edge_needs": (EDGE_ORDERS, MIDDLE_ORDERS),
}


@dataclass(frozen=True, slots=True)
class PhaseTables:
    """The tables of the search; shapes as in :data:`SHAPES`.

    The first six give a coordinate after each turn. The last four give the fewest turns that end
    the phase for two coordinates, of which the second is that of the middle edges.
    """

    twist: npt.NDArray[np.uint16]
    flip: npt.NDArray[np.uint16]
    middle_set: npt.NDArray[np.uint16]
    corner_order: npt.NDArray[np.uint16]
    edge_order: npt.NDArray[np.uint16]
    middle_order: npt.NDArray[np.uint16]
    twist_needs: npt.NDArray[np.uint8]
    flip_needs: npt.NDArray[np.uint8]
    corner_needs: npt.NDArray[np.uint8]
    edge_needs: npt.NDArray[np.uint8]


def build_phase_tables() -> PhaseTables:
    """Build all tables."""
    moves = move_tables()
    twist, flip, middle, corners, edges, order = coordinates_of(SOLVED).tolist()
    return PhaseTables(
        **moves,
        twist_needs=_needs(moves["twist"], moves["middle_set"], twist, middle),
        flip_needs=_needs(moves["flip"], moves["middle_set"], flip, middle),
        corner_needs=_needs(moves["corner_order"], moves["middle_order"], corners, order),
        edge_needs=_needs(moves["edge_order"], moves["middle_order"], edges, order),
    )


@njit(cache=True)
def _needs(moves, middle_moves, solved, middle_solved):  # type: ignore[no-untyped-def]
    """Fewest turns from each pair of coordinates to the solved one, by breadth-first search."""
    many, middles = len(moves), len(middle_moves)
    needs = np.full((many, middles), _UNKNOWN, dtype=np.uint8)
    queue = np.empty(many * middles, dtype=np.int32)
    needs[solved, middle_solved] = 0
    queue[0] = solved * middles + middle_solved
    read, written = 0, 1
    while read < written:
        one, middle = divmod(queue[read], middles)
        read += 1
        for turn in range(moves.shape[1]):
            other, other_middle = moves[one, turn], middle_moves[middle, turn]
            if needs[other, other_middle] == _UNKNOWN:
                needs[other, other_middle] = needs[one, middle] + 1
                queue[written] = other * middles + other_middle
                written += 1
    return needs
