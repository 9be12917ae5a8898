"""The shortest cross, and crosses a turn longer, from a table of all 190,080 states.

In the cross frame (cross face D). A state is the facelets of the reference stickers of DF, DL, DB
and DR, each one of the 24 edge facelets.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Final

import numpy as np

from livecube.cube.geometry import FACES, PIECE_AT, TURNS, in_order
from livecube.cube.position import SOLVED, TURN_BYTES, make_turn, turn_face

if TYPE_CHECKING:
    from livecube.cube.geometry import Array

__all__ = ["cross_distance", "cross_table", "plan_cross"]

_EDGE_FACELETS: Final = np.flatnonzero((PIECE_AT >= 8) & (PIECE_AT < 20))
_RANK: Final = {int(facelet): i for i, facelet in enumerate(_EDGE_FACELETS)}
_CROSS_EDGES: Final = range(12, 16)
_DOWN: Final = FACES.index("D")
_UNSEEN: Final = 255


@cache
def cross_table() -> Array:
    """Shape (24**4,): turns (HTM) to the cross at offset 0; 255 for impossible states."""
    moved = np.array([[_RANK[int(TURNS[t][f])] for f in _EDGE_FACELETS] for t in range(18)])
    table = np.full(24**4, _UNSEEN, dtype=np.uint8)
    frontier = np.array([_number(SOLVED.tobytes(), 0)])
    table[frontier] = 0
    for distance in range(1, 9):
        a, rest = np.divmod(frontier, 24**3)
        b, rest = np.divmod(rest, 24**2)
        c, d = np.divmod(rest, 24)
        reached = [((m[a] * 24 + m[b]) * 24 + m[c]) * 24 + m[d] for m in moved]
        fresh = np.concatenate(reached)
        fresh = fresh[table[fresh] == _UNSEEN]
        table[fresh] = distance
        frontier = np.unique(fresh)
    return table


def _relabelled(offset: int) -> list[int]:
    """For each cross edge, the edge in whose home it stands when the cross is at this offset."""
    position = SOLVED.tobytes()
    if offset:
        position = position.translate(TURN_BYTES[make_turn(_DOWN, offset)])
    return [int(PIECE_AT[position[piece]]) for piece in _CROSS_EDGES]


_OWNER: Final = [
    # For each offset, the edges in the order of the homes that they should reach.
    [_relabelled(offset).index(home) + _CROSS_EDGES.start for home in _CROSS_EDGES]
    for offset in range(4)
]


def _number(position: bytes, offset: int) -> int:
    number = 0
    for piece in _OWNER[offset]:
        number = number * 24 + _RANK[position[piece]]
    return number


def cross_distance(position: bytes, offset: int = 0) -> int:
    """Turns (HTM) to the cross at an offset."""
    return int(cross_table()[_number(position, offset)])


def plan_cross(
    position: bytes, rng: np.random.Generator, *, offset: int = 0, extra: int = 0
) -> list[int]:
    """A random cross at this offset, at most ``extra`` turns longer than the shortest."""
    start = position
    left = cross_distance(position, offset) + extra
    plan: list[int] = []
    while cross_distance(position, offset) > 0:
        options = []
        for turn in range(18):
            if plan and not in_order(turn_face(plan[-1]), turn_face(turn)):
                continue
            after = position.translate(TURN_BYTES[turn])
            if cross_distance(after, offset) < left:
                options.append((turn, after))
        if not options:  # The extra turn was wasted.
            return plan_cross(start, rng, offset=offset)
        turn, position = options[int(rng.integers(len(options)))]
        plan.append(turn)
        left -= 1
    return plan
