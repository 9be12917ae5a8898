"""The packets of turnwire version 1 as values; both sides use them.

``turnwire.md`` is the specification. Sequence numbers (``seq``) are 16 bits wide, the clock
(``cube_ms``) 32 bits in milliseconds; both wrap. Sessions are numbered in 8 bits.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, NamedTuple, TypeAlias

__all__ = [
    "CLOCK_BITS",
    "CONTROL",
    "EVENTS",
    "MAX_DELTA_MS",
    "MAX_EARLIER",
    "SERVICE",
    "VERSION",
    "AgainRequest",
    "BatteryPacket",
    "CubePacket",
    "Hello",
    "HelloRequest",
    "HostPacket",
    "Packet",
    "Snapshot",
    "SnapshotRequest",
    "TimedTurn",
    "TooOld",
    "Turns",
    "ahead",
]

SERVICE: Final = "37bc2f0a-cca9-41b3-98b5-5c41ec53136c"
EVENTS: Final = "c54ebb95-6f6e-4bfc-962e-6f2d9076e9e2"
"""Characteristic on which the cube notifies."""
CONTROL: Final = "32ff1494-5f06-4648-bd5b-1fbd6146c218"
"""Characteristic to which the host writes, with response."""

VERSION: Final = 1
CLOCK_BITS: Final = 32
MAX_EARLIER: Final = 5
"""Earlier turns that fit beside the newest one."""
MAX_DELTA_MS: Final = 2047
"""Longest time between two turns of one packet."""


class TimedTurn(NamedTuple):
    """A turn (0 to 17) and the cube's clock at it (ms, wraps at 2**32)."""

    turn: int
    cube_ms: int


@dataclass(frozen=True, slots=True)
class Turns:
    """The turns up to number ``seq``, oldest first: one to six."""

    session: int
    seq: int
    turns: tuple[TimedTurn, ...]


@dataclass(frozen=True, slots=True)
class Snapshot:
    """The whole position (20 facelets) after turn number ``seq``."""

    session: int
    seq: int
    cube_ms: int
    position: bytes


@dataclass(frozen=True, slots=True)
class BatteryPacket:
    """Charge in percent, 0 to 100."""

    session: int
    seq: int
    cube_ms: int
    percent: int


@dataclass(frozen=True, slots=True)
class TooOld:
    """The host asked for turns that the cube no longer keeps; a snapshot follows."""

    session: int
    seq: int
    cube_ms: int
    oldest: int
    """Oldest sequence number kept; ``seq + 1`` if no turn is kept."""


@dataclass(frozen=True, slots=True)
class Hello:
    """The cube's version, abilities and charge."""

    session: int
    seq: int
    cube_ms: int
    highest_version: int
    capabilities: int
    """Bit 0: half turns may come as one turn; bit 1: unasked repeats and snapshots when idle."""
    history: int
    """How many turns the cube keeps, 64 to 255."""
    percent: int
    """Charge, 0 to 100; 255: unknown."""


@dataclass(frozen=True, slots=True)
class HelloRequest:
    """Asks for :class:`Hello`."""


@dataclass(frozen=True, slots=True)
class SnapshotRequest:
    """Asks for :class:`Snapshot`."""


@dataclass(frozen=True, slots=True)
class AgainRequest:
    """Asks for ``count`` turns from number ``seq`` on; a count of 0 means up to the newest."""

    seq: int
    count: int


CubePacket: TypeAlias = Turns | Snapshot | BatteryPacket | TooOld | Hello
HostPacket: TypeAlias = HelloRequest | SnapshotRequest | AgainRequest
Packet: TypeAlias = CubePacket | HostPacket


def ahead(seq: int, of: int) -> int:
    """How many turns ``seq`` comes after ``of``: −32768 to 32767, also across the wrap."""
    return (seq - of + 0x8000) % 0x10000 - 0x8000
