"""The beat of a drill: ticks from the moment the cube is ready to the end of the solve."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING

from livecube.drills.beat import BeatJudged, BeatReady
from livecube.review.trying import SetUpAsked, SetUpGuided

if TYPE_CHECKING:
    from collections.abc import Callable

    from livecube.edges.sinks import Item

__all__ = ["BeatSink"]


class BeatSink:
    """Calls ``tick`` at each beat; ``now`` gives seconds. Late ticks do not shift later ones.

    ``speed``: seconds of the cube's time per second of real time.
    """

    name = "beat"

    def __init__(
        self, tick: Callable[[], None], now: Callable[[], float], speed: float = 1.0
    ) -> None:
        self._tick = tick
        self._speed = speed
        self._now = now
        self._ticking: asyncio.Task[None] | None = None

    async def take(self, item: Item) -> None:
        """Start or stop the ticks."""
        if isinstance(item, BeatReady):
            self._stop()
            self._ticking = asyncio.create_task(
                self._run(1 / (item.tempo * self._speed)), name="beat"
            )
        elif isinstance(item, SetUpAsked | SetUpGuided | BeatJudged):
            self._stop()

    async def close(self) -> None:
        """Stop the ticks."""
        self._stop()

    def _stop(self) -> None:
        if self._ticking is not None:
            self._ticking.cancel()
            self._ticking = None

    async def _run(self, beat_s: float) -> None:
        began, beats = self._now(), 0
        while True:
            self._tick()
            beats += 1
            await asyncio.sleep(max(0.0, began + beats * beat_s - self._now()))
