"""A link to a simulated cube: the virtual solver turns it, its firmware sends real packets."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING, Final

from livecube.edges.link import Notification

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Callable

    from livecube.decoding import Write
    from livecube.virtual.cube import SimulatedCube
    from livecube.virtual.session import VirtualSession

__all__ = ["SimulatedLink"]

_IDLE_S: Final = 0.1
"""How often the firmware may send what is due without a turn."""
_LINGER_S: Final = 1.5
"""How long the link stays up after the last turn, so that the cube's last word arrives."""


class SimulatedLink:
    """Plays a virtual session on a simulated cube.

    ``speed``: how many of the cube's seconds pass in one of ours. ``now`` gives host seconds.
    """

    def __init__(
        self,
        cube: SimulatedCube,
        session: VirtualSession,
        now: Callable[[], float],
        speed: float = 1.0,
    ) -> None:
        self._cube = cube
        self._session = session
        self._now = now
        self._speed = speed
        self._began = now()
        self._next_s = 0.0
        """When the next turn is due: the cube's clock never runs past a turn not made yet."""
        self._sent: asyncio.Queue[Notification | None] = asyncio.Queue()

    def write(self, write: Write) -> None:
        """Send bytes to the cube."""
        self._send(self._cube.written(write.data, self._cube_ms()))

    async def notifications(self) -> AsyncIterator[Notification]:
        """What the cube sends, until it is switched off after its last turn."""
        self._began = self._now()
        turning = asyncio.create_task(self._turn(), name="virtual solver")
        try:
            while (notification := await self._sent.get()) is not None:
                yield notification
        finally:
            turning.cancel()

    async def _turn(self) -> None:
        for turn in self._session.turns:
            self._next_s = turn.t
            await self._wait_until(turn.t)
            self._send(self._cube.turn(turn.turn, round(turn.t * 1000)))
        self._next_s += _LINGER_S
        await self._wait_until(self._next_s)
        self._sent.put_nowait(None)

    async def _wait_until(self, cube_s: float) -> None:
        while (left := (cube_s - self._cube_s()) / self._speed) > 0:
            await asyncio.sleep(min(left, _IDLE_S))
            if left > _IDLE_S:
                self._send(self._cube.idle(self._cube_ms()))

    def _cube_s(self) -> float:
        return (self._now() - self._began) * self._speed

    def _cube_ms(self) -> int:
        return round(min(self._cube_s(), self._next_s) * 1000)

    def _send(self, packets: tuple[bytes, ...]) -> None:
        for data in packets:
            self._sent.put_nowait(Notification(self._now(), self._cube.events, data))
