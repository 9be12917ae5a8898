"""What a pair was done by, named from what the cross colour saw.

For a done pair, let c and e be the lines from which its corner and its edge are solved up
to offset at every later line where the cross is whole, up to the line where the pair is
done. c = e: plain (made-pair if the two were joined when the stage began). e before c:
keyhole-corner. c before e: keyhole-edge, or keyhole-flip if that edge stood flipped in its
own slot during the stage. Pairs done on the cross's line are an x-cross; two pairs done on
one line a pseudo-pair, if corner and edge came to them crosswise, or else a multislot.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.stages.frame import CrossFrame, Row

__all__ = ["joined", "pair_technique"]


def pair_technique(
    frame: CrossFrame,
    rows: Sequence[Row],
    slots: Sequence[int],
    *,
    began: int,
    done: int,
    began_position: bytes,
    with_cross: bool,
) -> str:
    """Name of the technique by which ``slots`` were done together.

    ``rows`` are the colour's rows of this solve in order; ``began`` and ``done`` the lines at
    which the stage began (the end of the one before) and ended.
    """
    if with_cross:
        return "x-cross"
    seen = [row for row in rows if row.line <= done]
    if len(slots) > 1:
        return "pseudo-pair" if _crosswise(seen, slots) else "multislot"
    slot = slots[0]
    corner, edge = _since(seen, slot, "corners"), _since(seen, slot, "edges")
    if edge < corner:
        return "keyhole-corner"
    if corner < edge:
        stood_flipped = any(row.flipped >> slot & 1 for row in seen if row.line >= began)
        return "keyhole-flip" if stood_flipped else "keyhole-edge"
    return "made-pair" if joined(frame, began_position, slot) else "plain"


def _since(rows: Sequence[Row], slot: int, what: str) -> int:
    """First line from which a piece stays solved up to offset until the last of ``rows``."""
    line = rows[-1].line
    for row in reversed(rows):
        if not getattr(row, what) >> slot & 1:
            break
        line = row.line
    return line


def _crosswise(rows: Sequence[Row], slots: Sequence[int]) -> bool:
    if len(slots) != 2:
        return False
    i, j = (_since(rows, slot, "corners") - _since(rows, slot, "edges") for slot in slots)
    return (i < 0 < j) or (j < 0 < i)


def joined(frame: CrossFrame, position: bytes, slot: int) -> bool:
    """Whether corner and edge of a slot touch outside it with both shared colours matching."""
    corner, edge = position[frame.corners[slot]], position[frame.edges[slot]]
    return (corner, edge) in frame.joined[slot]
