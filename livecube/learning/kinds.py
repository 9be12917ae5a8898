"""Kinds of packets: one characteristic, one length, perhaps one value of a type field."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from livecube.learning.bits import Bits
from livecube.profiles.fields import all_hold

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.events import Packet
    from livecube.profiles.fields import Field, Order

__all__ = ["Kind", "kinds_in"]

_LEAST: Final = 20
_MOST_KINDS: Final = 6
"""A field with more values than this is no type."""


_LONGER: Final = 0.05
"""A length counts if it has at least this share of the characteristic's packets."""
_LONGEST: Final = 512
"""Where lengths vary, later packets may be longer than any in the recording."""


@dataclass(frozen=True)
class Kind:
    """Packets of one kind."""

    characteristic: str
    length: int
    """Length of the shortest packet in bytes; bytes after it are ignored."""
    match: tuple[tuple[Field, int], ...] = ()
    longest: int = 0
    """Greatest length in bytes; 0: all packets have one length."""
    types: int = 1
    """Number of values of the type field in ``match``; 1 without such a field."""

    def holds(self, packet: Packet) -> bool:
        """Whether a packet is of this kind."""
        data = packet.data
        if packet.char != self.characteristic or len(data) < self.length:
            return False
        if len(data) > (self.longest or self.length):
            return False
        return all_hold(self.match, data)


def kinds_in(packets: Sequence[Packet], order: Order) -> list[Kind]:
    """All kinds worth a try, the simplest first."""
    by_length: dict[tuple[str, int], list[bytes]] = defaultdict(list)
    for packet in packets:
        if packet.data:
            by_length[packet.char, len(packet.data)].append(packet.data)
    whole = [Kind(*key) for key, found in by_length.items() if len(found) >= _LEAST]
    whole += _of_any_length(by_length)
    parts = [
        replace(kind, match=((field, value),), types=types)
        for kind in whole
        for field, value, types in _types(
            [p.data for p in packets if kind.holds(p)], kind.length, order
        )
    ]
    return whole + sorted(parts, key=lambda kind: kind.types)


def _of_any_length(by_length: dict[tuple[str, int], list[bytes]]) -> list[Kind]:
    """A kind for each characteristic whose packets vary in length."""
    kinds = []
    for characteristic in dict.fromkeys(key[0] for key in by_length):
        counts = {key[1]: len(d) for key, d in by_length.items() if key[0] == characteristic}
        often = [n for n, count in counts.items() if count >= _LONGER * sum(counts.values())]
        if len(often) > 1:
            kinds.append(Kind(characteristic, min(often), longest=_LONGEST))
    return kinds


def _types(found: list[bytes], length: int, order: Order) -> list[tuple[Field, int, int]]:
    """Possible type fields with each value and the number of values, the widest first.

    They have few values, and fill a byte or half of one. Narrower fields are not tried: a few bits
    of another field, such as the sign of a number, may stay the same for minutes.
    """
    types = []
    packets = Bits([data[:length] for data in found], order)
    for bits in (8, 4):
        for start in sorted(
            {s for byte in range(0, 8 * length, 8) for s in (byte, byte + 8 - bits)}
        ):
            values, counts = np.unique(packets.read(start, bits), return_counts=True)
            if 1 < len(values) <= _MOST_KINDS:
                types += [
                    (packets.field(start, bits), int(value), len(values))
                    for value, count in zip(values, counts, strict=True)
                    if count >= _LEAST
                ]
    return types
