"""What a sequence leaves as it was: upper-layer pieces and made pairs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt
from numba import njit

from livecube.cube.geometry import TURNS
from livecube.cube.pieces import PIECE_AT, piece_faces
from livecube.search.coordinates import SLOT_PIECES
from livecube.search.situation import JOINED

if TYPE_CHECKING:
    from livecube.search.situation import Situation
    from livecube.search.task import Found

__all__ = ["kept"]

_UPPER: Final = np.array(
    [PIECE_AT[f] != 255 and 0 in piece_faces(int(PIECE_AT[f])) for f in range(54)]
)
"""Shape (54,): whether a facelet belongs to the upper layer."""


_SLOT_PIECES: Final = np.array(SLOT_PIECES)


def kept(
    situation: Situation, found: Found, targets: npt.NDArray[np.int64]
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """For each sequence how many upper-layer pieces and how many made pairs it keeps.

    ``targets``: the slots that each task fills, as bits; their pieces do not count. A piece is
    kept if it stands as before, up to the turn of the upper layer that fits most; a pair, if it
    is joined before and after.
    """
    top = np.empty(len(found.lengths), dtype=np.int64)
    pairs = np.empty(len(found.lengths), dtype=np.int64)
    _kept(
        situation.position, found.turns, found.lengths, found.tasks, targets,
        TURNS, _UPPER, JOINED, _SLOT_PIECES, top, pairs,
    )  # fmt: skip
    return top, pairs


@njit(cache=True, nogil=True)
def _kept(  # type: ignore[no-untyped-def]
    position, turns, lengths, tasks, masks, turn_table, upper, joined, slot_pieces, top, pairs
):
    after = np.empty(20, dtype=np.uint8)
    counted = np.empty(20, dtype=np.bool_)
    for n in range(lengths.shape[0]):
        mask = masks[tasks[n]]
        for piece in range(20):
            after[piece] = position[piece]
        for i in range(lengths[n]):
            for piece in range(20):
                after[piece] = turn_table[turns[n, i], after[piece]]
        for piece in range(20):
            counted[piece] = upper[position[piece]]
        pairs[n] = 0
        for slot in range(4):
            corner, edge = slot_pieces[slot], slot_pieces[slot + 4]
            if mask >> slot & 1:
                counted[corner] = False
                counted[edge] = False
            elif joined[slot, position[corner], position[edge]]:
                pairs[n] += joined[slot, after[corner], after[edge]]
        top[n] = 0
        for quarters in range(4):
            same = 0
            for piece in range(20):
                if counted[piece]:
                    place = after[piece]
                    if quarters > 0:
                        place = turn_table[quarters - 1, place]
                    same += place == position[piece]
            top[n] = max(top[n], same)
