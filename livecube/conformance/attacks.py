"""Hostile packets, made from good ones."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    import random
    from collections.abc import Callable, Sequence

__all__ = ["ATTACKS", "changed", "noise", "one_hostile"]

_CHANGED: Final = 6000
_NOISE: Final = 2000


def _truncated(packets: Sequence[bytes], rng: random.Random) -> list[bytes]:
    return [p[:length] for p in packets[:60] for length in range(len(p))]


def noise(packets: Sequence[bytes], rng: random.Random) -> list[bytes]:
    """Random packets of up to 39 bytes, and one long packet of zeros."""
    return [rng.randbytes(rng.randrange(40)) for _ in range(_NOISE)] + [bytes(512)]


def _repeated(packets: Sequence[bytes], rng: random.Random) -> list[bytes]:
    return [p for p in packets for _ in range(3)] + [*packets] * 2


def _reordered(packets: Sequence[bytes], rng: random.Random) -> list[bytes]:
    return [*rng.sample(packets, len(packets)), *packets[::-1]]


def changed(packets: Sequence[bytes], rng: random.Random) -> list[bytes]:
    """Good packets with one to three of their bytes changed."""
    return [_changed(rng.choice(packets), rng) for _ in range(_CHANGED)]


def _changed(packet: bytes, rng: random.Random) -> bytes:
    data = bytearray(packet)
    for _ in range(rng.randrange(1, 4)):
        if data:
            data[rng.randrange(len(data))] = rng.randrange(256)
    return bytes(data)


def one_hostile(packets: Sequence[bytes], rng: random.Random) -> bytes:
    """One packet, each with equal chance: random, cut off, changed, or good (at any place)."""
    good = rng.choice(packets)
    cut_off = good[: int(len(good) * rng.random())]
    return rng.choice((rng.randbytes(rng.randrange(40)), cut_off, _changed(good, rng), good))


ATTACKS: Final[dict[str, Callable[[Sequence[bytes], random.Random], list[bytes]]]] = {
    "truncated": _truncated,
    "noise": noise,
    "repeated": _repeated,
    "reordered": _reordered,
    "changed": changed,
}
"""Name → function that makes hostile packets from good ones."""
