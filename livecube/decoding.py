"""What a decoder is: bytes in, reports and bytes out, no input or output of its own.

A decoder serves one connection to one cube. It is found by the entry-point group
``livecube.decoders``; the package itself knows none.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar, Protocol

if TYPE_CHECKING:
    from livecube.events import Report

__all__ = ["Advertisement", "Decoded", "Decoder", "Write"]


@dataclass(frozen=True, slots=True)
class Advertisement:
    """What a cube says of itself before it is connected."""

    name: str | None
    services: tuple[str, ...] = ()
    """Service UUIDs, lower case."""
    manufacturer_data: tuple[tuple[int, bytes], ...] = ()
    """Company identifier and bytes, as received."""


@dataclass(frozen=True, slots=True)
class Write:
    """Bytes to send to a characteristic."""

    characteristic: str
    """UUID, lower case."""
    data: bytes


@dataclass(frozen=True, slots=True)
class Decoded:
    """What one notification meant: reports in order, and what must be sent in answer."""

    reports: tuple[Report, ...] = ()
    writes: tuple[Write, ...] = ()


class Decoder(Protocol):
    """One connection's decoder. Never raises on bad bytes: it reports ``BadPacket``."""

    name: ClassVar[str]
    """Short name, as shown to people and recorded as ``source`` in logs."""
    clock_wrap_ms: ClassVar[float | None]
    """After so many ms the cube's clock begins again at 0; None: it has none."""
    notify: ClassVar[tuple[str, ...]]
    """Characteristics to subscribe to (UUIDs, lower case)."""

    @classmethod
    def claims(cls, advertisement: Advertisement) -> bool:
        """Whether this decoder understands the cube that sent this advertisement."""
        ...

    def connected(self) -> tuple[Write, ...]:
        """What to send once connected and subscribed, and again after a reconnection."""
        ...

    def received(self, characteristic: str, data: bytes) -> Decoded:
        """Take in one notification."""
        ...
