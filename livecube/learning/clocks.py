"""The field that is the cube's clock, and its unit."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, NamedTuple

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    from livecube.learning.bits import Bits
    from livecube.profiles.fields import Field

__all__ = ["RATES", "FoundClock", "find_clock"]

RATES: Final = (1000, 1024, 100, 10)
"""Ticks a second that are looked for, in this order: common practice. The upper bits of a clock of
32,768 are one of 1,024."""
_JITTER_S: Final = 0.15
"""A packet may arrive so much later than another after its turn."""
_LEAST_S: Final = 4.0
"""A clock that wraps sooner cannot be told from chance, and is of little use."""
_LEAST: Final = 20
_MOST_BITS: Final = 32


class FoundClock(NamedTuple):
    """A clock."""

    field: Field
    per_second: int


def find_clock(bits: Bits, host_s: npt.NDArray[np.float64]) -> FoundClock | None:
    """The field that goes as the host's time does, up to the jitter of the radio.

    Of nested ones the one whose highest bit was seen to move: what lies above may belong to
    something else, and a clock without its highest bits is right by itself.
    """
    if len(host_s) < _LEAST:
        return None
    moves = bits.table.min(axis=0) != bits.table.max(axis=0)
    for rate in RATES:
        found = [
            (width, start)
            for width in range(8, _MOST_BITS + 1)
            if (1 << width) >= _LEAST_S * rate
            for start in range(bits.size - width + 1)
            if moves[start if bits.order == "big" else start + width - 1]
            and _is_clock(bits, start, width, rate, host_s)
        ]
        if found:
            width, start = max(found)
            return FoundClock(bits.field(start, width), rate)
    return None


def _is_clock(
    bits: Bits, start: int, width: int, rate: int, host_s: npt.NDArray[np.float64]
) -> bool:
    values = bits.read(start, width)
    wrap = 1 << width
    late = (host_s * rate - values) % wrap  # how late each packet came, up to a constant
    late = (late - late[0] + wrap / 2) % wrap - wrap / 2
    # Later packets are compared with the earliest: one-sided jitter of one size.
    return bool(late.max() - late.min() <= _JITTER_S * rate + 1)
