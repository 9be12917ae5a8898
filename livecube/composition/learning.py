"""Leads a cube's owner through the routine, and records everything that the cube sends."""

from __future__ import annotations

import asyncio
import time
from contextlib import aclosing
from typing import TYPE_CHECKING

from livecube.cube.position import turns_text
from livecube.edges.listening import heard_from
from livecube.events import Asked, Packet
from livecube.learning.recording import Recording
from livecube.learning.routine import STEPS, Routine

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Awaitable, Callable

    from livecube.edges.link import Notification
    from livecube.edges.radio import Radio, Sighting
    from livecube.events import CubeEvent

__all__ = ["Conductor", "asking_sentence", "led_by_radio"]


class Conductor:
    """Leads through the routine; ``ask`` gets every step, ``keep`` every event, in order.

    The packets may come from anywhere: a radio, a simulation, a test. ``now`` must be the clock
    of their ``host_s``.
    """

    def __init__(
        self,
        now: Callable[[], float],
        ask: Callable[[Asked], None],
        keep: Callable[[CubeEvent], None] = lambda event: None,
        connected: asyncio.Event | None = None,
    ) -> None:
        """``connected``: the routine begins when this is set; None: at once."""
        self._connected = connected
        self.routine = Routine(now())
        self._now, self._ask, self._keep = now, ask, keep
        self._began = now()
        self._events: list[CubeEvent] = []
        self._news = asyncio.Event()

    async def lead(
        self,
        notifications: AsyncIterator[Notification],
        sleep: Callable[[float], Awaitable[None]] = asyncio.sleep,
    ) -> Recording:
        """Go through the routine, until it is over or the cube or its owner stops."""
        arriving = asyncio.create_task(self._listen(notifications), name="packets")
        asking = asyncio.create_task(self._go_on(sleep), name="routine")
        try:
            await asyncio.wait((arriving, asking), return_when=asyncio.FIRST_COMPLETED)
        finally:
            for task in (arriving, asking):
                task.cancel()
            # The caller closes the notifications next, so reading must have ended.
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
            self._news.set()

    async def _go_on(self, sleep: Callable[[float], Awaitable[None]]) -> None:
        if self._connected is not None:
            await self._connected.wait()
            self.routine = Routine(self._now())
        while not self.routine.over:
            await self._until_due(sleep)
            if self.routine.wake(self._now()) and not self.routine.over:
                asked = Asked(self._now() - self._began, self.routine.asks)
                self._note(asked)
                self._ask(asked)

    async def _until_due(self, sleep: Callable[[float], Awaitable[None]]) -> None:
        """Wait until the routine is due; a packet may make it due sooner."""
        self._news.clear()
        pause = max(0.0, self.routine.due - self._now())
        both = [asyncio.ensure_future(sleep(pause)), asyncio.ensure_future(self._news.wait())]
        try:
            await asyncio.wait(both, return_when=asyncio.FIRST_COMPLETED)
        finally:
            for one in both:
                one.cancel()

    def _note(self, event: CubeEvent) -> None:
        self._events.append(event)
        self._keep(event)


def asking_sentence(number: int, asked: Asked) -> str:
    """The request to the owner: *12 of 91: turn R'*."""
    step = f"{number:3d} of {len(STEPS)}: "
    if asked.turns is None:
        return step + (
            "turn as you like, twenty turns or more, and end with the cube solved; then rest"
        )
    return step + f"turn {turns_text(asked.turns)}"


async def led_by_radio(
    radio: Radio,
    sighting: Sighting,
    say: Callable[[str], None],
    keep: Callable[[CubeEvent], None] = lambda event: None,
    now: Callable[[], float] = time.monotonic,
) -> Recording:
    """Lead the owner of a nearby cube through the routine; ``say`` shows each sentence.

    Raises :class:`~livecube.errors.RadioError` if the cube cannot be connected.
    """
    asked_for = 0

    def ask(asked: Asked) -> None:
        nonlocal asked_for
        asked_for += 1
        say(asking_sentence(asked_for, asked))

    connected = asyncio.Event()

    def ready(count: int) -> None:
        connected.set()
        say(
            f"{sighting.title} is connected and {count} of its characteristics are listened to.\n"
            "Hold the solved cube white up, green in front; keep it so, turn one face at a time as "
            "you are asked, and wait for the next. Keep it still now."
        )

    async with aclosing(heard_from(radio, sighting, now, ready)) as packets:
        recording = await Conductor(now, ask, keep, connected).lead(packets)
    if recording.steps and recording.steps[-1].turns is not None:
        say("The routine was broken off: the cube went silent or its connection was lost.")
    return recording
