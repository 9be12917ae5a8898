"""The field that is a check value, and how it is made."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, NamedTuple

from livecube.profiles.checks import Check
from livecube.profiles.fields import Field

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from livecube.profiles.fields import Order

__all__ = ["FoundCheck", "find_check"]

_POLYNOMIALS: Final = {
    8: range(1, 256, 2),
    16: (0x1021, 0x8005, 0x3D65, 0x8BB7, 0xA097, 0xC867, 0x0589, 0x1DCF, 0x6F63, 0x5935, 0x755B),
}
"""All of eight bits; of sixteen those that are in common use."""
_LEAST: Final = 16
"""Different packets that must agree."""
_ODDS: Final = 40
"""Chance would have to be on one's side so often in a row, as with the toss of a coin."""


class FoundCheck(NamedTuple):
    """A check value that all packets have."""

    check: Check
    odds: int
    """That chance made it is as likely as so many tosses of a coin that all fall alike."""


def find_check(packets: Sequence[bytes], order: Order) -> FoundCheck | None:
    """The check value that all packets of one length have, if they have one.

    It is looked for behind what it covers: all bytes before it, from the first or the second on.
    It counts if it cannot be chance, however many kinds of check values were tried: what the
    packets say of it is how far they differ in what it covers.
    """
    different = list(dict.fromkeys(packets))
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
"""At least so many were passed over unseen for each that was tried."""


def _rank(covered: Sequence[bytes]) -> int:
    """In how many ways that do not follow from one another the bytes differ."""
    basis: list[int] = []
    first = int.from_bytes(covered[0], "big")
    for data in covered[1:]:
        rest = int.from_bytes(data, "big") ^ first
        for one in basis:
            rest = min(rest, rest ^ one)
        if rest:
            basis.append(rest)
    return len(basis)


def _candidates(packets: list[bytes], order: Order) -> Iterator[Check]:
    length = len(packets[0])
    for width in (16, 8):
        for at in range(length - width // 8, 1, -1):
            field = Field(8 * at, width, order)
            if len({field.read(packet) for packet in packets}) < _LEAST // 2:
                continue
            for first in (0, 1):
                yield from _of_field(packets[0], packets[1:4], field, first, at)


def _of_field(
    packet: bytes, others: list[bytes], field: Field, first: int, at: int
) -> Iterator[Check]:
    """Sums and exclusive ors with the start that fits the first packet, then what CRCs fit some."""
    value = field.read(packet)
    total = sum(packet[first:at])
    yield Check("sum", field, first, at, initial=(value - total) % field.values)
    yield Check("sum", field, first, at, initial=(~value - total) % field.values,
                final=field.values - 1)  # fmt: skip
    if field.bits == 8:
        plain = Check("xor", field, first, at)
        yield Check("xor", field, first, at, initial=plain.value(packet) ^ value)
    for polynomial in _POLYNOMIALS[field.bits]:
        for reflects in (False, True):
            # Of packets of one length a start is as good as an exclusive or at the end.
            check = Check("crc", field, first, at, polynomial, 0, reflects, reflects)
            final = check.value(packet) ^ value
            if all(check.value(other) ^ field.read(other) == final for other in others):
                yield Check("crc", field, first, at, polynomial, 0, reflects, reflects, final)
