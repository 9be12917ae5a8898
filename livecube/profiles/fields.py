"""Where a number lies in a packet, and a row of such numbers."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal, TypeAlias

__all__ = ["Entries", "Field", "Order"]

Order: TypeAlias = Literal["little", "big"]
"""``little``: the first byte holds the lowest bits, and bit 0 of a byte is its lowest one.
``big``: the first byte holds the highest bits, and bit 0 of a byte is its highest one."""


@dataclass(frozen=True)
class Field:
    """A whole number in a packet: ``bits`` of them, from bit ``start`` on.

    Bits are counted through all bytes of the packet as ``order`` has it, so that a field may
    cross from one byte into the next.
    """

    start: int
    bits: int
    order: Order = "little"

    @property
    def end(self) -> int:
        """The first bit behind it."""
        return self.start + self.bits

    @property
    def values(self) -> int:
        """How many values it can have; a counter wraps there."""
        return 1 << self.bits

    @cached_property
    def _place(self) -> tuple[int, int, int]:
        """First byte, first byte behind, and how far down the bytes' number is shifted."""
        first, last = self.start // 8, (self.end + 7) // 8
        below = self.start % 8 if self.order == "little" else 8 * last - self.end
        return first, last, below

    def read(self, data: bytes) -> int:
        """The number; the packet must be long enough."""
        first, last, below = self._place
        return int.from_bytes(data[first:last], self.order) >> below & self.values - 1

    def write(self, data: bytearray, value: int) -> None:
        """Put a number in; what was there before must be 0."""
        first, last, below = self._place
        number = int.from_bytes(data[first:last], self.order) | value << below
        data[first:last] = number.to_bytes(last - first, self.order)


@dataclass(frozen=True)
class Entries:
    """A row of fields of one width, ``stride`` bits from each to the next (it may be negative)."""

    first: Field
    count: int
    stride: int

    @cached_property
    def fields(self) -> tuple[Field, ...]:
        """All of them, in order."""
        start, stride = self.first.start, self.stride
        return tuple(replace(self.first, start=start + k * stride) for k in range(self.count))

    def read(self, data: bytes) -> list[int]:
        """All numbers, in order."""
        return [field.read(data) for field in self.fields]

    def write(self, data: bytearray, values: list[int]) -> None:
        """Put numbers in, as many as there are."""
        for field, value in zip(self.fields, values, strict=False):
            field.write(data, value)
