"""Check values in packets: sums, exclusive ors and cyclic redundancy checks.

A CRC is given by the parameters of the general polynomial form (width, polynomial, initial
value, reflection of input and output, final exclusive or) from Ross Williams, *A Painless Guide to
CRC Error Detection Algorithms* (1993).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Literal, TypeAlias

if TYPE_CHECKING:
    from livecube.profiles.fields import Field

__all__ = ["Check", "CheckKind", "crc", "reflected"]

CheckKind: TypeAlias = Literal["sum", "xor", "crc"]


@dataclass(frozen=True)
class Check:
    """A check value in a packet, and how it follows from the bytes ``first`` … ``last`` − 1.

    A ``last`` below 0 counts from the packet's end; then the field is counted from there.
    """

    kind: CheckKind
    field: Field
    first: int
    last: int
    polynomial: int = 0
    """Without its highest term; for a CRC only."""
    initial: int = 0
    """Initial value of a sum, of an exclusive or, or of the register of a CRC."""
    reflect_in: bool = False
    reflect_out: bool = False
    final: int = 0
    """Combined with the result by exclusive or."""

    def value(self, data: bytes) -> int:
        """The right check value of these bytes."""
        covered, mask = data[self.first : self.last], self.field.values - 1
        if self.kind == "crc":
            register = crc(
                covered,
                self.field.bits,
                self.polynomial,
                self.initial,
                reflect_in=self.reflect_in,
                reflect_out=self.reflect_out,
            )
            return register ^ self.final
        if self.kind == "sum":
            return ((self.initial + sum(covered)) & mask) ^ self.final
        result = self.initial
        for byte in covered:
            result ^= byte
        return (result ^ self.final) & mask

    def told(self, data: bytes) -> int:
        """The check value in these bytes."""
        return self.field.read(self._own(data))

    def holds(self, data: bytes) -> bool:
        """Whether that is the right one."""
        return self.told(data) == self.value(data)

    def write(self, data: bytearray) -> None:
        """Write the right value; the field must be 0 before."""
        own = bytearray(self._own(bytes(data)))
        self.field.write(own, self.value(bytes(data)))
        data[len(data) - len(own) :] = own

    @property
    def behind(self) -> int:
        """Number of bytes at the packet's end that it takes, if it is counted from there."""
        return max(0, -self.last)

    def _own(self, data: bytes) -> bytes:
        """The bytes that the field is counted in."""
        return data[self.last :] if self.last < 0 else data


def crc(
    data: bytes,
    bits: int,
    polynomial: int,
    initial: int,
    *,
    reflect_in: bool = False,
    reflect_out: bool = False,
) -> int:
    """The register after these bytes; ``bits`` is 8 or more.

    >>> hex(crc(b"123456789", 16, 0x1021, 0xFFFF))
    '0x29b1'
    """
    table, mask, down = _table(bits, polynomial), (1 << bits) - 1, bits - 8
    register = initial
    for byte in data.translate(_REFLECTED) if reflect_in else data:
        register = (register << 8 & mask) ^ table[register >> down ^ byte]
    return reflected(register, bits) if reflect_out else register


@cache
def _table(bits: int, polynomial: int) -> tuple[int, ...]:
    top, mask = 1 << (bits - 1), (1 << bits) - 1
    table = []
    for byte in range(256):
        register = byte << (bits - 8)
        for _ in range(8):
            register = (register << 1 ^ (polynomial if register & top else 0)) & mask
        table.append(register)
    return tuple(table)


def reflected(value: int, bits: int) -> int:
    """The same bits in the opposite order."""
    return int(f"{value:0{bits}b}"[::-1], 2)


_REFLECTED = bytes(reflected(byte, 8) for byte in range(256))
