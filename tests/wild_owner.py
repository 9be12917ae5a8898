"""An owner of a wild cube whom the conductor leads, on a clock that runs as fast as it can."""

from __future__ import annotations

import asyncio
import random
from typing import TYPE_CHECKING

from wild_layouts import Owner, way_home

from livecube.composition.learning import Conductor
from livecube.cube.position import inverse_turn
from livecube.edges.link import Notification

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Sequence

    from wild_layouts import Slip, Wild

    from livecube.events import Asked, Packet
    from livecube.learning.recording import Recording

STEP_S = 0.05
"""Seconds of one step of the clock."""


class Led:
    """Turns some time after each request, and sometimes slips; the cube streams all the time."""

    def __init__(self, layout: Wild, seed: int, slips: Sequence[Slip]) -> None:
        self.rng = random.Random(f"led {seed}")
        self.owner = Owner(layout, self.rng, 0, 10.0)
        self.now = self.lived = 0.0
        self.said: list[str] = []
        self.asked: list[tuple[int, ...] | None] = []
        self._zero = self.owner.host_s + 10.0
        self._plan = dict(zip(self.rng.sample(range(5, 110), len(slips)), slips, strict=True))
        self._due: list[tuple[float, int, bool]] = []
        self._sent: asyncio.Queue[Notification] = asyncio.Queue()

    async def lead(self) -> Recording:
        """The whole routine."""
        conductor = Conductor(lambda: self.now, self._ask, tell=self.said.append)
        return await conductor.lead(self._notifications(), self._sleep)

    def _ask(self, asked: Asked) -> None:
        self.asked.append(asked.turns)
        slip, at = self._plan.pop(len(self.asked), None), self.now
        turns = way_home(self.owner) if asked.turns is None else [*asked.turns]
        if asked.turns is not None and slip in ("wrong", "corrected"):
            wrong = self.rng.choice([t for t in range(18) if t % 3 != 1 and t not in turns])
            turns = [wrong] if slip == "wrong" else [wrong, inverse_turn(wrong), *turns]
        at += self.rng.uniform(40, 300) if slip == "pause" else 0
        for turn in turns:
            at += self.rng.uniform(0.4, 1.0)
            self._due.append((at, turn, slip == "lost"))

    async def _sleep(self, seconds: float) -> None:
        end = self.now + seconds
        while self.now < end:
            self.now = min(end, self.now + STEP_S)
            self._live()
            for _ in range(4):
                await asyncio.sleep(0)
        await asyncio.sleep(0)

    def _live(self) -> None:
        """Let the cube send its packets until now."""
        while self._due and self._due[0][0] <= self.now:
            at, turn, lost = self._due.pop(0)
            self._arrive(self.owner.turned(turn, max(0.0, at - self.lived), lost=lost))
            self.lived = max(self.lived, at)
        if self.now > self.lived:
            self._arrive(self.owner.waited(self.now - self.lived))
            self.lived = self.now

    def _arrive(self, packets: list[Packet]) -> None:
        for packet in packets:
            self._sent.put_nowait(Notification(packet.t - self._zero, packet.char, packet.data))

    async def _notifications(self) -> AsyncIterator[Notification]:
        while True:
            yield await self._sent.get()
