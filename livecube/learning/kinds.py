"""Which packets may be of one kind: one characteristic, one length, perhaps a field that tells."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from livecube.profiles.fields import Field

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.events import Packet
    from livecube.profiles.fields import Order

__all__ = ["Kind", "kinds_in"]

_LEAST: Final = 20
_MOST_KINDS: Final = 6
"""A field with more values than this is no type."""


@dataclass(frozen=True)
class Kind:
    """Packets of one kind."""

    characteristic: str
    length: int
    match: tuple[tuple[Field, int], ...] = ()

    def holds(self, packet: Packet) -> bool:
        """Whether a packet is of this kind."""
        return (
            packet.char == self.characteristic
            and len(packet.data) == self.length
            and all(field.read(packet.data) == value for field, value in self.match)
        )


def kinds_in(packets: Sequence[Packet], order: Order) -> list[Kind]:
    """All kinds worth a try, the simplest first."""
    by_length: dict[tuple[str, int], list[bytes]] = defaultdict(list)
    for packet in packets:
        if packet.data:
            by_length[packet.char, len(packet.data)].append(packet.data)
    whole = [Kind(*key) for key, found in by_length.items() if len(found) >= _LEAST]
    parts = [
        Kind(kind.characteristic, kind.length, ((field, value),))
        for kind in whole
        for field, value in _types(by_length[kind.characteristic, kind.length], kind.length, order)
    ]
    return whole + parts


def _types(found: list[bytes], length: int, order: Order) -> list[tuple[Field, int]]:
    types = []
    for bits in (8, 4):
        for start in range(0, 8 * length, bits):
            field = Field(start, bits, order)
            values = Counter(field.read(data) for data in found)
            if 1 < len(values) <= _MOST_KINDS:
                types += [(field, value) for value, n in values.items() if n >= _LEAST]
    return types
