"""The interface of a link: bytes from a cube and to it, also when the connection breaks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol, TypeAlias

if TYPE_CHECKING:
    from collections.abc import AsyncGenerator

    from livecube.decoding import Write

__all__ = ["CubeFacts", "Link", "LinkDown", "LinkItem", "LinkUp", "Notification"]


@dataclass(frozen=True, slots=True)
class Notification:
    """Bytes that a cube sent."""

    host_s: float
    """Arrival, on the host's clock."""
    characteristic: str
    data: bytes


@dataclass(frozen=True, slots=True)
class LinkUp:
    """The cube is connected and subscribed to, for the first time or again."""

    host_s: float


@dataclass(frozen=True, slots=True)
class LinkDown:
    """The connection was lost; the link tries to bring it back."""

    host_s: float


@dataclass(frozen=True, slots=True)
class CubeFacts:
    """Data of the cube's standard services: battery (0x180F), device information (0x180A)."""

    host_s: float
    percent: int | None = None
    """Charge, 0 to 100; None: unknown."""
    device: tuple[tuple[str, str], ...] = ()
    """Keys of ``livecube.events.DEVICE_KEYS`` with their texts, as many as the cube has."""


LinkItem: TypeAlias = Notification | LinkUp | LinkDown | CubeFacts


class Link(Protocol):
    """A link to one cube, ready to be read."""

    def items(self) -> AsyncGenerator[LinkItem, None]:
        """All items from the cube until the link ends for good; the first is a ``LinkUp``."""
        ...

    def write(self, write: Write) -> None:
        """Send bytes to the cube; never waits. While the link is down they are dropped."""
        ...
