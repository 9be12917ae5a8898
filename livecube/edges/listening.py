"""Listening to all notifications of a device, for cubes that have no decoder yet."""

from __future__ import annotations

import asyncio
from functools import partial
from typing import TYPE_CHECKING

from livecube.edges.link import Notification

if TYPE_CHECKING:
    from collections.abc import AsyncGenerator, Callable

    from livecube.edges.radio import Radio, Sighting

__all__ = ["heard_from"]


async def heard_from(
    radio: Radio, sighting: Sighting, now: Callable[[], float], ready: Callable[[int], None]
) -> AsyncGenerator[Notification, None]:
    """Connect and subscribe to everything that notifies; yields it until the link is lost.

    ``ready`` gets the number of subscribed characteristics. ``now`` gives host seconds.

    Raises :class:`~livecube.errors.RadioError` if the device cannot be connected.
    """
    inbox: asyncio.Queue[Notification | None] = asyncio.Queue()

    def heard(characteristic: str, data: bytes) -> None:
        inbox.put_nowait(Notification(now(), characteristic, data))

    connection = await radio.connect(sighting, lambda: inbox.put_nowait(None))
    try:
        characteristics = connection.notifying()
        for characteristic in characteristics:
            await connection.subscribe(characteristic, partial(heard, characteristic))
        ready(len(characteristics))
        while (notification := await inbox.get()) is not None:
            yield notification
    finally:
        await connection.close()
