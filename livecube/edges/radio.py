"""What a radio is: what is near, and connections to it. One implementation is bleak's."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from collections.abc import Callable

    from livecube.decoding import Advertisement

__all__ = ["Connection", "Radio", "Sighting", "uuid16"]


@dataclass(frozen=True, slots=True)
class Sighting:
    """Something that was heard advertising."""

    address: str
    """What this machine calls it: a Bluetooth address; on macOS a UUID, another on each machine."""
    name: str | None
    rssi: int
    """Strength of its signal in dBm: −40 is beside the machine, −90 nearly out of range."""
    advertisement: Advertisement
    handle: object = None
    """What the radio needs to connect to it; nobody else's business."""

    @property
    def title(self) -> str:
        """How to speak of it."""
        return f"{self.name} ({self.address})" if self.name else self.address


class Connection(Protocol):
    """A connection that is up. Each method raises :class:`~livecube.errors.RadioError`."""

    def readable(self, characteristic: str) -> bool:
        """Whether the cube offers this characteristic (UUID, lower case) for reading."""
        ...

    def notifying(self) -> tuple[str, ...]:
        """All characteristics that notify (UUIDs, lower case), in the cube's order."""
        ...

    async def read(self, characteristic: str) -> bytes:
        """Read a characteristic."""
        ...

    async def write(self, characteristic: str, data: bytes) -> None:
        """Write a characteristic, with response if it has one to give."""
        ...

    async def subscribe(self, characteristic: str, heard: Callable[[bytes], None]) -> None:
        """Have ``heard`` called, in order, with each notification; it must return at once."""
        ...

    async def close(self) -> None:
        """End the connection; to be called on one that was lost too. Raises nothing."""
        ...


class Radio(Protocol):
    """A radio for Bluetooth LE. Each method raises :class:`~livecube.errors.RadioError`."""

    @property
    def label(self) -> str:
        """What kind of radio it is, as shown and recorded: *radio*, *virtual radio*."""
        ...

    async def scan(
        self, seconds: float, enough: Callable[[Sighting], bool] = ...
    ) -> list[Sighting]:
        """Listen for so long, or until ``enough`` says so; the latest sighting of each."""
        ...

    async def connect(self, sighting: Sighting, lost: Callable[[], None]) -> Connection:
        """Connect; ``lost`` is called once if the connection ends without our doing."""
        ...


def uuid16(number: int) -> str:
    """The whole UUID of a number that the Bluetooth standard assigns: 0x180F is the battery's."""
    return f"0000{number:04x}-0000-1000-8000-00805f9b34fb"
