"""Leads a cube's owner through the routine, and records everything that the cube sends."""

from __future__ import annotations

import asyncio
import time
from contextlib import aclosing
from typing import TYPE_CHECKING, Final

from livecube.cube.position import turns_text
from livecube.edges.listening import heard_from
from livecube.events import Asked, Packet
from livecube.learning.learner import learn
from livecube.learning.recording import Recording
from livecube.learning.routine import STEPS, Routine
from livecube.learning.understanding import TRIED_AT, come_to_the_same, first_understanding
from livecube.learning.verdicts import Refused
from livecube.profiles.values import Claim

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Awaitable, Callable

    from livecube.edges.link import Notification
    from livecube.edges.radio import Radio, Sighting
    from livecube.events import CubeEvent
    from livecube.learning.understanding import Understanding

__all__ = ["Conductor", "asking_sentence", "led_by_radio"]


_MOST_REPEATED: Final = 2
"""Most times in a row that one step is asked for again."""
_MOST_ROUNDS: Final = 3
"""Most times that more is asked for at the end."""
_MORE_HELPS: Final = ("wrap", "not solved")
_TIMES: Final = 3
"""Times that a turn is asked for whose code is not known."""


class Conductor:
    """Leads through the routine; ``ask`` gets every step, ``keep`` every event, in order.

    The packets may come from anywhere: a radio, a simulation, a test. ``now`` must be the clock
    of their ``host_s``. Once turns can be decoded, each step is compared with the request, and
    asked for again if it differs; ``tell`` gets sentences about that. At the end the conductor asks
    for the turns that the recording lacks.
    """

    def __init__(
        self,
        now: Callable[[], float],
        ask: Callable[[Asked], None],
        keep: Callable[[CubeEvent], None] = lambda event: None,
        connected: asyncio.Event | None = None,
        tell: Callable[[str], None] = lambda sentence: None,
    ) -> None:
        """``connected``: the routine begins when this is set; None: at once."""
        self._connected = connected
        self.routine = Routine(now())
        self._now, self._ask, self._keep, self._tell = now, ask, keep, tell
        self._began = now()
        self._events: list[CubeEvent] = []
        self._news = asyncio.Event()
        self._understanding: Understanding | None = None
        self._told: list[int] = []
        """The turns decoded since the last step was asked for."""
        self._repeated = self._rounds = 0

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
            packet = Packet(one.host_s - self._began, one.characteristic, one.data)
            told = [] if self._understanding is None else self._understanding.told(packet)
            self._told += told
            arrived = Packet(one.host_s, one.characteristic, one.data)
            self.routine.take(arrived, telling=bool(told))
            asked = None if self.routine.at < 0 or self.routine.over else self.routine.asks
            if told and asked is not None:
                self.routine.doubtful = not come_to_the_same(asked, self._told)
            self._note(packet)
            self._news.set()

    async def _go_on(self, sleep: Callable[[float], Awaitable[None]]) -> None:
        if self._connected is not None:
            await self._connected.wait()
            self.routine = Routine(self._now())
        while not self.routine.over:
            await self._until_due(sleep)
            before, reminders = self.routine.at, self.routine.reminders
            if self.routine.wake(self._now()) and not self.routine.given_up:
                if self.routine.at > before >= 0:
                    await self._look_back()
                if not self.routine.over:
                    self._ask_now()
            elif self.routine.reminders > reminders:
                self._tell("Nothing was received for a while. Take your time.")

    def _ask_now(self) -> None:
        asked = Asked(self._now() - self._began, self.routine.asks)
        self._told = []
        self._note(asked)
        self._ask(asked)

    async def _look_back(self) -> None:
        """A step is done: show the decoded turns, and ask again if they differ."""
        asked, asked_for = self.routine.steps[self.routine.at - 1], self.routine.at
        if self._understanding is not None and asked is not None:
            self._compare(asked)
        elif self._understanding is None and asked_for in TRIED_AT:
            recording = Recording.of(self._events)
            self._understanding = await asyncio.to_thread(first_understanding, recording)
            if self._understanding is not None:
                self._tell("Your turns are understood now, and shown as they arrive.")
        if self.routine.over and self._rounds < _MOST_ROUNDS:
            await self._ask_for_more()

    def _compare(self, asked: tuple[int, ...]) -> None:
        assert self._understanding is not None
        told = turns_text(self._told) or "nothing"
        if self._understanding.judge(asked, self._told):
            self._repeated = 0
            self._tell(f"      understood: {told}")
        elif not self._understanding.stands:
            self._understanding = None
        elif self._repeated < _MOST_REPEATED:
            self._repeated += 1
            self._tell(f"      understood: {told}, not {turns_text(asked)}; once more, please")
            self.routine.again(self._now())
        else:
            self._repeated = 0

    async def _ask_for_more(self) -> None:
        """Ask for more turns, if they would make a profile of the recording."""
        self._rounds += 1
        recording = Recording.of(self._events)
        verdict = await asyncio.to_thread(learn, recording, "unknown", Claim(name="unknown"))
        if isinstance(verdict, Refused) and (verdict.turns or verdict.why in _MORE_HELPS):
            self._tell(f"Something is still missing: {verdict.reason}.")
            turns = [(turn,) for turn in verdict.turns for _ in range(_TIMES)]
            self.routine.more([*turns, None], self._now())

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
) -> Recording:
    """Lead the owner of a nearby cube through the routine; ``say`` shows each sentence.

    Raises :class:`~livecube.errors.RadioError` if the cube cannot be connected.
    """

    def ask(asked: Asked) -> None:
        say(asking_sentence(conductor.routine.at + 1, asked))

    connected = asyncio.Event()

    def ready(count: int) -> None:
        connected.set()
        say(
            f"{sighting.title} is connected; livecube listens to {count} of its characteristics.\n"
            "Hold the solved cube white up, green in front; turn one face at a time as you are "
            "asked, and wait for the next. First make no turn: tilt the cube a little to all "
            "sides, and hold it white up, green in front again."
        )

    conductor = Conductor(time.monotonic, ask, keep, connected, say)
    async with aclosing(heard_from(radio, sighting, time.monotonic, ready)) as packets:
        recording = await conductor.lead(packets)
    if recording.steps and recording.steps[-1].turns is not None:
        say("The routine was stopped: the cube went silent or its connection was lost.")
    return recording
