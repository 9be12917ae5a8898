"""A link to a simulated cube: the virtual solver turns it, its firmware sends real packets."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING, Final

from livecube.edges.link import LinkUp, Notification

if TYPE_CHECKING:
    from collections.abc import AsyncGenerator, Callable

    from livecube.decoding import Write
    from livecube.edges.link import LinkItem
    from livecube.virtual.cube import SimulatedCube
    from livecube.virtual.session import VirtualSession

__all__ = ["Player", "SimulatedLink"]

# A virtual solver turns a simulated cube: its firmware's packets, each when it is due.


_IDLE_S: Final = 0.1
"""Interval at which the firmware may send packets without a turn."""
_LINGER_S: Final = 1.5
"""Seconds for which the cube stays on after the last turn, so that its last packets arrive."""


class Player:
    """Plays a virtual session on a simulated cube; ``send`` gets each packet.

    ``speed``: how many of the cube's seconds pass in one real second. ``now`` gives host seconds.
    ``begin``: the cube rests until this is set; None: turning begins at once.
    """

    def __init__(
        self,
        cube: SimulatedCube,
        session: VirtualSession,
        now: Callable[[], float],
        speed: float,
        send: Callable[[bytes], None],
        begin: asyncio.Event | None = None,
    ) -> None:
        self.cube = cube
        self._session = session
        self._now = now
        self._speed = speed
        self._send = send
        self._begin = begin
        self._began: float | None = None
        self._next_s = 0.0
        """Time of the next turn: the cube's clock never passes a turn that is not made yet."""

    def written(self, data: bytes) -> None:
        """Take in bytes that the host wrote to the cube."""
        self._send_all(self.cube.written(data, self.cube_ms()))

    def cube_ms(self) -> int:
        """The cube's clock."""
        return round(min(self._cube_s(), self._next_s) * 1000)

    async def play(self) -> None:
        """Make all turns; returns when the cube has sent its last packets."""
        if self._begin is not None:
            await self._begin.wait()
        self._began = self._now()
        for turn in self._session.turns:
            self._next_s = turn.t
            await self._wait_until(turn.t)
            self._send_all(self.cube.turn(turn.turn, round(turn.t * 1000)))
        self._next_s += _LINGER_S
        await self._wait_until(self._next_s)

    async def _wait_until(self, cube_s: float) -> None:
        while (left := (cube_s - self._cube_s()) / self._speed) > 0:
            await asyncio.sleep(min(left, _IDLE_S))
            if left > _IDLE_S:
                self._send_all(self.cube.idle(self.cube_ms()))

    def _cube_s(self) -> float:
        return 0.0 if self._began is None else (self._now() - self._began) * self._speed

    def _send_all(self, packets: tuple[bytes, ...]) -> None:
        for data in packets:
            self._send(data)


class SimulatedLink:
    """Plays a virtual session on a simulated cube that is always connected.

    ``speed``: how many of the cube's seconds pass in one real second. ``now`` gives host seconds.
    ``begin``: the cube rests until this is set; None: turning begins at once.
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
        """The cube's notifications, until it is switched off after its last turn."""
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
