"""The interface of a decoder: bytes in, reports and bytes out, without I/O of its own.

A decoder serves one connection to one cube. It is found by the entry-point group
``livecube.decoders``; the package itself contains none.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar, Protocol

if TYPE_CHECKING:
    from livecube.events import Report

__all__ = ["Advertisement", "Decoded", "Decoder", "Write"]


@dataclass(frozen=True, slots=True)
class Advertisement:
    """The advertisement that a cube sends before it is connected."""

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
    """The content of one notification: reports in order, and the writes to send in answer."""

    reports: tuple[Report, ...] = ()
    writes: tuple[Write, ...] = ()


class Decoder(Protocol):
    """One connection's decoder. Never raises on bad bytes: it reports ``BadPacket``."""

    name: ClassVar[str]
    """Short name, as shown to people and recorded as ``source`` in logs."""
    clock_wrap_ms: ClassVar[float | None]
    """The cube's clock begins again at 0 after this many ms; None: no clock."""
    notify: ClassVar[tuple[str, ...]]
    """Characteristics to subscribe to (UUIDs, lower case)."""

    @classmethod
    def claims(cls, advertisement: Advertisement) -> bool:
        """Whether this decoder understands the cube that sent this advertisement."""
        ...

    def connected(self) -> tuple[Write, ...]:
        """The writes to send after each connection, once subscribed."""
        ...

    def received(self, characteristic: str, data: bytes) -> Decoded:
        """Take in one notification."""
        ...
