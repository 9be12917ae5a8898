"""Following a cube or a log: events through the pipeline to the sinks."""

from __future__ import annotations

import asyncio
from functools import partial
from typing import TYPE_CHECKING, Final, Protocol

from livecube.mending.mender import Correction

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Callable, Iterable, Sequence

    from livecube.advice.advisor import Advisor
    from livecube.advice.rows import Opportunity
    from livecube.advice.speaker import Happening
    from livecube.composition.pipeline import OpeningQuestion, Pipeline
    from livecube.edges.sinks import Item, Sink
    from livecube.events import CubeEvent

__all__ = [
    "SWITCH_S",
    "CubeFollower",
    "FindOpenings",
    "Hub",
    "Refiner",
    "find_beside",
    "find_openings",
    "follow_log",
]

# The hub: passes every event and happening to all sinks, each through a queue of its own.
#
# A sink never calls back. A slow or broken sink loses only its own items: its queue is bounded,
# items that do not fit are dropped and counted, and an error in it is kept and shown at the end.


_QUEUE: Final = 4096
"""Most items that wait for one sink: minutes of turning."""


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
        """Pass an item to all sinks; never waits."""
        for lane in self._lanes:
            try:
                lane.queue.put_nowait(item)
            except asyncio.QueueFull:
                lane.dropped += 1

    async def deliver(self, item: Item) -> None:
        """Pass an item to all sinks, and wait for room: for replays, where waiting does no harm."""
        for lane in self._lanes:
            await lane.queue.put(item)

    async def settle(self) -> None:
        """Wait until all sinks have taken in their items."""
        await asyncio.gather(*(lane.queue.join() for lane in self._lanes))

    @property
    def is_cut_off(self) -> bool:
        """Whether a sink could no longer write, most likely because of a full disk."""
        return any(
            isinstance(lane.error, OSError) and not isinstance(lane.error, BrokenPipeError)
            for lane in self._lanes
        )

    def complaints(self) -> list[str]:
        """Errors of sinks, a sentence each."""
        told = []
        for lane in self._lanes:
            # The reader of our output may leave at any time; that is not an error.
            if lane.error is not None and not isinstance(lane.error, BrokenPipeError):
                told.append(f"{lane.sink.name} stopped: {lane.error}")
            if lane.dropped:
                told.append(f"{lane.sink.name} was too slow and missed {lane.dropped} items")
        return told


# Beginnings for a scrambled cube: worked out beside the turning, since that takes long.
#
# An answer is dropped as soon as it is no longer needed.


SWITCH_S: Final = 0.0001
"""Seconds for which one thread may keep the interpreter while another waits for it: the refining
thread must not delay the turns."""


def find_openings(
    advisor: Advisor, question: OpeningQuestion, stopped: Callable[[], bool] = lambda: False
) -> list[Opportunity] | None:
    """The beginnings of a solve; None if ``stopped`` says that they are no longer needed."""
    from livecube.advice.inspection import openings  # late: a start must not wait for it

    return openings(advisor, question.position, question.faces, question.holding, stopped=stopped)


class FindOpenings(Protocol):
    """Finds the beginnings of a solve without holding up the loop; as :func:`find_openings`."""

    async def __call__(
        self, advisor: Advisor, question: OpeningQuestion, stopped: Callable[[], bool]
    ) -> list[Opportunity] | None:
        """The beginnings, or None if they are no longer needed."""
        ...


async def find_beside(
    advisor: Advisor, question: OpeningQuestion, stopped: Callable[[], bool]
) -> list[Opportunity] | None:
    """:func:`find_openings` in a thread."""
    return await asyncio.to_thread(find_openings, advisor, question, stopped)


class Refiner:
    """Answers a pipeline's latest question in another thread.

    ``tell`` gets the happenings of an answer; ``now`` gives the cube's time; ``find`` finds the
    answers.
    """

    def __init__(
        self,
        pipeline: Pipeline,
        tell: Callable[[Iterable[Happening]], None],
        now: Callable[[], float],
        find: FindOpenings = find_beside,
    ) -> None:
        self._advisor: Advisor | None = None
        self._find = find
        self._pipeline = pipeline
        self._tell = tell
        self._now = now
        self._asked: OpeningQuestion | None = None
        self._news = asyncio.Event()

    def begin(self, advisor: Advisor) -> None:
        """Answer from now on; only the thread uses the advisor.

        What an advisor before this one has answered is asked again, if it is still of use.
        """
        self._advisor = advisor
        self._pipeline.ask_again()
        self.look()
        self._news.set()

    def look(self) -> None:
        """Check the pipeline's question, which may have changed."""
        if self._pipeline.question is not self._asked:
            # A running search is not stopped at once: it checks only between two colours.
            self._asked = self._pipeline.question
            self._news.set()

    async def run(self) -> None:
        """Answer questions until cancelled."""
        while True:
            await self._news.wait()
            self._news.clear()
            question, advisor = self._asked, self._advisor
            if question is not None and advisor is not None:
                stopped = partial(self._moved_on, question, advisor)
                rows = await self._find(advisor, question, stopped)
                if rows is not None and advisor is self._advisor:
                    self._tell(self._pipeline.opened(question, rows, self._now()))

    def _moved_on(self, question: OpeningQuestion, advisor: Advisor) -> bool:
        return self._asked is not question or self._advisor is not advisor


_LATE_S: Final = 0.1
"""Delay of an alarm, for earlier events that are still on their way (common practice, no published
source: radio packets are rarely later)."""


class CubeFollower:
    """Follows a cube, wakes the pipeline when it is due, and takes in the solver's statements.

    ``speed``: how many of the cube's seconds pass in one real second. Its ``refiner`` must run
    beside it. ``lead`` may put marks before and after an event. ``find``: as for
    :class:`Refiner`.
    """

    def __init__(
        self,
        pipeline: Pipeline,
        hub: Hub,
        speed: float = 1.0,
        lead: Callable[[CubeEvent], Iterable[CubeEvent]] = lambda event: (event,),
        find: FindOpenings = find_beside,
    ) -> None:
        self._loop = asyncio.get_running_loop()
        self.refiner = Refiner(pipeline, self._tell, self.now, find)
        self._lead = lead
        self._pipeline = pipeline
        self._hub = hub
        self._speed = speed
        self._moment = (0.0, 0.0)
        """The cube's time at its last event and the loop's time then; replaced as a whole."""
        self._alarm: asyncio.TimerHandle | None = None
        self._correction = Correction()

    async def follow(self, events: AsyncIterator[CubeEvent]) -> None:
        """Follow a cube until its link ends."""
        self._moment = (0.0, self._loop.time())
        async for event in events:
            self._moment = (event.t, self._loop.time())
            self._take(event)

    def finish(self) -> None:
        """End of following the cube."""
        self._tell(self._pipeline.finish())
        self._drop_alarm()

    def say(self, mark: Callable[[float], CubeEvent]) -> None:
        """Take in a statement of the solver; ``mark`` makes an event of it for a time.

        It gets the time of the cube's last event, so that events stay in order.
        """
        self._take(mark(self._moment[0]))

    def now(self) -> float:
        """The cube's time, estimated between its events; from any thread."""
        t, at = self._moment
        return t + (self._loop.time() - at) * self._speed

    def _take(self, event: CubeEvent) -> None:
        self.pass_on(self._lead(self._correction.correct(event)))

    def pass_on(self, events: Iterable[CubeEvent]) -> None:
        """Pass events on to the sinks and the pipeline.

        An event may arrive before an alarm that was due earlier: then the alarm comes first.
        """
        for event in events:
            while (due := self._pipeline.due) is not None and due <= event.t:
                self._tell(self._pipeline.wake())
            self._hub.publish(event)
            # Notices have been published as events already.
            self._tell(told for told in self._pipeline.feed(event) if told is not event)

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
    """Follow a log at ``speed`` of its seconds in a real second; None: as fast as possible."""
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
