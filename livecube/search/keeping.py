"""What a sequence leaves as it was: upper-layer pieces and made pairs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from livecube.cube.pieces import PIECE_AT, piece_faces
from livecube.cube.position import TURN_BYTES
from livecube.search.coordinates import SLOT_PIECES
from livecube.search.situation import JOINED

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from livecube.search.situation import Situation

__all__ = ["kept"]

_UPPER: Final = frozenset(
    f for f in range(54) if PIECE_AT[f] != 255 and 0 in piece_faces(int(PIECE_AT[f]))
)
"""Facelets of the upper layer."""
_UPPER_TURNS: Final = (bytes(range(54)), *TURN_BYTES[:3])


def kept(situation: Situation, turns: Sequence[int], targets: Collection[int]) -> tuple[int, int]:
    """How many upper-layer pieces, and how many made pairs, a sequence keeps.

    ``targets``: the slots that it fills; their pieces do not count. A piece is kept if it stands
    as before, up to the turn of the upper layer that fits most; a pair, if it is joined before
    and after.
    """
    before = bytes(situation.position.tolist())
    after = before
    for turn in turns:
        after = after.translate(TURN_BYTES[turn])
    ours = {piece for slot in targets for piece in (SLOT_PIECES[slot], SLOT_PIECES[slot + 4])}
    counted = [p for p in range(20) if before[p] in _UPPER and p not in ours]
    top = max(
        sum(table[after[piece]] == before[piece] for piece in counted) for table in _UPPER_TURNS
    )
    pairs = 0
    for slot in range(4):
        corner, edge = SLOT_PIECES[slot], SLOT_PIECES[slot + 4]
        if slot not in targets and (before[corner], before[edge]) in JOINED[slot]:
            pairs += (after[corner], after[edge]) in JOINED[slot]
    return top, pairs
