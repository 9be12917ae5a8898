"""Many packets of one length as a table of bits, and the numbers in their fields."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt

from livecube.profiles.fields import Field

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.profiles.fields import Order

__all__ = ["Bits", "Ints", "byte_labels", "labels"]

Ints = npt.NDArray[np.int64]

_POWERS: Final = 1 << np.arange(64, dtype=np.int64)
"""Of two; a field has at most 64 bits."""


class Bits:
    """Packets of one length in one order: ``table[packet, bit]``, bits counted as in a Field."""

    def __init__(self, packets: Sequence[bytes], order: Order) -> None:
        self.order = order
        raw = np.frombuffer(b"".join(packets), dtype=np.uint8).reshape(len(packets), -1)
        self._read: dict[tuple[int, int], Ints] = {}
        self._labels: dict[tuple[int, int], bytes] = {}
        self.table: Ints = np.unpackbits(raw, axis=1, bitorder=order).astype(np.int64)
        self.size = int(self.table.shape[1])
        """Number of bits of a packet."""
        self.few: object = None
        """What the search for clocks keeps with these packets."""

    def read(self, start: int, bits: int) -> Ints:
        """The number at a place in each packet, shape (packets,)."""
        if (kept := self._read.get((start, bits))) is not None:
            return kept
        values: Ints = self.table[:, start : start + bits] @ self._powers(bits)
        self._read[start, bits] = values
        return values

    def in_packet(self, packet: int, bits: int) -> Ints:
        """The numbers at all places of one packet, shape (places,)."""
        windows = np.lib.stride_tricks.sliding_window_view(self.table[packet], bits)
        values: Ints = windows @ self._powers(bits)
        return values

    def _powers(self, bits: int) -> Ints:
        powers = _POWERS[:bits]
        return powers if self.order == "little" else powers[::-1]

    def labels(self, start: int, bits: int) -> bytes:
        """The :func:`labels` of the number at a place."""
        kept = self._labels.get((start, bits))
        if kept is None:
            values = self.read(start, bits)
            kept = byte_labels(values.astype(np.uint8).tobytes()) if bits <= 8 else labels(values)
            self._labels[start, bits] = kept
        return kept

    def field(self, start: int, bits: int) -> Field:
        """The field at a place."""
        return Field(start, bits, self.order)


def labels(values: Ints) -> bytes:
    """A key of which values are equal: each value replaced by the rank of its first occurrence."""
    told = values.tolist()
    ranks = {value: rank & 0xFF for rank, value in enumerate(dict.fromkeys(told))}
    return bytes(map(ranks.__getitem__, told))


def byte_labels(values: bytes) -> bytes:
    """The :func:`labels` of numbers of a byte each, in a small part of the time."""
    different = bytes(dict.fromkeys(values))
    return values.translate(bytes.maketrans(different, bytes(range(len(different)))))
