"""Following a cube or a log: events through the pipeline to the sinks."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING

from livecube.clock import CubeClock

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Callable, Iterable

    from livecube.composition.hub import Hub
    from livecube.composition.pipeline import Pipeline
    from livecube.decoding import Decoder
    from livecube.edges.link import Link
    from livecube.events import CubeEvent

__all__ = ["decoded", "follow_cube", "follow_log"]


async def decoded(link: Link, decoder: Decoder) -> AsyncIterator[CubeEvent]:
    """The events of a link, decoded and on the cube's clock."""
    clock = CubeClock(decoder.clock_bits)
    for write in decoder.connected():
        link.write(write)
    async for notification in link.notifications():
        result = decoder.received(notification.characteristic, notification.data)
        for write in result.writes:
            link.write(write)
        for event in clock.events(result.reports, notification.host_s):
            yield event


async def follow_cube(
    events: AsyncIterator[CubeEvent],
    pipeline: Pipeline,
    hub: Hub,
    turned: Callable[[], None] = lambda: None,
) -> None:
    """Follow a cube until its link ends; ``turned`` is called after each event."""
    async for event in events:
        hub.publish(event)
        for happening in pipeline.feed(event):
            hub.publish(happening)
        turned()
    for happening in pipeline.finish():
        hub.publish(happening)


async def follow_log(
    events: Iterable[CubeEvent],
    pipeline: Pipeline,
    hub: Hub,
    speed: float | None,
    now: Callable[[], float],
) -> None:
    """Follow a log at so many of its seconds in one of ours; None: as fast as it goes."""
    first: float | None = None
    began = now()
    for event in events:
        if speed is not None:
            first = event.t if first is None else first
            await asyncio.sleep(max(0.0, (event.t - first) / speed - (now() - began)))
        for happening in pipeline.feed(event):
            await hub.deliver(happening)
    for happening in pipeline.finish():
        await hub.deliver(happening)
