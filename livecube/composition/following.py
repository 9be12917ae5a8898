"""Following a cube or a log: events through the pipeline to the sinks."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING, Final

from livecube.composition.refining import Refiner, find_openings
from livecube.mending.correction import Correction

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Callable, Iterable

    from livecube.advice.said import Happening
    from livecube.composition.hub import Hub
    from livecube.composition.pipeline import Pipeline
    from livecube.events import CubeEvent

__all__ = ["CubeFollower", "follow_log"]

_LATE_S: Final = 0.1
"""So long an alarm waits for what happened before it and is still on its way (common practice, no
published source: radio packets are rarely later)."""


class CubeFollower:
    """Follows a cube, wakes the pipeline when it is due, and takes in what the solver says.

    ``speed``: how many of the cube's seconds pass in one of ours. Its ``refiner`` has to be run
    beside it. ``lead`` may put marks before and behind an event.
    """

    def __init__(
        self,
        pipeline: Pipeline,
        hub: Hub,
        speed: float = 1.0,
        lead: Callable[[CubeEvent], Iterable[CubeEvent]] = lambda event: (event,),
    ) -> None:
        self._loop = asyncio.get_running_loop()
        self.refiner = Refiner(pipeline, self._tell, self.now)
        self._lead = lead
        self._pipeline = pipeline
        self._hub = hub
        self._speed = speed
        self._moment = (0.0, 0.0)
        """The cube's time at its last event and the loop's time then; replaced at once."""
        self._alarm: asyncio.TimerHandle | None = None
        self._correction = Correction()

    async def follow(self, events: AsyncIterator[CubeEvent]) -> None:
        """Follow a cube until its link ends."""
        self._moment = (0.0, self._loop.time())
        async for event in events:
            self._moment = (event.t, self._loop.time())
            self._take(event)

    def finish(self) -> None:
        """The cube is followed no longer."""
        self._tell(self._pipeline.finish())
        self._drop_alarm()

    def say(self, mark: Callable[[float], CubeEvent]) -> None:
        """The solver says something now; ``mark`` makes it an event of the time it is given.

        It gets the time of the cube's last event, so that events stay in order.
        """
        self._take(mark(self._moment[0]))

    def now(self) -> float:
        """The cube's time, as far as can be told between its events; from any thread."""
        t, at = self._moment
        return t + (self._loop.time() - at) * self._speed

    def _take(self, event: CubeEvent) -> None:
        self.pass_on(self._lead(self._correction.correct(event)))

    def pass_on(self, events: Iterable[CubeEvent]) -> None:
        """Tell the sinks and the pipeline, as it is.

        An event may arrive before the alarm that was due before it: then it is woken first.
        """
        for event in events:
            while (due := self._pipeline.due) is not None and due <= event.t:
                self._tell(self._pipeline.wake())
            self._hub.publish(event)
            self._tell(self._pipeline.feed(event))

    def _tell(self, happenings: Iterable[Happening]) -> None:
        for happening in happenings:
            self._hub.publish(happening)
        self.refiner.look()
        self._set_alarm()

    def _set_alarm(self) -> None:
        self._drop_alarm()
        if (due := self._pipeline.due) is not None:
            t, at = self._moment
            self._alarm = self._loop.call_at(at + (due - t + _LATE_S) / self._speed, self._wake)

    def _drop_alarm(self) -> None:
        if self._alarm is not None:
            self._alarm.cancel()
            self._alarm = None

    def _wake(self) -> None:
        self._tell(self._pipeline.wake())


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

    async def wait_until(t: float) -> None:
        nonlocal first
        if speed is not None:
            first = t if first is None else first
            await asyncio.sleep(max(0.0, (t - first) / speed - (now() - began)))

    for event in events:
        while (due := pipeline.due) is not None and due <= event.t:
            await wait_until(due)
            await _deliver(hub, pipeline.wake())
            await _deliver(hub, await _openings(pipeline))
        await wait_until(event.t)
        await _deliver(hub, pipeline.feed(event))
    await _deliver(hub, pipeline.finish())


async def _openings(pipeline: Pipeline) -> list[Happening]:
    """The answer to a question about a scrambled position; the log waits for it."""
    question, advisor = pipeline.question, pipeline.advisor
    if advisor is None or question is None:
        return []
    rows = await asyncio.to_thread(find_openings, advisor, question)
    return pipeline.opened(question, rows or [], question.t)


async def _deliver(hub: Hub, happenings: Iterable[Happening]) -> None:
    for happening in happenings:
        await hub.deliver(happening)
