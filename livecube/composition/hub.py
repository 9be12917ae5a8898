"""The hub: hands every event and happening to all sinks, each through a queue of its own.

A sink never calls back. One that is slow or broken loses only its own: its queue is
bounded, what does not fit is dropped and counted, and an error in it is kept and told at
the end.
"""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.edges.sink import Item, Sink

__all__ = ["Hub"]

_QUEUE: Final = 4096
"""Items that wait for one sink: minutes of turning."""


class _Lane:
    def __init__(self, sink: Sink) -> None:
        self.sink = sink
        self.queue: asyncio.Queue[Item | None] = asyncio.Queue(_QUEUE)
        self.dropped = 0
        self.error: Exception | None = None

    async def run(self) -> None:
        while (item := await self.queue.get()) is not None:
            if self.error is None:
                try:
                    await self.sink.take(item)
                except Exception as error:
                    self.error = error
            self.queue.task_done()
        try:
            await self.sink.close()
        except Exception as error:
            self.error = self.error or error


class Hub:
    """Use it as an asynchronous context manager; leaving it waits until all sinks are done."""

    def __init__(self, sinks: Sequence[Sink]) -> None:
        self._lanes = [_Lane(sink) for sink in sinks]
        self._tasks: list[asyncio.Task[None]] = []

    async def __aenter__(self) -> Hub:
        self._tasks = [
            asyncio.create_task(lane.run(), name=f"sink {lane.sink.name}") for lane in self._lanes
        ]
        return self

    async def __aexit__(self, *_: object) -> None:
        for lane in self._lanes:
            await lane.queue.put(None)
        await asyncio.gather(*self._tasks)

    def publish(self, item: Item) -> None:
        """Tell all sinks at once; never waits."""
        for lane in self._lanes:
            try:
                lane.queue.put_nowait(item)
            except asyncio.QueueFull:
                lane.dropped += 1

    async def deliver(self, item: Item) -> None:
        """Tell all sinks, waiting for room: for replays, where nothing is lost by waiting."""
        for lane in self._lanes:
            await lane.queue.put(item)

    async def settle(self) -> None:
        """Wait until all sinks have taken in what they were told."""
        await asyncio.gather(*(lane.queue.join() for lane in self._lanes))

    @property
    def is_cut_off(self) -> bool:
        """Whether something could not be written any more, for a full disk most likely."""
        return any(
            isinstance(lane.error, OSError) and not isinstance(lane.error, BrokenPipeError)
            for lane in self._lanes
        )

    def complaints(self) -> list[str]:
        """What went wrong with sinks, a sentence each."""
        told = []
        for lane in self._lanes:
            # Whoever read our output may leave at any time; that is no fault of anybody.
            if lane.error is not None and not isinstance(lane.error, BrokenPipeError):
                told.append(f"{lane.sink.name} stopped: {lane.error}")
            if lane.dropped:
                told.append(f"{lane.sink.name} was too slow and missed {lane.dropped} items")
        return told
