"""A simulated cube as a GATT peripheral: its firmware's packets go through real GATT."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING, Any, Final

from bumble.controller import Controller
from bumble.core import UUID, AdvertisingData
from bumble.device import Device, DeviceConfiguration
from bumble.gatt import Characteristic, CharacteristicValue, Service
from bumble.hci import Address
from bumble.host import Host

from livecube.edges.virtual_radio.faults import Faults, Path

if TYPE_CHECKING:
    from collections.abc import Callable, Coroutine

    from bumble.att import Bearer
    from bumble.device import Connection
    from bumble.link import LocalLink

    from livecube.decoding import Advertisement

__all__ = ["CUBE_ADDRESS", "GattCube"]

CUBE_ADDRESS: Final = "F0:F1:F2:F3:F4:01"
_ADVERTISING_MS: Final = 20
_DEVICE_TEXTS: Final = {0x2A29: "livecube", 0x2A24: "virtual cube", 0x2A26: "1"}
_REMOTE_USER_ENDED: Final = 0x13


class GattCube:
    """A peripheral with a cube's two characteristics, a battery and device information.

    ``written`` gets the writes of a host; ``send`` notifies. ``faults`` damage the notifications.
    Make it in a running loop, then call ``start``.
    """

    def __init__(
        self,
        link: LocalLink,
        advertisement: Advertisement,
        events: str,
        control: str,
        written: Callable[[bytes], None],
        *,
        address: str = CUBE_ADDRESS,
        percent: int = 100,
        faults: Faults | None = None,
    ) -> None:
        self.connections = 0
        """Number of connections so far."""
        self.subscribed = asyncio.Event()
        """Set while a host listens to the events."""
        self.sent = 0
        self._link = link
        self._written = written
        self._path = Path(faults or Faults(), self._notify)
        self._connection: Connection | None = None
        self._working: set[asyncio.Task[None]] = set()
        self._events: Characteristic[bytes] = Characteristic(
            events, Characteristic.Properties.NOTIFY, Characteristic.READABLE, b""
        )
        self._battery: Characteristic[bytes] = Characteristic(
            UUID.from_16_bits(0x2A19),
            Characteristic.Properties.READ | Characteristic.Properties.NOTIFY,
            Characteristic.READABLE,
            bytes([percent]),
        )
        self._advertising = _advertising_data(advertisement)
        self._controller = Controller("cube", link=link, public_address=None)
        self._device = self._make_device(advertisement, control, address)

    def _make_device(self, advertisement: Advertisement, control: str, address: str) -> Device:
        config = DeviceConfiguration(
            name=advertisement.name or "",
            address=Address(address),
            advertising_data=self._advertising,
            advertising_interval_min=_ADVERTISING_MS,
            advertising_interval_max=_ADVERTISING_MS,
        )
        device = Device(config=config, host=Host(self._controller, self._controller))
        requests: Characteristic[bytes] = Characteristic(
            control,
            Characteristic.Properties.WRITE,
            Characteristic.WRITEABLE,
            CharacteristicValue(write=self._on_write),
        )
        texts = [
            Characteristic(
                UUID.from_16_bits(number),
                Characteristic.Properties.READ,
                Characteristic.READABLE,
                text.encode(),
            )
            for number, text in _DEVICE_TEXTS.items()
        ]
        device.add_services(
            [
                Service(UUID(advertisement.services[0]), [self._events, requests]),
                Service(UUID.from_16_bits(0x180F), [self._battery]),
                Service(UUID.from_16_bits(0x180A), texts),
            ]
        )
        device.on(Device.EVENT_CONNECTION, self._on_connection)
        self._events.on(Characteristic.EVENT_SUBSCRIPTION, self._on_subscription)
        return device

    async def start(self) -> None:
        """Switch it on: it advertises until it is connected, and again after a disconnection."""
        await self._device.power_on()
        await self._advertise()

    async def stop(self) -> None:
        """Switch it off."""
        await self.hide()
        self._path.close()
        self._link.remove_controller(self._controller)

    async def hide(self) -> None:
        """End the connection and stop advertising, like a cube that falls asleep."""
        await self._device.stop_advertising()
        await self.drop_link(advertise=False)

    async def show(self) -> None:
        """Advertise again."""
        await self._advertise()

    async def drop_link(self, *, advertise: bool = True) -> None:
        """End the connection, as when the radio is disturbed."""
        if (connection := self._connection) is not None:
            self._connection = None
            self.subscribed.clear()
            self._path.forget()
            await connection.disconnect(_REMOTE_USER_ENDED)
            if advertise:
                await self._advertise()

    def send(self, data: bytes) -> None:
        """Notify a packet if a host listens; never waits."""
        if self.subscribed.is_set():
            self._path.send(data)

    async def set_battery(self, percent: int) -> None:
        """Change the value of the battery's characteristic."""
        self._battery.value = bytes([percent])
        await self._device.notify_subscribers(self._battery, bytes([percent]))

    async def _advertise(self) -> None:
        await self._device.start_advertising(advertising_data=self._advertising)

    def _notify(self, data: bytes) -> None:
        if self._connection is not None:
            self.sent += 1
            self._spawn(self._device.notify_subscriber(self._connection, self._events, data))

    def _spawn(self, work: Coroutine[Any, Any, None]) -> None:
        # Tasks begin in the order in which they are made, and sending a notification never waits.
        task = asyncio.create_task(work)
        self._working.add(task)
        task.add_done_callback(self._working.discard)

    def _on_connection(self, connection: Connection) -> None:
        self.connections += 1
        self._connection = connection
        connection.on(connection.EVENT_DISCONNECTION, self._on_disconnection)

    def _on_disconnection(self, reason: int) -> None:
        if self._connection is not None:
            self._connection = None
            self.subscribed.clear()
            self._path.forget()
            self._spawn(self._advertise())

    def _on_subscription(self, bearer: Bearer, notify: bool, indicate: bool) -> None:
        if notify:
            self.subscribed.set()
        else:
            self.subscribed.clear()

    def _on_write(self, bearer: Bearer, data: bytes) -> None:
        self._written(bytes(data))


def _advertising_data(advertisement: Advertisement) -> bytes:
    """The advertisement in at most 31 bytes: the name is cut first."""
    service = bytes(reversed(bytes.fromhex(advertisement.services[0].replace("-", ""))))
    name = (advertisement.name or "").encode()
    parts = [
        (AdvertisingData.FLAGS, bytes([0x06])),
        (AdvertisingData.COMPLETE_LIST_OF_128_BIT_SERVICE_CLASS_UUIDS, service),
        (AdvertisingData.COMPLETE_LOCAL_NAME, name[:8]),
    ]
    return bytes(AdvertisingData([(kind, data) for kind, data in parts if data]))
