"""The field that is a check value, and how the cube computes it."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from typing import TYPE_CHECKING, Final, NamedTuple

from livecube.profiles.checks import Check, crc
from livecube.profiles.fields import Field

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from livecube.profiles.fields import Order

__all__ = ["FoundCheck", "find_check"]

_POLYNOMIALS: Final = {
    8: range(1, 256, 2),
    16: (0x1021, 0x8005, 0x3D65, 0x8BB7, 0xA097, 0xC867, 0x0589, 0x1DCF, 0x6F63, 0x5935, 0x755B),
}
"""All polynomials of eight bits; of sixteen bits those in common use."""
_LEAST: Final = 16
"""Different packets that must agree."""
_ODDS: Final = 40
"""A check value needs at least these odds against chance: 2**40 to 1."""


class FoundCheck(NamedTuple):
    """A check value that all packets have."""

    check: Check
    odds: int
    """A match by chance has a probability of 2**-odds at most."""


def find_check(packets: Sequence[bytes], order: Order) -> FoundCheck | None:
    """The check value that all packets have, if they have one.

    It comes after the bytes that it covers: all bytes before it, from the first or the second on.
    In packets of several lengths it is at the end. It counts only if a match by chance is
    unlikely enough, with all tried check values taken into account. The more the covered bytes
    differ between packets, the stronger is the evidence.
    """
    return _check_in(tuple(dict.fromkeys(packets)), order)


@lru_cache(maxsize=16)
def _check_in(different: tuple[bytes, ...], order: Order) -> FoundCheck | None:
    """The same, remembered: packets are searched again for slips, and when all turns are known."""
    if len(different) < _LEAST:
        return None
    tried = 0
    for check in _candidates(different, order):
        tried += 1 if check.kind != "crc" else 2 * len(_POLYNOMIALS[check.field.bits])
        if all(check.holds(packet) for packet in different):
            told = min(_rank([p[check.first : check.last] for p in different]), len(different) - 1)
            odds = check.field.bits * told - (tried * _HYPOTHESES).bit_length()
            return FoundCheck(check, odds) if odds >= _ODDS else None
    return None


_HYPOTHESES: Final = 1 << 10
"""For each tried check value at least this many others were excluded without a full test."""


def _rank(covered: Sequence[bytes]) -> int:
    """Rank of the differences of the bytes from the first ones, over the two-element field."""
    basis: list[int] = []
    first = int.from_bytes(covered[0], "big")
    for data in covered[1:]:
        rest = int.from_bytes(data, "big") ^ first
        for one in basis:
            rest = min(rest, rest ^ one)
        if rest:
            basis.append(rest)
    return len(basis)


def _candidates(packets: Sequence[bytes], order: Order) -> Iterator[Check]:
    lengths = set(map(len, packets))
    for width in (16, 8):
        size = width // 8
        for at in (-size,) if len(lengths) > 1 else range(*lengths)[-size:1:-1]:
            field = Field(8 * max(0, at), width, order)
            told = Check("xor", field, 0, at).told
            if min(lengths) < 2 + size or len({told(packet) for packet in packets}) < _LEAST // 2:
                continue
            for first in (0, 1):
                yield from _of_field(packets[0], packets[1:4], field, first, at)


def _of_field(
    packet: bytes, others: Sequence[bytes], field: Field, first: int, at: int
) -> Iterator[Check]:
    """Sums and exclusive ors with an initial value that fits ``packet``, then CRCs that fit all.

    ``at``: the first byte of the field; below 0, it counts from the end.
    """
    told = Check("xor", field, first, at).told
    value = told(packet)
    total = sum(packet[first:at])
    yield Check("sum", field, first, at, initial=(value - total) % field.values)
    yield Check("sum", field, first, at, initial=(~value - total) % field.values,
                final=field.values - 1)  # fmt: skip
    if field.bits == 8:
        plain = Check("xor", field, first, at)
        yield Check("xor", field, first, at, initial=plain.value(packet) ^ value)
    difference, change = _least_difference(packet, others, first, at, told)
    for polynomial in _POLYNOMIALS[field.bits]:
        for reflects in (False, True):
            other = crc(
                difference, field.bits, polynomial, 0, reflect_in=reflects, reflect_out=reflects
            )
            if other != change:
                continue  # whatever the initial value
            # For one length, an initial value has the effect of an exclusive or at the end.
            for initial in (0,) if at >= 0 else (0, field.values - 1):
                check = Check("crc", field, first, at, polynomial, initial, reflects, reflects)
                final = check.value(packet) ^ value
                if all(check.value(other) ^ told(other) == final for other in others):
                    yield replace(check, final=final)


def _least_difference(
    packet: bytes, others: Sequence[bytes], first: int, at: int, told: Callable[[bytes], int]
) -> tuple[bytes, int]:
    """The shortest exclusive or of covered bytes, from its first bit on, and of its check values.

    The CRC of the one, without initial value, is the other. Both are empty if all lengths differ.
    """
    covered = int.from_bytes(packet[first:at], "big")
    found = []
    for other in others:
        if len(other) == len(packet):
            apart = covered ^ int.from_bytes(other[first:at], "big")
            found.append((apart, told(packet) ^ told(other)))
    apart, change = min(found, default=(0, 0))
    return apart.to_bytes(-(-apart.bit_length() // 8), "big"), change
