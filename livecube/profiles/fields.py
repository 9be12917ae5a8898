"""The place of a number in a packet, and rows of such numbers."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal, TypeAlias

__all__ = ["Entries", "Field", "Order", "all_hold"]

Order: TypeAlias = Literal["little", "big"]
"""``little``: the first byte holds the lowest bits, and bit 0 of a byte is its lowest one.
``big``: the first byte holds the highest bits, and bit 0 of a byte is its highest one."""


@dataclass(frozen=True)
class Field:
    """A whole number in a packet: ``bits`` bits, from bit ``start`` on.

    Bits are counted through all bytes of the packet, within a byte as ``order`` says; so a field
    may cross from one byte into the next.
    """

    start: int
    bits: int
    order: Order = "little"

    @property
    def end(self) -> int:
        """The first bit after the field."""
        return self.start + self.bits

    @property
    def values(self) -> int:
        """Number of values; a counter without its own wrap wraps there."""
        return 1 << self.bits

    @cached_property
    def _place(self) -> tuple[int, int, int, int]:
        """First byte, first byte after the field, bits to shift the bytes' number down, mask."""
        first, last = self.start // 8, (self.end + 7) // 8
        below = self.start % 8 if self.order == "little" else 8 * last - self.end
        return first, last, below, self.values - 1

    def read(self, data: bytes) -> int:
        """The number; the packet must be long enough."""
        first, last, below, mask = self._place
        return int.from_bytes(data[first:last], self.order) >> below & mask

    def write(self, data: bytearray, value: int) -> None:
        """Write a number; the field must be 0 before."""
        first, last, below, _ = self._place
        number = int.from_bytes(data[first:last], self.order) | value << below
        data[first:last] = number.to_bytes(last - first, self.order)


def all_hold(match: tuple[tuple[Field, int], ...], data: bytes) -> bool:
    """Whether each field of a packet has its value."""
    for field, value in match:  # noqa: SIM110 - in half of the time of all()
        if field.read(data) != value:
            return False
    return True


@dataclass(frozen=True)
class Entries:
    """A row of fields of one width; ``stride`` bits (negative too) lead from each to the next."""

    first: Field
    count: int
    stride: int

    @cached_property
    def fields(self) -> tuple[Field, ...]:
        """All fields, in order."""
        start, stride = self.first.start, self.stride
        return tuple(replace(self.first, start=start + k * stride) for k in range(self.count))

    @cached_property
    def _whole(self) -> tuple[Field, tuple[int, ...]]:
        """All bits of the row as one number, and how far to shift it down for each field."""
        order, fields = self.first.order, self.fields
        start, end = min(field.start for field in fields), max(field.end for field in fields)
        below = (field.start - start if order == "little" else end - field.end for field in fields)
        return Field(start, end - start, order), tuple(below)

    def read(self, data: bytes) -> list[int]:
        """All numbers, in order; beyond the packet's end all bits are 0."""
        whole, below = self._whole
        number, mask = whole.read(data.ljust((whole.end + 7) // 8, b"\0")), self.first.values - 1
        return [number >> shift & mask for shift in below]

    def read_in(self, data: bytes, end: int, most: int | None = None) -> list[int]:
        """The numbers in order, until one does not end before byte ``end`` of the packet.

        Of the first ``most`` ones, if that is given.
        """
        fields = self.fields[:most]
        if self.count > 1 and self.fields[-1].end > 8 * end:
            fields = tuple(field for field in fields if field.end <= 8 * end)
        return [field.read(data) for field in fields]

    def write(self, data: bytearray, values: list[int]) -> None:
        """Write numbers into the first fields, or all; each field must be 0 before."""
        whole, below = self._whole
        number = 0
        for shift, value in zip(below, values, strict=False):
            number |= value << shift
        whole.write(data, number)
