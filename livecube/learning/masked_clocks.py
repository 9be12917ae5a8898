"""The field that is the cube's clock if some of its bits are inverted, as by a mask.

The slow bits come first: of two values that they may have, only one goes on as the host's time
does. Each faster bit tells by how much packets are late by the slower bits alone. Bits that the
radio's jitter hides are left out, and the clock is as much coarser.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from livecube.learning.clocks import LEAST, RATES, FoundClock, allowed, around, spread, start_of

if TYPE_CHECKING:
    from collections.abc import Collection

    import numpy.typing as npt

    from livecube.learning.bits import Bits, Ints

__all__ = ["find_masked_clock"]

_SLOW_S: Final = 0.2
"""Bits worth more than this are slow."""
_LEAST_S: Final = 4.0
_LEAST_BITS: Final = 8
_MOST_BITS: Final = 32
_SURE: Final = 4.0
"""A fast bit is believed if its effect is so many times its standard error."""
_SHOWN_S: Final = 0.03
"""The effect of a bit worth more than this is always seen."""


def find_masked_clock(
    bits: Bits, host_s: npt.NDArray[np.float64], taken: Collection[int] = (), grain: int = 8
) -> FoundClock | None:
    """The clock whose lowest bit is aligned to ``grain`` bits and whose rate is the commonest.

    ``host_s`` (packets,), ``taken``: bits that belong to other fields.
    """
    if len(host_s) < LEAST:
        return None
    moves = bits.table.min(axis=0) != bits.table.max(axis=0)
    moves[[bit for bit in taken if bit < bits.size]] = False
    for rate in RATES:
        for edge in range(0, bits.size, grain):
            low = edge if bits.order == "little" else bits.size - edge - 1
            found = _from_low(bits, host_s, rate, low, moves)
            if found is not None:
                return found
    return None


def _from_low(
    bits: Bits,
    host_s: npt.NDArray[np.float64],
    rate: int,
    low: int,
    moves: npt.NDArray[np.bool_],
) -> FoundClock | None:
    """The clock of this rate with this lowest bit, without the bits that jitter hides."""
    up = range(low, bits.size) if bits.order == "little" else range(low + 1)[::-1]
    places = up[:_MOST_BITS]
    still = next((k for k, place in enumerate(places) if not moves[place]), len(places))
    columns: Ints = bits.table[:, list(places[:still])]
    fast = max(0, int(np.ceil(np.log2(_SLOW_S * rate))))
    if columns.shape[1] < _LEAST_BITS:
        return None
    slow = _slow(columns[:, fast:], host_s, rate / (1 << fast))
    if slow is None:
        return None
    mask, width = slow
    values = _number(columns[:, fast : fast + width], mask) << fast
    mask <<= fast
    width += fast
    hidden = 0
    for k in reversed(range(fast)):
        effect, error = _effect(columns[:, k], values, host_s, rate, 1 << width)
        if abs(effect) < _SURE * error or not 0.5 < abs(effect) / (1 << k) < 1.5:
            if (1 << k) / rate > _SHOWN_S:
                return None
            hidden = k + 1
            break
        inverted = effect < 0
        mask |= inverted << k
        values += (columns[:, k] ^ inverted) << k
    width, per_second = width - hidden, rate >> hidden
    if width < _LEAST_BITS or (1 << width) / per_second < _LEAST_S or rate % (1 << hidden):
        return None
    start = start_of(bits, places[hidden], width)
    return FoundClock(bits.field(start, width), per_second, None, mask >> hidden, hidden)


def _number(columns: Ints, mask: int) -> Ints:
    """The numbers whose lowest bits come first, shape (packets,)."""
    values: Ints = columns @ (1 << np.arange(columns.shape[1], dtype=np.int64))
    return values ^ mask


def _slow(columns: Ints, host_s: npt.NDArray[np.float64], rate: float) -> tuple[int, int] | None:
    """Mask and number of the bits that go on as the host's time does; the highest is not masked."""
    mask, width = 0, 1
    while width < columns.shape[1]:
        fitting = [
            masked
            for masked in (mask, mask | 1 << (width - 1))
            if _goes_on(_number(columns[:, : width + 1], masked), host_s, rate, width + 1)
        ]
        if len(fitting) != 1:
            break
        mask, width = fitting[0], width + 1
    return (mask, width) if width >= 4 else None


def _goes_on(values: Ints, host_s: npt.NDArray[np.float64], rate: float, width: int) -> bool:
    return bool(spread(values[None, :], host_s, rate, 1 << width)[0] <= allowed(host_s, rate))


def _effect(
    column: Ints, values: Ints, host_s: npt.NDArray[np.float64], rate: int, wrap: int
) -> tuple[float, float]:
    """By how many ticks packets with this bit are later than those without, and its error.

    Both clocks may drift; a straight line through the lateness is taken away.
    """
    late = (host_s * rate - values) % wrap
    late = around(late, np.median(late), wrap)
    usual = np.abs(late - np.median(late)) <= np.quantile(np.abs(late - np.median(late)), 0.96)
    known = np.stack([column[usual], host_s[usual] - host_s[0], np.ones(usual.sum())], axis=1)
    if column[usual].min() == column[usual].max():
        return 0.0, 1.0
    fitted, *_ = np.linalg.lstsq(known, late[usual], rcond=None)
    rest = late[usual] - known @ fitted
    effect, *_ = fitted
    variance, *_ = np.linalg.inv(known.T @ known).diagonal()
    return float(effect), float(np.sqrt(rest.var() * variance))
