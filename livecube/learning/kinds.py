"""Which packets may be of one kind: one characteristic, one length, perhaps a field that tells."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from livecube.learning.bits import Bits

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.events import Packet
    from livecube.profiles.fields import Field, Order

__all__ = ["Kind", "kinds_in"]

_LEAST: Final = 20
_MOST_KINDS: Final = 6
"""A field with more values than this is no type."""


_LONGER: Final = 0.05
"""Packets of other lengths count if there are so many of them."""
_LONGEST: Final = 512
"""Where lengths vary, a longer packet than any that came may come one day."""


@dataclass(frozen=True)
class Kind:
    """Packets of one kind."""

    characteristic: str
    length: int
    """Of the shortest: what lies behind that is not looked at."""
    match: tuple[tuple[Field, int], ...] = ()
    longest: int = 0
    """0: all have one length."""
    types: int = 1
    """How many values the field has that tells this kind from others."""

    def holds(self, packet: Packet) -> bool:
        """Whether a packet is of this kind."""
        return (
            packet.char == self.characteristic
            and self.length <= len(packet.data) <= max(self.length, self.longest)
            and all(field.read(packet.data) == value for field, value in self.match)
        )


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
    """Packets of one characteristic that are longer or shorter: a kind by themselves."""
    kinds = []
    for characteristic in dict.fromkeys(key[0] for key in by_length):
        counts = {key[1]: len(d) for key, d in by_length.items() if key[0] == characteristic}
        often = [n for n, count in counts.items() if count >= _LONGER * sum(counts.values())]
        if len(often) > 1:
            kinds.append(Kind(characteristic, min(often), longest=_LONGEST))
    return kinds


def _types(found: list[bytes], length: int, order: Order) -> list[tuple[Field, int, int]]:
    """Fields with few values that stand at an end of a byte, the widest first.

    A bit or two of something else, like the sign of a number, may stay the same for minutes.
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
