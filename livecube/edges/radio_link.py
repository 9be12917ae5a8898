"""A link to a cube by radio: it connects, streams, and comes back when the connection is lost."""

from __future__ import annotations

import asyncio
import random
from contextlib import suppress
from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING, Final

from livecube.edges.link import CubeFacts, LinkDown, LinkUp, Notification
from livecube.edges.radio import uuid16
from livecube.errors import RadioError
from livecube.events import DEVICE_KEYS

if TYPE_CHECKING:
    from collections.abc import AsyncGenerator, Callable, Iterator

    from livecube.decoding import Write
    from livecube.edges.link import LinkItem
    from livecube.edges.radio import Connection, Radio, Sighting

__all__ = ["RadioLink", "back_off"]

_FIRST_S: Final = 0.2
"""The first delay: after a short disturbance a cube is back at once."""
_MOST_S: Final = 5.0
"""The longest delay: nobody should wait longer after bringing the cube back."""
_TRIES: Final = 3
"""Tries for the first connection."""
_STEADY_S: Final = 10.0
"""A connection that lasts this long was good: after it the delays start again at the shortest."""
_LOOK_S: Final = 10.0
"""Seconds of one search for a lost cube."""
_INBOX: Final = 8192
"""Most items that wait for the decoder: 40 s of the fastest cube."""

_BATTERY: Final = uuid16(0x2A19)
_DEVICE: Final = {
    key: uuid16(number)
    for key, number in zip(DEVICE_KEYS, (0x2A29, 0x2A24, 0x2A27, 0x2A26, 0x2A28), strict=True)
}
"""Device information."""


def back_off(rng: random.Random) -> Iterator[float]:
    """Seconds to wait before each try: doubling, with jitter, so that tries do not collide."""
    most = _FIRST_S
    while True:
        yield most * rng.uniform(0.5, 1.0)
        most = min(_MOST_S, most * 2)


@dataclass(slots=True)
class _Live:
    """A connection that is up, and the writes that wait to be sent."""

    connection: Connection
    lost: asyncio.Event
    outbox: asyncio.Queue[Write] = field(default_factory=asyncio.Queue)


class RadioLink:
    """Implements :class:`livecube.edges.link.Link`; ``notify`` are the characteristics to hear.

    ``now`` gives host seconds. The link ends for good only if the cube cannot be connected
    at all: then ``items`` raises :class:`~livecube.errors.RadioError`.
    """

    def __init__(
        self,
        radio: Radio,
        sighting: Sighting,
        notify: tuple[str, ...],
        now: Callable[[], float],
        delays: Callable[[], Iterator[float]] = lambda: back_off(random.Random()),
    ) -> None:
        self.dropped = 0
        """Number of notifications without room; the decoder sees them as lost packets."""
        self._radio = radio
        self._sighting = sighting
        self._notify = notify
        self._now = now
        self._new_delays = delays
        self._delays = delays()
        self._inbox: asyncio.Queue[LinkItem | None] = asyncio.Queue(_INBOX)
        self._live: _Live | None = None
        self._asked = False
        """Whether the device information was read; it never changes."""

    def write(self, write: Write) -> None:
        """Send bytes to the cube; while the link is down they are dropped."""
        if self._live is not None:
            self._live.outbox.put_nowait(write)

    async def items(self) -> AsyncGenerator[LinkItem, None]:
        """All items from the cube, also across losses, until the caller stops."""
        keeping = asyncio.create_task(self._keep(), name="radio link")
        keeping.add_done_callback(lambda task: self._put(None))
        try:
            while (item := await self._inbox.get()) is not None:
                yield item
            await keeping
        finally:
            keeping.cancel()
            await asyncio.wait([keeping])

    async def _keep(self) -> None:
        live = await self._first()
        while True:
            came_up = self._now()
            await self._serve(live)
            self._put(LinkDown(self._now()))
            if self._now() - came_up >= _STEADY_S:
                self._delays = self._new_delays()
            live = await self._again()

    async def _first(self) -> _Live:
        for _ in range(_TRIES - 1):
            try:
                return await self._establish()
            except RadioError as error:
                if error.trouble == "refused":
                    raise
            await asyncio.sleep(next(self._delays))
        return await self._establish()

    async def _again(self) -> _Live:
        while True:
            await asyncio.sleep(next(self._delays))
            with suppress(RadioError):
                return await self._establish()
            # It may be away for longer; systems forget devices that have been silent for a while.
            with suppress(RadioError):
                await self._look()

    async def _look(self) -> None:
        address = self._sighting.address
        for seen in await self._radio.scan(_LOOK_S, lambda sighting: sighting.address == address):
            if seen.address == address:
                self._sighting = seen

    async def _establish(self) -> _Live:
        """Connect and subscribe; later notifications wait behind a ``LinkUp``."""
        lost = asyncio.Event()
        early: list[Notification] = []
        up = False

        def heard(characteristic: str, data: bytes) -> None:
            notification = Notification(self._now(), characteristic, data)
            if up:
                self._put(notification)
            else:
                early.append(notification)

        connection = await self._radio.connect(self._sighting, lost.set)
        try:
            for characteristic in self._notify:
                await connection.subscribe(characteristic, partial(heard, characteristic))
        except BaseException:
            await connection.close()
            raise
        self._live = live = _Live(connection, lost)
        self._put(LinkUp(self._now()))
        for notification in early:
            self._put(notification)
        up = True
        return live

    async def _serve(self, live: _Live) -> None:
        """Send and read over a connection until it is lost."""
        helping = [
            asyncio.create_task(self._send(live), name="radio writes"),
            asyncio.create_task(self._ask(live.connection), name="cube facts"),
        ]
        try:
            await live.lost.wait()
        finally:
            self._live = None
            for task in helping:
                task.cancel()
            await asyncio.wait(helping)
            await live.connection.close()

    async def _send(self, live: _Live) -> None:
        try:
            while True:
                write = await live.outbox.get()
                await live.connection.write(write.characteristic, write.data)
        except RadioError:
            live.lost.set()  # a connection that cannot send is useless

    async def _ask(self, connection: Connection) -> None:
        """Read the standard services; unreadable characteristics are left out."""
        with suppress(RadioError):
            if connection.readable(_BATTERY):
                self._battery(await connection.read(_BATTERY))
            if _BATTERY in connection.notifying() and _BATTERY not in self._notify:
                await connection.subscribe(_BATTERY, self._battery)
        if self._asked:
            return
        told: dict[str, str] = {}
        for name, characteristic in _DEVICE.items():
            with suppress(RadioError):
                if connection.readable(characteristic):
                    told[name] = _text(await connection.read(characteristic))
        self._asked = True
        if any(told.values()):
            device = tuple((name, text) for name, text in told.items() if text)
            self._put(CubeFacts(self._now(), device=device))

    def _battery(self, data: bytes) -> None:
        if data and data[0] <= 100:
            self._put(CubeFacts(self._now(), percent=data[0]))

    def _put(self, item: LinkItem | None) -> None:
        try:
            self._inbox.put_nowait(item)
        except asyncio.QueueFull:
            self.dropped += 1
            if not isinstance(item, Notification):  # these few items must not be dropped
                self._inbox.get_nowait()
                self._inbox.put_nowait(item)


def _text(data: bytes) -> str:
    return data.rstrip(b"\0").decode("utf-8", "replace").strip()
