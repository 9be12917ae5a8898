"""Taking a cube's owner through the routine, while whatever the cube sends is recorded."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING

from livecube.events import Asked, Packet
from livecube.learning.recording import Recording
from livecube.learning.routine import Routine

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Awaitable, Callable

    from livecube.edges.link import Notification
    from livecube.events import CubeEvent

__all__ = ["Conductor"]


class Conductor:
    """Leads through the routine; ``ask`` is told every step, ``keep`` every event, in order.

    The packets may come from anywhere: a radio, a simulation, a test. ``now`` must be the clock
    of their ``host_s``.
    """

    def __init__(
        self,
        now: Callable[[], float],
        ask: Callable[[Asked], None],
        keep: Callable[[CubeEvent], None] = lambda event: None,
    ) -> None:
        self.routine = Routine(now())
        self._now, self._ask, self._keep = now, ask, keep
        self._began = now()
        self._events: list[CubeEvent] = []

    async def lead(
        self,
        notifications: AsyncIterator[Notification],
        sleep: Callable[[float], Awaitable[None]] = asyncio.sleep,
    ) -> Recording:
        """Go through the whole routine, or as far as the cube and its owner go along."""
        arriving = asyncio.create_task(self._listen(notifications), name="packets")
        asking = asyncio.create_task(self._go_on(sleep), name="routine")
        try:
            await asyncio.wait((arriving, asking), return_when=asyncio.FIRST_COMPLETED)
        finally:
            for task in (arriving, asking):
                task.cancel()
        await asyncio.gather(arriving, asking, return_exceptions=True)
        for task in (arriving, asking):
            if not task.cancelled() and (error := task.exception()) is not None:
                raise error
        return Recording.of(self._events)

    async def _listen(self, notifications: AsyncIterator[Notification]) -> None:
        async for one in notifications:
            t = one.host_s - self._began
            packet = Packet(t, one.characteristic, one.data)
            self.routine.take(Packet(one.host_s, one.characteristic, one.data))
            self._note(packet)

    async def _go_on(self, sleep: Callable[[float], Awaitable[None]]) -> None:
        while not self.routine.over:
            await sleep(max(0.0, self.routine.due - self._now()))
            if self.routine.wake(self._now()) and not self.routine.over:
                asked = Asked(self._now() - self._began, self.routine.asks)
                self._note(asked)
                self._ask(asked)

    def _note(self, event: CubeEvent) -> None:
        self._events.append(event)
        self._keep(event)
