"""The field that is the cube's clock, and its unit."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Collection

    import numpy.typing as npt

    from livecube.learning.bits import Bits, Ints
    from livecube.profiles.fields import Field

__all__ = ["RATES", "FoundClock", "find_clock"]

RATES: Final = (
    1000, 1024, 100, 10, 500, 512, 250, 256, 200, 50, 128, 64, 125, 2000, 2048, 400, 800, 20, 25,
    40, 60, 120, 32, 16, 8192, 4096, 32768, 16384, 1600, 3200, 10000, 100000, 1000000,
)  # fmt: skip
"""Ticks a second that are looked for, in this order: common practice. A rate must be known
exactly, since that of a recording is only known to one part in some thousand."""
_JITTER_S: Final = 0.15
"""A packet may arrive so much later than another after its turn."""
_DRIFT: Final = 1e-4
_MOST_DRIFT_S: Final = 0.1
"""And by so much for each second, as two clocks go apart, but by no more than this."""
_LATE: Final = 0.04
"""Part of the packets that may come later still."""
_TURNED_S: Final = 0.03
"""What bits are worth that the jitter of the radio does not hide."""
_TURNED_LEAST: Final = 12
_LEAST_S: Final = 4.0
"""A clock that wraps sooner cannot be told from chance, and is of little use."""
_LEAST: Final = 20
_LEAST_BITS: Final = 8
_MOST_BITS: Final = 32


class FoundClock(NamedTuple):
    """A clock."""

    field: Field
    per_second: int


def find_clock(
    bits: Bits, host_s: npt.NDArray[np.float64], taken: Collection[int] = (), grain: int = 8
) -> FoundClock | None:
    """The field that goes as the host's time does, up to the jitter of the radio.

    Of nested ones the one whose highest bit was seen to move: what lies above may belong to
    something else, and a clock without its highest bits is right by itself. The lowest bits go too
    fast for the radio. Of clocks with other lowest bits the one counts that begins where fields of
    this packet begin (``grain``: at whole bytes, or at every fourth or every bit), then the one of
    the commonest unit. ``taken``: bits that belong to something else.
    """
    if len(host_s) < _LEAST:
        return None
    free = np.ones(bits.size, dtype=bool)
    free[list(taken)] = False
    found = []
    for rank, rate in enumerate(RATES):
        for low in _lowest(bits, host_s, rate, free):
            edge = low if bits.order == "little" else bits.size - low - 1
            found.append((edge % grain != 0, rank, rate, low))
    if not found:
        return None
    _, _, rate, low = min(found)
    for _, _, other, lower in sorted(found, key=lambda one: one[1]):
        if other > rate and _goes_on(bits, host_s, (rate, low), (other, lower)):
            rate, low = other, lower
            break
    return FoundClock(_widest(bits, host_s, rate, low, free), rate)


def _goes_on(
    bits: Bits, host_s: npt.NDArray[np.float64], slow: tuple[int, int], fast: tuple[int, int]
) -> bool:
    """Whether the bits below a slow clock make it a faster one, as far as jitter lets it be seen.

    Packets then are the later for the slow clock the more these bits stand for.
    """
    (rate, low), (other, lower) = slow, fast
    more = low - lower if bits.order == "little" else lower - low
    if 1 / rate < _TURNED_S / 2 or more <= 0 or other != rate << more:
        return False
    below = bits.read(_start(bits, lower, more), more) / other
    width = max(_LEAST_BITS, int(np.ceil(np.log2(_LEAST_S * rate))))
    wrap = 1 << width
    late = (host_s * rate - bits.read(_start(bits, low, width), width)) % wrap
    late = ((late - late[0] + wrap / 2) % wrap) / rate
    usual = late <= np.quantile(late, 1 - _LATE)
    covariance = np.cov(late[usual], below[usual])
    return bool(covariance[0, 1] > covariance[1, 1] / 2)


def _start(bits: Bits, low: int, width: int) -> int:
    """Where a field with this lowest bit begins."""
    return low if bits.order == "little" else low - width + 1


def _lowest(
    bits: Bits, host_s: npt.NDArray[np.float64], rate: int, free: npt.NDArray[np.bool_]
) -> list[int]:
    """The lowest bits of fields that are just wide enough to be a clock at this rate, and are."""
    width = max(_LEAST_BITS, int(np.ceil(np.log2(_LEAST_S * rate))))
    if width > min(_MOST_BITS, bits.size):
        return []
    lows = np.arange(bits.size)
    starts = lows if bits.order == "little" else lows - width + 1
    lows = lows[(starts >= 0) & (starts + width <= bits.size)]
    lows = np.array([low for low in lows.tolist() if _is_free(bits, low, width, free)])
    if not len(lows):
        return []
    some = np.linspace(0, len(host_s) - 1, min(len(host_s), 24)).astype(np.int64)
    values = np.array([bits.read(_start(bits, low, width), width)[some] for low in lows.tolist()])
    fits = _spread(values, host_s[some], rate, width) <= _allowed(host_s, rate)
    return [low for low in lows[fits].tolist() if _is_clock(bits, host_s, rate, low, width)]


def _is_free(bits: Bits, low: int, width: int, free: npt.NDArray[np.bool_]) -> bool:
    start = _start(bits, low, width)
    return bool(free[start : start + width].all())


def _widest(
    bits: Bits,
    host_s: npt.NDArray[np.float64],
    rate: int,
    low: int,
    free: npt.NDArray[np.bool_],
) -> Field:
    """The widest clock with a lowest bit whose highest bit moves."""
    moves = bits.table.min(axis=0) != bits.table.max(axis=0)
    width = max(_LEAST_BITS, int(np.ceil(np.log2(_LEAST_S * rate))))
    for wider in range(width + 1, _MOST_BITS + 1):
        start = _start(bits, low, wider)
        if start < 0 or start + wider > bits.size or not _is_free(bits, low, wider, free):
            break
        top = start if bits.order == "big" else start + wider - 1
        if not moves[top]:
            continue
        if not _is_clock(bits, host_s, rate, low, wider):
            break
        width = wider
    return bits.field(_start(bits, low, width), width)


def _is_clock(bits: Bits, host_s: npt.NDArray[np.float64], rate: int, low: int, width: int) -> bool:
    values = bits.read(_start(bits, low, width), width)
    if _spread(values[None, :], host_s, rate, width)[0] > _allowed(host_s, rate):
        return False
    return not _has_turned_bit(values, host_s, rate, width)


def _has_turned_bit(values: Ints, host_s: npt.NDArray[np.float64], rate: int, width: int) -> bool:
    """Whether packets are later with a bit that is set than without it, by what the bit is worth.

    So it is with a bit that stands for its opposite, or belongs to something else.
    """
    wrap = 1 << width
    late = (host_s * rate - values) % wrap
    late = (late - late[0] + wrap / 2) % wrap
    for bit in range(width):
        worth, is_set = 1 << bit, (values >> bit & 1).astype(bool)
        if worth > _TURNED_S * rate and _TURNED_LEAST < is_set.sum() < len(values) - _TURNED_LEAST:
            if abs(np.median(late[~is_set]) - np.median(late[is_set])) > worth / 2:
                return True
            if worth > _JITTER_S * rate:
                break
    return False


def _allowed(host_s: npt.NDArray[np.float64], rate: int) -> float:
    drift = min(_MOST_DRIFT_S, _DRIFT * float(host_s.max() - host_s.min()))
    return (_JITTER_S + drift) * rate + 1


def _spread(
    values: Ints, host_s: npt.NDArray[np.float64], rate: int, width: int
) -> npt.NDArray[np.float64]:
    """How many ticks the packets of each row lie apart in lateness, but for a few late ones."""
    wrap = 1 << width
    late = (host_s * rate - values) % wrap  # how late each packet came, up to a constant
    late = np.sort((late - late[:, :1] + wrap / 2) % wrap, axis=1)
    some = int(len(host_s) * _LATE)
    last = late.shape[1] - 1 - some
    spreads = [late[:, last + drop] - late[:, drop] for drop in range(some + 1)]
    return np.asarray(np.min(spreads, axis=0))
