"""The field that counts turns."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from livecube.learning.bits import Bits, Ints
    from livecube.profiles.fields import Field

__all__ = ["find_counter"]

_LEAST_BITS: Final = 4
"""A narrower counter cannot be told from chance, and would be of little use."""
_MOST_BITS: Final = 16
_LEAST: Final = 20
"""Packets that must agree."""


def find_counter(bits: Bits, made: Ints) -> Field | None:
    """The widest field that goes up by one with each turn.

    ``made``: how many turns had been made when each packet was sent. Only bits that were seen
    to move count: those above them may belong to something else, and the bits that moved are
    a right counter by themselves.
    """
    if len(made) < _LEAST:
        return None
    best: Field | None = None
    odd = (bits.table ^ (made & 1)[:, None]).T
    lowest = [at for at in range(bits.size) if odd[at].min() == odd[at].max()]
    for width in range(_LEAST_BITS, min(_MOST_BITS, bits.size) + 1):
        for at in lowest:
            start = at if bits.order == "little" else at - width + 1
            if start < 0 or start + width > bits.size:
                continue
            values = bits.read(start, width)
            top = values >> (width - 1)
            if top.min() == top.max():
                continue
            ahead = (values - made) % (1 << width)
            if (ahead == ahead[0]).all() and (best is None or best.bits < width):
                best = bits.field(start, width)
    return best
