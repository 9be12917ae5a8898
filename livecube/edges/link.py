"""What a link is: bytes from a cube and to it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from collections.abc import AsyncIterator

    from livecube.decoding import Write

__all__ = ["Link", "Notification"]


@dataclass(frozen=True, slots=True)
class Notification:
    """Bytes that a cube sent."""

    host_s: float
    """When they arrived, on the host's clock."""
    characteristic: str
    data: bytes


class Link(Protocol):
    """A connection to one cube, ready to be read."""

    def notifications(self) -> AsyncIterator[Notification]:
        """What the cube sends, until the link ends for good."""
        ...

    def write(self, write: Write) -> None:
        """Send bytes to the cube; never waits."""
        ...
