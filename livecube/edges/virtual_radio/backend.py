"""bleak backends over a bumble link, to be passed by bleak's public ``backend=``."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING, Any, Final, cast

from bleak.backends.characteristic import BleakGATTCharacteristic
from bleak.backends.client import BaseBleakClient
from bleak.backends.descriptor import BleakGATTDescriptor
from bleak.backends.scanner import AdvertisementData, BaseBleakScanner
from bleak.backends.service import BleakGATTService, BleakGATTServiceCollection
from bleak.exc import BleakError, BleakGATTProtocolError
from bumble.att import ATT_Error
from bumble.controller import Controller
from bumble.core import UUID, AdvertisingData, CommandTimeoutError
from bumble.core import TimeoutError as BumbleTimeoutError
from bumble.device import Connection, Device, Peer
from bumble.hci import Address
from bumble.host import Host

if TYPE_CHECKING:
    from collections.abc import Callable, Coroutine

    from bleak.args import SizedBuffer
    from bleak.assigned_numbers import CharacteristicPropertyName
    from bleak.backends.client import NotifyCallback
    from bleak.backends.device import BLEDevice
    from bumble.device import Advertisement
    from bumble.gatt_client import CharacteristicProxy
    from bumble.link import LocalLink

__all__ = ["Central"]

_ADDRESS: Final = "F0:F1:F2:F3:F4:02"
_MTU: Final = 247
_SERVICES: Final = (
    AdvertisingData.COMPLETE_LIST_OF_128_BIT_SERVICE_CLASS_UUIDS,
    AdvertisingData.INCOMPLETE_LIST_OF_128_BIT_SERVICE_CLASS_UUIDS,
)
_PROPERTIES: Final[dict[int, CharacteristicPropertyName]] = {
    0x02: "read",
    0x04: "write-without-response",
    0x08: "write",
    0x10: "notify",
    0x20: "indicate",
}


class Central:
    """The host's side of a link: one adapter, whose ``client`` and ``scanner`` bleak can use."""

    def __init__(self, link: LocalLink) -> None:
        self.controller = Controller("host", link=link, public_address=None)
        host = Host(self.controller, self.controller)
        self.device = Device(name="host", address=Address(_ADDRESS), host=host)
        self.client = cast("type[BaseBleakClient]", type("Client", (_Client,), {"central": self}))
        self._connecting = asyncio.Lock()
        """A controller makes one connection at a time."""
        self.scanner = cast(
            "type[BaseBleakScanner]", type("Scanner", (_Scanner,), {"central": self})
        )

    async def start(self) -> None:
        """Switch the adapter on."""
        await self.device.power_on()

    async def connect(self, address: str, seconds: float) -> Connection:
        """Connect; raises ``TimeoutError`` without an answer.

        With bumble's own limit the call would never return for a missing peer.
        """
        async with self._connecting:
            try:
                async with asyncio.timeout(seconds):
                    return await self.device.connect(Address(address), timeout=None)
            except TimeoutError:
                self.controller.pending_le_connection = None
                raise


class _Scanner(BaseBleakScanner):
    central: Central

    def __init__(self, detected: Any, services: list[str] | None, *_: object, **__: object) -> None:
        super().__init__(detected, services)

    async def start(self) -> None:
        self.seen_devices = {}
        device = self.central.device
        device.on(Device.EVENT_ADVERTISEMENT, self._on_advertisement)
        await device.start_scanning(filter_duplicates=False)

    async def stop(self) -> None:
        device = self.central.device
        device.remove_listener(Device.EVENT_ADVERTISEMENT, self._on_advertisement)
        await device.stop_scanning()

    def _on_advertisement(self, heard: Advertisement) -> None:
        address = heard.address.to_string(with_type_qualifier=False)
        data = AdvertisementData(
            local_name=heard.data.get(AdvertisingData.COMPLETE_LOCAL_NAME),
            manufacturer_data=dict(heard.data.get_all(AdvertisingData.MANUFACTURER_SPECIFIC_DATA)),
            service_data={},
            service_uuids=list(
                dict.fromkeys(
                    _uuid(uuid)
                    for kind in _SERVICES
                    for uuids in heard.data.get_all(kind)
                    for uuid in uuids
                )
            ),
            tx_power=None,
            rssi=heard.rssi,
            platform_data=(heard,),
        )
        if self.is_allowed_uuid(data.service_uuids):
            device = self.create_or_update_device(address, address, data.local_name, None, data)
            self.call_detection_callbacks(device, data)


class _Client(BaseBleakClient):
    central: Central

    def __init__(self, device: BLEDevice | str, **options: Any) -> None:
        super().__init__(device, **options)
        self._connection: Connection | None = None
        self._peer: Peer | None = None
        self._heard: dict[int, Callable[[bytes], None]] = {}

    @property
    def name(self) -> str:
        return self.address

    @property
    def mtu_size(self) -> int:
        return int(self._connection.att_mtu) if self._connection else 23

    @property
    def is_connected(self) -> bool:
        return self._connection is not None

    async def connect(self, pair: bool, **options: Any) -> None:
        connection = await self.central.connect(self.address, self._timeout)
        connection.once(Connection.EVENT_DISCONNECTION, self._on_disconnection)
        self._connection = connection
        self._peer = peer = Peer(connection)
        await self._asked(peer.request_mtu(_MTU))
        await self._asked(peer.discover_all())  # type: ignore[no-untyped-call]
        self.services = _services(peer, self.mtu_size)

    async def disconnect(self) -> None:
        if (connection := self._connection) is not None:
            self._disconnected_callback = None  # it is for losses only
            await connection.disconnect()
            self._connection = self.services = None

    async def pair(self, *_: object, **__: object) -> None:
        raise NotImplementedError("a virtual cube needs no pairing")

    async def unpair(self) -> None:
        raise NotImplementedError("a virtual cube needs no pairing")

    async def read_gatt_char(
        self, characteristic: BleakGATTCharacteristic, **_: object
    ) -> bytearray:
        return bytearray(await self._asked(self._client.read_value(characteristic.obj)))

    async def read_gatt_descriptor(self, descriptor: BleakGATTDescriptor, **_: object) -> bytearray:
        return bytearray(await self._asked(self._client.read_value(descriptor.obj)))

    async def write_gatt_char(
        self, characteristic: BleakGATTCharacteristic, data: SizedBuffer, response: bool
    ) -> None:
        await self._asked(
            self._client.write_value(characteristic.obj, bytes(data), with_response=response)
        )

    async def write_gatt_descriptor(
        self, descriptor: BleakGATTDescriptor, data: SizedBuffer
    ) -> None:
        await self._asked(self._client.write_value(descriptor.obj, bytes(data), True))

    async def start_notify(
        self, characteristic: BleakGATTCharacteristic, callback: NotifyCallback, **_: object
    ) -> None:
        def heard(value: bytes) -> None:
            callback(bytearray(value))

        self._heard[characteristic.handle] = heard
        await self._asked(self._client.subscribe(characteristic.obj, heard))

    async def stop_notify(self, characteristic: BleakGATTCharacteristic) -> None:
        heard = self._heard.pop(characteristic.handle, None)
        await self._asked(self._client.unsubscribe(characteristic.obj, heard))

    @property
    def _client(self) -> Any:
        if self._peer is None or self._connection is None:
            raise BleakError("Not connected")
        return self._peer.gatt_client

    async def _asked(self, request: Coroutine[Any, Any, Any]) -> Any:
        """The answer to a request.

        It is shielded, since an abandoned request would take the next one's answer. bumble
        reports a disconnection during it as a cancellation, which becomes an error here.
        """
        task = asyncio.current_task()
        try:
            return await asyncio.shield(request)
        except ATT_Error as error:
            raise BleakGATTProtocolError(error.error_code) from error
        except (BumbleTimeoutError, CommandTimeoutError) as error:
            raise TimeoutError(str(error)) from error
        except asyncio.CancelledError:
            if task is not None and task.cancelling():
                raise
            raise BleakError("disconnected") from None

    def _on_disconnection(self, reason: int) -> None:
        self._connection = self.services = None
        if self._disconnected_callback is not None:
            self._disconnected_callback()


def _services(peer: Peer, mtu: int) -> BleakGATTServiceCollection:
    found = BleakGATTServiceCollection()
    for service in peer.services:
        ours = BleakGATTService(service, service.handle, _uuid(service.uuid))
        found.add_service(ours)
        for characteristic in service.characteristics:
            theirs = _characteristic(characteristic, ours, mtu)
            found.add_characteristic(theirs)
            for descriptor in characteristic.descriptors:
                kind = _uuid(descriptor.type)
                found.add_descriptor(
                    BleakGATTDescriptor(descriptor, descriptor.handle, kind, theirs)
                )
    return found


def _characteristic(
    proxy: CharacteristicProxy[bytes], service: BleakGATTService, mtu: int
) -> BleakGATTCharacteristic:
    properties = [name for bit, name in _PROPERTIES.items() if proxy.properties & bit]
    return BleakGATTCharacteristic(
        proxy, proxy.handle, _uuid(proxy.uuid), properties, lambda: mtu - 3, service
    )


def _uuid(uuid: UUID) -> str:
    """A UUID as bleak writes it: whole and in lower case."""
    return str(uuid.to_hex_str("-")).lower() if len(uuid.uuid_bytes) == 16 else _whole(uuid)


def _whole(uuid: UUID) -> str:
    short = bytes(reversed(uuid.uuid_bytes)).hex()
    return f"{short:0>8}-0000-1000-8000-00805f9b34fb"
