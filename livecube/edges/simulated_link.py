"""A link to a simulated cube: the virtual solver turns it, its firmware sends real packets."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING

from livecube.edges.link import LinkUp, Notification
from livecube.edges.playing import Player

if TYPE_CHECKING:
    from collections.abc import AsyncGenerator, Callable

    from livecube.decoding import Write
    from livecube.edges.link import LinkItem
    from livecube.virtual.cube import SimulatedCube
    from livecube.virtual.session import VirtualSession

__all__ = ["SimulatedLink"]


class SimulatedLink:
    """Plays a virtual session on a simulated cube that is always connected.

    ``speed``: how many of the cube's seconds pass in one of ours. ``now`` gives host seconds.
    ``begin``: the cube rests until this is set; None: it is turned at once.
    """

    def __init__(
        self,
        cube: SimulatedCube,
        session: VirtualSession,
        now: Callable[[], float],
        speed: float = 1.0,
        begin: asyncio.Event | None = None,
    ) -> None:
        self._now = now
        self._events = cube.events
        self._player = Player(cube, session, now, speed, self._send, begin)
        self._sent: asyncio.Queue[LinkItem | None] = asyncio.Queue()

    def write(self, write: Write) -> None:
        """Send bytes to the cube."""
        self._player.written(write.data)

    async def items(self) -> AsyncGenerator[LinkItem, None]:
        """What the cube sends, until it is switched off after its last turn."""
        yield LinkUp(self._now())
        turning = asyncio.create_task(self._player.play(), name="virtual solver")
        turning.add_done_callback(lambda task: self._sent.put_nowait(None))
        try:
            while (item := await self._sent.get()) is not None:
                yield item
        finally:
            turning.cancel()

    def _send(self, data: bytes) -> None:
        self._sent.put_nowait(Notification(self._now(), self._events, data))
