"""The field that counts turns, and its wrap."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterator

    from livecube.learning.bits import Bits, Ints
    from livecube.profiles.fields import Field

__all__ = ["FoundCounter", "find_counters"]

_LEAST_BITS: Final = 4
"""A narrower counter could be chance, and would be of little use."""
_MOST_BITS: Final = 16
_SURE_BITS: Final = 8
"""The lower bits of a counter are a counter by themselves if its wrap is a power of two. That is
assumed for counters that exceed one byte; for all others the wrap must be seen."""
_LEAST: Final = 20
"""Packets that must agree."""
_PARITY: Final = 0.75
"""Least share of steps that change the lowest bit as the turns do; at an odd wrap it stays."""
_STEP: Final = 3
"""Most turns from one packet to the next."""
_SLIPS: Final = 5
_SLIP_SHARE: Final = 1 / 12
"""Share of steps that may count differently: the owner made another turn, or one was lost."""


class FoundCounter(NamedTuple):
    """A counter."""

    field: Field
    wrap: int
    """It begins again after this number of turns."""
    seen: bool
    """Whether the wrap was seen; if not, the counter may go on beyond it."""
    mask: int = 0
    """Combined with the field by exclusive or."""
    beyond: bool = False
    """Whether it is the lower part of a wider counter, whose wrap was not seen."""

    def number(self, data: bytes) -> int:
        """The number in a packet."""
        return (self.field.read(data) ^ self.mask) % self.wrap


def find_counters(
    bits: Bits, made: Ints, everything: Bits, *, masked: bool = False
) -> list[FoundCounter]:
    """The fields that go up by one with each turn; the least contradicted first, then the widest.

    ``bits``: the last packet of each step, ``made``: the number of turns asked for by then;
    ``everything``: all packets of the kind, also those whose turns are unknown. Only bits that
    were seen to change count: the bits above them may belong to another field. ``masked``: some
    of the bits may be inverted.
    """
    if len(made) < _LEAST:
        return []
    asked = np.diff(made)
    odd = (bits.table[1:] ^ bits.table[:-1] ^ (asked & 1)[:, None]).mean(axis=0)
    found: list[tuple[int, FoundCounter]] = []
    for at in np.flatnonzero(odd <= 1 - _PARITY).tolist():
        found += _from_bit(bits, everything, at, asked, masked=masked)
    return [one for _, one in sorted(found, key=lambda one: (one[0], -one[1].field.bits))]


def _from_bit(
    bits: Bits, everything: Bits, at: int, asked: Ints, *, masked: bool
) -> Iterator[tuple[int, FoundCounter]]:
    """The widest counters with this lowest bit, each with the number of steps against it."""
    most, beyond = max(_SLIPS, round(len(asked) * _SLIP_SHARE)), False
    for width in range(_MOST_BITS, _LEAST_BITS - 1, -1):
        start = at if bits.order == "little" else at - width + 1
        if start < 0 or start + width > bits.size:
            continue
        raw, ends = everything.read(start, width), bits.read(start, width)
        found: dict[int, tuple[int, FoundCounter]] = {}
        for mask in _masks(raw, width) if masked else (0,):
            whole, values = raw ^ mask, ends ^ mask
            if not _top_moves(values, width) and not (
                _top_moves(whole, width) and _steady(whole, width)
            ):
                continue
            wraps = _wraps(whole, width) | _wraps(values, width, asked)
            steps = np.diff(values) - asked
            if not wraps and width > _SURE_BITS:
                beyond |= bool((steps != 0).sum() <= most)
                continue
            for wrap in wraps or {1 << width}:
                wrong = int((steps % wrap != 0).sum())
                if wrong <= most:
                    counter = FoundCounter(
                        bits.field(start, width), wrap, bool(wraps), mask, beyond
                    )
                    # At a power of two, it does not matter whether the highest bit is inverted.
                    found.setdefault(wrap % (1 << width), (wrong, counter))
        yield from found.values()
        if found:
            return


def _masks(values: Ints, width: int) -> tuple[int, int]:
    """The bits of numbers in order of time that are inverted: the highest one may be or not.

    Whenever a bit changes, the next lower one falls; if it mostly rises instead, it is inverted.
    """
    steps = np.diff((values[:, None] >> np.arange(width)) & 1, axis=0)
    rising = (steps[:, :-1] * (steps[:, 1:] != 0)).sum(axis=0) > 0
    mask = int((rising << np.arange(width - 1)).sum())
    return mask, mask | 1 << (width - 1)


def _top_moves(values: Ints, width: int) -> bool:
    top = values >> (width - 1)
    return bool(top.min() != top.max())


def _steady(values: Ints, width: int) -> bool:
    """Whether the numbers stay or go up by little from most packets to the next."""
    return bool(((np.diff(values) % (1 << width)) <= _STEP).mean() >= _PARITY)


def _wraps(values: Ints, width: int, asked: Ints | None = None) -> set[int]:
    """Possible wraps, one from each place where the numbers fall.

    ``asked``: turns from each number to the next; None: one turn for each change.
    """
    if asked is None:
        values = values[np.flatnonzero(np.diff(values, prepend=-1))]
        asked = np.ones(len(values) - 1, dtype=np.int64)
    wraps = values[:-1] + asked - values[1:]
    most, least = 1 << width, int(values.max() - values.min()) + 1
    fitting = (np.diff(values) < 0) & (wraps >= least) & (wraps <= most)
    return set(wraps[fitting].tolist())
