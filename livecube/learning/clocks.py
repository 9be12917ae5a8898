"""The field that is the cube's clock, and its unit."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Any, Final, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Collection

    import numpy.typing as npt

    from livecube.learning.bits import Bits, Ints
    from livecube.profiles.fields import Field

__all__ = [
    "LEAST",
    "RATES",
    "FoundClock",
    "allowed",
    "around",
    "find_clock",
    "find_wrapped_clock",
    "spread",
    "start_of",
]

RATES: Final = (
    1000, 1024, 100, 10, 500, 512, 250, 256, 200, 50, 128, 64, 125, 2000, 2048, 400, 800, 20, 25,
    40, 60, 120, 32, 16, 8192, 4096, 32768, 16384, 1600, 3200, 10000, 100000, 1000000,
)  # fmt: skip
"""Ticks a second, in the order of the search: common practice, no published source. A rate must be
known exactly, and a recording shows it only to one part in some thousand."""
_JITTER_S: Final = 0.15
"""Most difference between the delays of two packets after their turns."""
_DRIFT: Final = 1e-4
_MOST_DRIFT_S: Final = 0.1
"""Two clocks drift by ``_DRIFT`` seconds a second, but by no more than this in all."""
_WRAP_DRIFT: Final = 2.5 * _DRIFT
"""More drift shows that the clock starts again after another number of ticks."""
_LATE: Final = 0.04
"""Share of the packets that may come even later."""
_TURNED_S: Final = 0.03
"""Bits worth less than this are not checked one by one: the radio's jitter hides them."""
_TURNED_LEAST: Final = 12
_LEAST_S: Final = 4.0
"""A clock that wraps sooner could be chance, and is of little use."""
_LONG_S: Final = 60.0
"""Shorter clocks take every bit that fits: a pause is longer than they are."""
LEAST: Final = 20
_RESTLESS: Final = 0.1
"""A clock's lowest bit changes in this share of the packets, unless it never does."""
_LEAST_BITS: Final = 8
_MOST_BITS: Final = 32
_ROUND_S: Final = (10, 20, 30, 60, 120, 180, 240, 300, 600, 900)
_ROUND: Final = tuple(digit * 10**zeros for zeros in range(2, 7) for digit in range(1, 10))
"""A clock that starts again sooner than its bits do it at a round number of seconds or ticks:
an assumption. A recording shows the number only to one part in some thousand."""


class FoundClock(NamedTuple):
    """A clock."""

    field: Field
    per_second: int
    wrap: int | None = None
    """It starts again after this many ticks; None: after all values of its bits."""
    mask: int = 0
    """Combined with the field by exclusive or."""
    hidden: int = 0
    """Number of lower bits that are left out, since jitter hides whether they are masked."""
    finer: tuple[FoundClock, ...] = ()
    """Clocks that also have the bits below, which jitter hides; the commonest rate first."""
    still: bool = False
    """Whether its lowest bit seldom or never changes: it may belong to another field."""


def find_clock(
    bits: Bits, host_s: npt.NDArray[np.float64], taken: Collection[int] = (), grain: int = 8
) -> FoundClock | None:
    """The field that advances as the host's time does, up to the jitter of the radio.

    ``host_s`` (packets,). The highest bit is the highest one that was seen to change: the bits
    above it may belong to another field, and a clock without its highest bits is still a clock.
    The lowest bits change too fast to be checked over the radio. Among clocks with different lowest
    bits, those come last whose lowest bit changes, but seldom; then those come first that are
    aligned as other fields of the packet are (``grain``: to 8, 4 or 1 bits), then the commonest
    rate. ``taken``: bits that belong to other fields.
    """
    if len(host_s) < LEAST:
        return None
    free = np.ones(bits.size, dtype=bool)
    free[list(taken)] = False
    found = []
    few = _Few.of(bits, host_s)
    for rank, rate in enumerate(RATES):
        for low in _lowest(bits, host_s, rate, free, few):
            edge = low if bits.order == "little" else bits.size - low - 1
            seldom = _is_still(bits, low) and _changes(bits, low) > 0
            found.append((seldom, edge % grain != 0, rank, rate, low))
    if not found:
        return None
    *_, rate, low = min(found)
    by_rank = [(rate, low) for *_, rate, low in sorted(found, key=lambda one: one[2])]
    for fast in by_rank:
        if _goes_on(bits, host_s, (rate, low), fast):
            rate, low = fast
            break
    finer = tuple(
        FoundClock(_widest(bits, host_s, other, lower, free), other)
        for other, lower in by_rank
        if _may_go_on(bits, (rate, low), (other, lower))
    )
    field = _widest(bits, host_s, rate, low, free)
    return FoundClock(field, rate, finer=finer, still=_is_still(bits, low))


def _least_width(rate: int) -> int:
    """The bits of the shortest clock of a rate."""
    return max(_LEAST_BITS, int(np.ceil(np.log2(_LEAST_S * rate))))


def _is_still(bits: Bits, low: int) -> bool:
    """Whether a bit changes in few packets, or in none."""
    return _changes(bits, low) < _RESTLESS


def _changes(bits: Bits, low: int) -> float:
    """The share of the packets in which a bit differs from the packet before."""
    column = bits.table[:, low]
    return float((column[1:] != column[:-1]).mean())


def _is_once(bits: Bits, at: int) -> bool:
    """Whether a bit changes just once."""
    column = bits.table[:, at]
    return int((column[1:] != column[:-1]).sum()) == 1


def _goes_on(
    bits: Bits, host_s: npt.NDArray[np.float64], slow: tuple[int, int], fast: tuple[int, int]
) -> bool:
    """Whether the bits below a slow clock continue it to a faster one, as far as jitter shows.

    If so, packets are later by the slow clock by as much time as these bits stand for.
    """
    (rate, low), (other, lower) = slow, fast
    more = _bits_below(bits, slow, fast)
    if 1 / rate < _TURNED_S / 2 or not more:
        return False
    below = bits.read(start_of(bits, lower, more), more) / other
    width = _least_width(rate)
    wrap = 1 << width
    late = _late(bits.read(start_of(bits, low, width), width), host_s, rate, wrap) / rate
    usual = late <= np.quantile(late, 1 - _LATE)
    covariance = np.cov(late[usual], below[usual])
    return bool(covariance[0, 1] > covariance[1, 1] / 2)


def _bits_below(bits: Bits, slow: tuple[int, int], fast: tuple[int, int]) -> int:
    """How many bits below the slow clock make it the fast one; 0: none do."""
    (rate, low), (other, lower) = slow, fast
    more = low - lower if bits.order == "little" else lower - low
    return more if more > 0 and other == rate << more else 0


def _may_go_on(bits: Bits, slow: tuple[int, int], fast: tuple[int, int]) -> bool:
    """Whether all bits below the slow clock that make it the fast one change."""
    more = _bits_below(bits, slow, fast)
    start = start_of(bits, fast[1], more)
    below = bits.table[:, start : start + more]
    return more > 0 and bool((below.min(axis=0) != below.max(axis=0)).all())


def start_of(bits: Bits, low: int, width: int) -> int:
    """The start of a field with this lowest bit."""
    return low if bits.order == "little" else low - width + 1


class _Few:
    """Some of the packets, to exclude most fields quickly.

    Many candidates have the same packets, so what was found out is kept with their bits.
    """

    def __init__(self, bits: Bits, host_s: npt.NDArray[np.float64]) -> None:
        self._all_s = host_s
        some = np.linspace(0, len(host_s) - 1, min(len(host_s), 24)).astype(np.int64)
        self._host_s = host_s[some]
        self._table, self._order = bits.table[some], bits.order
        self._values: dict[int, Ints] = {}
        self._starts: dict[int, list[int]] = {}

    @classmethod
    def of(cls, bits: Bits, host_s: npt.NDArray[np.float64]) -> _Few:
        """Those of packets that came at these times."""
        kept = bits.few
        if not isinstance(kept, cls) or kept._all_s is not host_s:
            kept = bits.few = cls(bits, host_s)
        return kept

    def starts(self, rate: int) -> list[int]:
        """The start of each field of the least width that may be a clock of this rate."""
        if (kept := self._starts.get(rate)) is None:
            width = _least_width(rate)
            spreads = spread(self._of_width(width), self._host_s, rate, 1 << width)
            fitting = np.flatnonzero(spreads <= allowed(self._all_s, rate))
            kept = self._starts[rate] = fitting.tolist()
        return kept

    def _of_width(self, width: int) -> Ints:
        """The numbers in all fields of a width, shape (starts, packets)."""
        if (kept := self._values.get(width)) is None:
            powers = 1 << np.arange(width, dtype=np.int64)
            windows = np.lib.stride_tricks.sliding_window_view(self._table, width, axis=1)
            kept = (windows @ (powers if self._order == "little" else powers[::-1])).T
            self._values[width] = kept
        return kept


def _lowest(
    bits: Bits,
    host_s: npt.NDArray[np.float64],
    rate: int,
    free: npt.NDArray[np.bool_],
    few: _Few,
) -> list[int]:
    """The lowest bits of all clocks of this rate that have the least width allowed."""
    width = _least_width(rate)
    if width > min(_MOST_BITS, bits.size):
        return []
    starts = [start for start in few.starts(rate) if free[start : start + width].all()]
    lows = starts if bits.order == "little" else [start + width - 1 for start in starts]
    return [low for low in lows if _is_clock(bits, host_s, rate, low, width)]


def find_wrapped_clock(
    bits: Bits, host_s: npt.NDArray[np.float64], taken: Collection[int] = (), grain: int = 8
) -> FoundClock | None:
    """The clock that was seen to start again at a round number below what its bits can count.

    Arguments as in :func:`find_clock`; its lowest bit is aligned to ``grain``.
    """
    if len(host_s) < LEAST:
        return None
    free = np.ones(bits.size, dtype=bool)
    free[list(taken)] = False
    moves = bits.table.min(axis=0) != bits.table.max(axis=0)
    lows = [e if bits.order == "little" else bits.size - e - 1 for e in range(0, bits.size, grain)]
    seconds = host_s.max() - host_s.min()
    few = slice(None, None, max(1, len(host_s) // 24))

    @cache
    def fields(width: int) -> tuple[list[int], Ints, Ints, int]:
        """Fields of a width that may be the clock: starts, numbers, greatest ones, least of all."""
        starts = [start_of(bits, low, width) for low in lows]
        inside = [
            s
            for s in starts
            if 0 <= s <= bits.size - width
            and free[s : s + width].all()
            and moves[s : s + width].any()
        ]
        rows = [bits.read(start, width) for start in inside]
        numbers = np.array(rows, dtype=np.int64).reshape(len(rows), len(host_s))
        most = numbers.max(axis=1)
        return inside, numbers, most, int(most.min(initial=1 << width))

    for rate in RATES:
        within = allowed(host_s, rate)
        for wrap in sorted({*_ROUND, *(rate * s for s in _ROUND_S)}):
            if not _LEAST_S * rate <= wrap <= seconds * rate:
                continue
            starts, numbers, most, least = fields(wrap.bit_length())
            if least >= wrap:
                continue
            rows = np.flatnonzero(most < wrap)
            fits = spread(numbers[rows, few], host_s[few], rate, wrap) <= within
            for row in rows[fits].tolist():
                if _goes_round(numbers[row], host_s, rate, wrap):
                    return FoundClock(bits.field(starts[row], wrap.bit_length()), rate, wrap)
    return None


def _goes_round(values: Ints, host_s: npt.NDArray[np.float64], rate: int, wrap: int) -> bool:
    """Whether the values advance as the host's time does, and start again at ``wrap``."""
    return bool(
        (spread(values[None, :], host_s, rate, wrap) <= allowed(host_s, rate)).all()
        and not _has_turned_bit(values, host_s, rate, wrap)
        and abs(_drift(values, host_s, rate, wrap)) <= _WRAP_DRIFT
    )


def _drift(values: Ints, host_s: npt.NDArray[np.float64], rate: int, wrap: int) -> float:
    """Seconds a second by which packets come later and later."""
    late = (host_s * rate - values) % wrap
    late = around(late, np.median(late), wrap) / rate
    usual = abs(late - np.median(late)) <= _JITTER_S
    slope, _ = np.polyfit(host_s[usual] - host_s[0], late[usual], 1)
    return float(slope)


def _is_free(bits: Bits, low: int, width: int, free: npt.NDArray[np.bool_]) -> bool:
    start = start_of(bits, low, width)
    return bool(free[start : start + width].all())


def _widest(
    bits: Bits,
    host_s: npt.NDArray[np.float64],
    rate: int,
    low: int,
    free: npt.NDArray[np.bool_],
) -> Field:
    """The widest clock with this lowest bit whose highest bit changes.

    A bit that changed just once may be another field's, which happened to change as the clock
    started again; without it the clock is a clock, too, if it is long enough.
    """
    moves = bits.table.min(axis=0) != bits.table.max(axis=0)
    width = _least_width(rate)
    for wider in range(width + 1, _MOST_BITS + 1):
        start = start_of(bits, low, wider)
        if start < 0 or start + wider > bits.size or not _is_free(bits, low, wider, free):
            break
        top = start if bits.order == "big" else start + wider - 1
        if not moves[top] or (_is_once(bits, top) and 1 << width >= _LONG_S * rate):
            continue
        if not _is_clock(bits, host_s, rate, low, wider):
            break
        width = wider
    return bits.field(start_of(bits, low, width), width)


def _is_clock(bits: Bits, host_s: npt.NDArray[np.float64], rate: int, low: int, width: int) -> bool:
    values = bits.read(start_of(bits, low, width), width)
    if spread(values[None, :], host_s, rate, 1 << width)[0] > allowed(host_s, rate):
        return False
    return not _has_turned_bit(values, host_s, rate, 1 << width)


def _has_turned_bit(values: Ints, host_s: npt.NDArray[np.float64], rate: int, wrap: int) -> bool:
    """Whether some bit, set or not, changes how late packets are, by about the bit's worth.

    Such a bit is inverted, or belongs to another field.
    """
    late = _late(values, host_s, rate, wrap)
    for bit in range(wrap.bit_length()):
        worth, is_set = 1 << bit, (values >> bit & 1).astype(bool)
        if worth > _TURNED_S * rate and _TURNED_LEAST < is_set.sum() < len(values) - _TURNED_LEAST:
            if abs(_median(late[~is_set]) - _median(late[is_set])) > worth / 2:
                return True
            if worth > _JITTER_S * rate:
                break
    return False


def _median(values: npt.NDArray[np.float64]) -> float:
    """The median, in a fifth of the time that numpy's takes for a few hundred numbers."""
    in_order = np.sort(values)
    half = len(in_order) // 2
    return float(in_order[half] + in_order[-1 - half]) / 2


def _late(
    values: Ints, host_s: npt.NDArray[np.float64], rate: int, wrap: int
) -> npt.NDArray[np.float64]:
    """How late packets are, in ticks; the first one by half a wrap."""
    late = _wrapped(host_s * rate - values, wrap)
    return around(late, late[0], wrap)


def allowed(host_s: npt.NDArray[np.float64], rate: float) -> float:
    """The range of lateness, in ticks, that jitter and drift may cause."""
    drift = min(_MOST_DRIFT_S, _DRIFT * float(host_s.max() - host_s.min()))
    return (_JITTER_S + drift) * rate + 1


def around(
    late: npt.NDArray[np.float64], middle: npt.NDArray[np.float64] | np.floating[Any], wrap: int
) -> npt.NDArray[np.float64]:
    """Times on a clock that wraps, counted from half a wrap before ``middle``."""
    return _wrapped(late - middle + wrap / 2, wrap)


def _wrapped(ticks: npt.NDArray[np.float64], wrap: int) -> npt.NDArray[np.float64]:
    """Ticks modulo ``wrap``, in a tenth of the time that numpy's operator takes."""
    return np.asarray(ticks - np.floor(ticks / wrap) * wrap)


def spread(
    values: Ints, host_s: npt.NDArray[np.float64], rate: float, wrap: int
) -> npt.NDArray[np.float64]:
    """For each row, the range of the packets' delays in ticks, without a few outliers.

    ``wrap``: number of values of the clock.
    """
    late = _wrapped(host_s * rate - values, wrap)  # of each packet, up to a constant
    late = around(late, late[:, :1], wrap)
    some = int(len(host_s) * _LATE)
    if not some:
        return np.asarray(late.max(axis=1) - late.min(axis=1))
    late.sort(axis=1)
    last = late.shape[1] - 1 - some
    spreads = [late[:, last + drop] - late[:, drop] for drop in range(some + 1)]
    return np.asarray(np.min(spreads, axis=0))
