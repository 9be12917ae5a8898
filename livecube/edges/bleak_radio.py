"""The radio of this machine, by bleak: Linux, macOS and Windows.

bleak is imported when a radio is first used: a start without a radio must not wait for it. Its
callbacks are synchronous here and only pass data on. An asynchronous one would run as a task for
each notification, and tasks may finish out of order.
"""

from __future__ import annotations

import asyncio
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING, Any, Final

from livecube.decoding import Advertisement
from livecube.edges.radio import Connection, Sighting, explain
from livecube.errors import RadioError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from bleak import BleakClient
    from bleak.backends.client import BaseBleakClient
    from bleak.backends.device import BLEDevice
    from bleak.backends.scanner import AdvertisementData, BaseBleakScanner

__all__ = ["BleakRadio"]

_CONNECT_S: Final = 15.0
_CLOSE_S: Final = 5.0


class BleakRadio:
    """Implements :class:`livecube.edges.radio.Radio`.

    ``client`` and ``scanner``: bleak backends to use instead of the system's.
    """

    def __init__(
        self,
        label: str = "radio",
        client: type[BaseBleakClient] | None = None,
        scanner: type[BaseBleakScanner] | None = None,
    ) -> None:
        self.label = label
        self._client = client
        self._scanner = scanner

    async def scan(
        self, seconds: float, enough: Callable[[Sighting], bool] = lambda sighting: False
    ) -> list[Sighting]:
        """Listen for ``seconds``, or until ``enough``; returns the latest sighting of each."""
        with _in_words("the cube"):
            from bleak import BleakScanner

            seen: dict[str, Sighting] = {}
            done = asyncio.Event()

            def heard(device: BLEDevice, data: AdvertisementData) -> None:
                sighting = seen[device.address] = _sighting(device, data)
                if enough(sighting):
                    done.set()

            async with BleakScanner(heard, backend=self._scanner):
                with suppress(TimeoutError):
                    async with asyncio.timeout(seconds):
                        await done.wait()
        return list(seen.values())

    async def connect(
        self, sighting: Sighting, lost: Callable[[], None], seconds: float = _CONNECT_S
    ) -> Connection:
        """Connect; ``lost`` is called once if the connection ends by itself."""
        with _in_words(sighting.title):
            from bleak import BleakClient

            client = BleakClient(
                sighting.handle or sighting.address,  # type: ignore[arg-type] # opaque elsewhere
                disconnected_callback=lambda client: lost(),
                backend=self._client,
                timeout=seconds,
            )
            connection = _BleakConnection(client, sighting.title)
            try:
                await client.connect()
            except BaseException:
                await connection.close()
                raise
        return connection


class _BleakConnection:
    def __init__(self, client: BleakClient, title: str) -> None:
        self._client = client
        self._title = title

    def readable(self, characteristic: str) -> bool:
        found = self._find(characteristic)
        return found is not None and "read" in found.properties

    def notifying(self) -> tuple[str, ...]:
        return tuple(
            found.uuid
            for service in self._client.services
            for found in service.characteristics
            if {"notify", "indicate"} & set(found.properties)
        )

    async def read(self, characteristic: str) -> bytes:
        with _in_words(self._title):
            return bytes(await self._client.read_gatt_char(self._offered(characteristic)))

    async def write(self, characteristic: str, data: bytes) -> None:
        with _in_words(self._title):
            found = self._offered(characteristic)
            await self._client.write_gatt_char(found, data, response="write" in found.properties)

    async def subscribe(self, characteristic: str, heard: Callable[[bytes], None]) -> None:
        with _in_words(self._title):
            await self._client.start_notify(
                self._offered(characteristic), lambda sender, data: heard(bytes(data))
            )

    async def close(self) -> None:
        # Also after a loss: with bleak 3.1 on BlueZ, a lost connection that was not closed makes
        # every later notification arrive once more.
        with suppress(Exception):
            async with asyncio.timeout(_CLOSE_S):
                await self._client.disconnect()

    def _find(self, characteristic: str) -> Any:
        """The first with this UUID, or None. A cube may offer a UUID in two services."""
        for service in self._client.services:
            if (found := service.get_characteristic(characteristic)) is not None:
                return found
        return None

    def _offered(self, characteristic: str) -> Any:
        if (found := self._find(characteristic)) is None:
            raise RadioError(
                "refused",
                f"{self._title} has no characteristic {characteristic}; perhaps it is another "
                "kind of cube than its decoder takes it for (--decoder chooses one)",
            )
        return found


@contextmanager
def _in_words(cube: str) -> Iterator[None]:
    """Turn errors of bleak, the system and its services into ours."""
    try:
        yield
    except RadioError:
        raise
    except Exception as error:
        raise explain(error, cube) from error


def _sighting(device: BLEDevice, data: AdvertisementData) -> Sighting:
    name = data.local_name or device.name
    advertisement = Advertisement(
        name,
        tuple(uuid.lower() for uuid in data.service_uuids),
        tuple(sorted(data.manufacturer_data.items())),
    )
    return Sighting(device.address, name, data.rssi, advertisement, device)
