"""What a link is: bytes from a cube and to it, across losses of the connection."""

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
    """When they arrived, on the host's clock."""
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
    """What the cube's standard services say: battery (0x180F), device information (0x180A)."""

    host_s: float
    percent: int | None = None
    """Charge, 0 to 100; None: not told."""
    device: tuple[tuple[str, str], ...] = ()
    """Keys of ``livecube.events.DEVICE_KEYS`` and texts, as far as they are told."""


LinkItem: TypeAlias = Notification | LinkUp | LinkDown | CubeFacts


class Link(Protocol):
    """A link to one cube, ready to be read."""

    def items(self) -> AsyncGenerator[LinkItem, None]:
        """What comes from the cube, until the link ends for good; first of all a ``LinkUp``."""
        ...

    def write(self, write: Write) -> None:
        """Send bytes to the cube; never waits. While the link is down they are dropped."""
        ...
