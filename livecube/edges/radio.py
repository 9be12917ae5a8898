"""The interface of a radio: devices nearby, and connections to them. One is made with bleak."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Protocol

from livecube.errors import RadioError

if TYPE_CHECKING:
    from collections.abc import Callable

    from livecube.decoding import Advertisement
    from livecube.errors import RadioTrouble

__all__ = ["Connection", "Radio", "Sighting", "explain", "uuid16"]


@dataclass(frozen=True, slots=True)
class Sighting:
    """A device whose advertisement was heard."""

    address: str
    """This machine's name for it: a Bluetooth address, on macOS a UUID of this machine's own."""
    name: str | None
    rssi: int
    """Signal strength in dBm: −40 is beside the machine, −90 nearly out of range."""
    advertisement: Advertisement
    handle: object = None
    """Needed by the radio for connecting; private to it."""

    @property
    def title(self) -> str:
        """Its name in messages."""
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
        """Call ``heard`` with each notification, in order; it must return at once."""
        ...

    async def close(self) -> None:
        """End the connection; also to be called after a loss. Raises nothing."""
        ...


class Radio(Protocol):
    """A radio for Bluetooth LE. Each method raises :class:`~livecube.errors.RadioError`."""

    @property
    def label(self) -> str:
        """The kind of radio, as shown and recorded: *radio*, *virtual radio*."""
        ...

    async def scan(
        self, seconds: float, enough: Callable[[Sighting], bool] = ...
    ) -> list[Sighting]:
        """Listen for ``seconds``, or until ``enough``; returns the latest sighting of each."""
        ...

    async def connect(self, sighting: Sighting, lost: Callable[[], None]) -> Connection:
        """Connect; ``lost`` is called once if the connection ends by itself."""
        ...


def uuid16(number: int) -> str:
    """The whole UUID of a number that the Bluetooth standard assigns: 0x180F is the battery's."""
    return f"0000{number:04x}-0000-1000-8000-00805f9b34fb"


# Errors of the radio in words, with what to do. Pure: an exception in, one out.
#
# bleak's exceptions are distinguished by class name and D-Bus name: loading bleak for a message
# would take 0.2 s.


_REASONS: Final[dict[str, RadioTrouble]] = {
    "NO_BLUETOOTH": "no adapter",
    "NO_BLE_CENTRAL_ROLE": "no adapter",
    "POWERED_OFF": "switched off",
    "DENIED_BY_USER": "no permission",
    "DENIED_BY_SYSTEM": "no permission",
    "DENIED_BY_UNKNOWN": "no permission",
}
"""bleak's reasons for missing Bluetooth."""
_DBUS: Final[dict[str, RadioTrouble]] = {
    "org.freedesktop.DBus.Error.ServiceUnknown": "no service",
    "org.freedesktop.DBus.Error.NameHasNoOwner": "no service",
    "org.freedesktop.DBus.Error.Spawn.ChildExited": "no service",
    "org.freedesktop.DBus.Error.NoReply": "no service",
    "org.freedesktop.DBus.Error.AccessDenied": "no permission",
    "org.bluez.Error.NotAuthorized": "no permission",
    "org.bluez.Error.NotReady": "switched off",
    "org.bluez.Error.InProgress": "held",
    "org.bluez.Error.AlreadyConnected": "held",
    "org.freedesktop.DBus.Error.UnknownObject": "not found",
    "org.bluez.Error.DoesNotExist": "not found",
}
_HELD: Final = ("notify acquired", "write acquired", "access denied", "in progress", "busy")
"""Texts of systems for a cube in use by another program, in errors without a name."""

_HINTS: Final[dict[str, dict[RadioTrouble, str]]] = {
    "linux": {
        "no service": "install bluez if it is missing, and start it: systemctl start bluetooth",
        "switched off": "switch it on: bluetoothctl power on (or rfkill unblock bluetooth)",
        "no permission": "join the group bluetooth and log in again, or ask who runs this machine",
    },
    "darwin": {
        "no permission": "allow your terminal in System Settings, Privacy & Security, Bluetooth",
        "switched off": "switch it on in Control Centre",
    },
    "win32": {
        "no service": "start the Bluetooth Support Service",
        "no permission": "allow it in Settings, Privacy & security, Radios",
        "switched off": "switch it on in Settings, Bluetooth & devices",
    },
}
_TEXTS: Final[dict[RadioTrouble, tuple[str, str]]] = {
    "no adapter": (
        "this machine has no Bluetooth adapter that can connect to a cube",
        "plug one in that can do Bluetooth LE (4.0 or newer)",
    ),
    "no service": ("the system's Bluetooth service is not running", "start it"),
    "switched off": ("Bluetooth is switched off", "switch it on"),
    "no permission": ("the system does not let livecube use Bluetooth", "allow it"),
    "not found": (
        "{cube} is no longer there",
        "turn a face to wake it, bring it near, and try again",
    ),
    "no answer": (
        "{cube} does not answer",
        "it may be too far away or asleep: bring it near, turn a face, and try again",
    ),
    "held": (
        "{cube} is in use by another program",
        "close other programs that use it, on this machine and on phones, and try again",
    ),
}


def explain(error: BaseException, cube: str = "the cube") -> RadioError:
    """An exception of the radio as an error about ``cube``, with what to do."""
    trouble = _trouble(error)
    said = str(error) or type(error).__name__
    if trouble not in _TEXTS:
        return RadioError(trouble, f"Bluetooth: {said} ({cube}); try again")
    what, do = _TEXTS[trouble]
    do = _HINTS.get(sys.platform, {}).get(trouble, do)
    return RadioError(trouble, f"{what.format(cube=cube)}; {do}")


def _trouble(error: BaseException) -> RadioTrouble:
    if (reason := getattr(error, "reason", None)) is not None:
        return _REASONS.get(getattr(reason, "name", ""), "other")
    if (name := getattr(error, "dbus_error", None)) in _DBUS:
        return _DBUS[name]
    if type(error).__name__ == "BleakDeviceNotFoundError":
        return "not found"
    if isinstance(error, TimeoutError):
        return "no answer"
    text = str(error).lower()
    if any(words in text for words in _HELD):
        return "held"
    if isinstance(error, PermissionError):
        return "no permission"
    if isinstance(error, OSError):  # the system's Bluetooth service is not running
        return "no service"
    return "no answer" if "connect" in text else "other"
