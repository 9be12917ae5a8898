"""Publishing to a dashboard: messages are made, kept and sent in a thread with a loop of its own.

Nothing of it runs where turns are followed: the sink only appends to a queue. The loop of its own
can be of the kind that aiomqtt needs on every system.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import random
import secrets
import threading
import uuid
from collections import deque
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from livecube import __version__
from livecube.dashboard.discovery import birth_topic, configurations, is_birth
from livecube.dashboard.messages import Messenger, availability
from livecube.dashboard.topics import AVAILABILITY, RECENT, Tree, desk_part
from livecube.edges.broker import MOST_AT_ONCE, Parcel, connected
from livecube.errors import BrokerError, LivecubeError

if TYPE_CHECKING:
    from collections.abc import Callable, Coroutine, Iterator

    from livecube.dashboard.discovery import Form
    from livecube.dashboard.messages import Cube, Message
    from livecube.edges.broker import Access, Connection
    from livecube.edges.outbox import Letter, Outbox
    from livecube.edges.sink import Item

__all__ = ["Dashboard", "Plan", "delays"]

_FIRST_DELAY_S: Final = 0.2
_LONGEST_DELAY_S: Final = 30.0
_LATER_S: Final = 0.02
"""The thread is woken so long after an item: beside the turn that brought it, it would slow it."""
_STEADY_S: Final = 2.0
"""A connection that held so long was a good one: the next try is soon."""
_LAST_CHANCE_S: Final = 2.0
"""How long what waits is still sent in the end."""
_FAREWELL_S: Final = 1.0
_MOST_POSTED: Final = 10_000
"""Items that wait for the thread; it takes microseconds for each."""
_BIRTHS_APART_S: Final = 2.0
"""At most so often the desk introduces itself again, however often it is asked."""


@dataclass(frozen=True, slots=True)
class Plan:
    """Where and how a desk publishes."""

    access: Access
    desk: str
    """As people call it."""
    form: Form = "device"
    discovery_prefix: str = "homeassistant"

    @property
    def tree(self) -> Tree:
        """Its topics."""
        return Tree(self.access.address.prefix, desk_part(self.desk))


def delays(chance: Callable[[], float] = random.random) -> Iterator[float]:
    """Seconds before the next try: doubling, and no two desks at the same moment."""
    delay = _FIRST_DELAY_S
    while True:
        yield delay * (0.5 + chance())
        delay = min(2 * delay, _LONGEST_DELAY_S)


class Dashboard:
    """One run's publishing. ``start`` it, ``post`` items, ``finish``.

    ``clock``: the time of day for a time of the cube, as text. ``complain`` is told in words, from
    another thread, when something is wrong, and when it is well again.
    """

    def __init__(
        self,
        plan: Plan,
        outbox: Outbox,
        cube: Cube,
        clock: Callable[[float], str],
        complain: Callable[[str], None],
    ) -> None:
        self._plan = plan
        self._outbox = outbox
        self._complain = complain
        self._introduction = configurations(
            plan.tree, plan.desk, __version__, plan.form, plan.discovery_prefix
        )
        recent = (outbox.state(RECENT) or {}).get("solves", [])
        self._messenger = Messenger(plan.desk, cube, clock, _new_id, outbox.seq, recent)
        self._posted: deque[Item | None] = deque()
        self._missed = 0
        self._over = threading.Event()
        self._news, self._fresh, self._ending = asyncio.Event(), asyncio.Event(), asyncio.Event()
        self._born = asyncio.Event()
        self._thread_loop: asyncio.AbstractEventLoop
        self._waking = False
        self._trouble: str | None = None
        self._told_dropped = outbox.dropped
        self.last_words: list[str] = []
        """What is to be said when all is over, a sentence each."""

    def start(self) -> None:
        """Begin to publish."""
        self._thread_loop = asyncio.SelectorEventLoop()
        threading.Thread(target=self._run, name="dashboard", daemon=True).start()

    def post(self, item: Item | None) -> None:
        """Take an item over; returns at once. None: it was the last. Needs a running loop."""
        if len(self._posted) >= _MOST_POSTED and item is not None:
            self._missed += 1
            return
        self._posted.append(item)
        if not self._waking:
            self._waking = True
            asyncio.get_running_loop().call_later(_LATER_S, self._wake)

    def _wake(self) -> None:
        self._waking = False
        with contextlib.suppress(RuntimeError):  # the thread has ended by an error
            self._thread_loop.call_soon_threadsafe(self._news.set)

    async def finish(self) -> None:
        """Send what waits, say goodbye; after some seconds leave what could not be sent."""
        self.post(None)
        self._wake()
        await asyncio.to_thread(self._over.wait, _LAST_CHANCE_S + 2 * _FAREWELL_S)

    # What follows runs in the thread.

    def _run(self) -> None:
        try:
            self._thread_loop.run_until_complete(self._serve())
        except Exception as error:
            self.last_words.append(f"the dashboard stopped: {type(error).__name__}: {error}")
        finally:
            self._outbox.close()
            self._over.set()
            _close(self._thread_loop)

    async def _serve(self) -> None:
        self._outbox.add(self._messenger.begin())
        sending = asyncio.create_task(self._keep_sending(), name="sender")
        await self._keep_writing()
        self._ending.set()
        self._fresh.set()
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(sending, _LAST_CHANCE_S)
        if left := self._outbox.waiting:
            will = f"{_messages(left)} for the dashboard will be sent at the next start"
            self.last_words.append(will)
        if self._missed:
            self.last_words.append(f"the dashboard was too slow and missed {self._missed} items")

    async def _keep_writing(self) -> None:
        """Make messages of what is posted and keep them, to the last."""
        over = False
        while not over:
            await self._news.wait()
            self._news.clear()
            messages: list[Message] = []
            while self._posted and not over:
                item = self._posted.popleft()
                over = item is None
                messages += self._messenger.end() if over else self._messenger.take(item)
            self._outbox.add(messages)
            self._fresh.set()

    async def _keep_sending(self) -> None:
        """Connect and send, again and again; in the end there is one more try."""
        waits = delays()
        while True:
            began, last = asyncio.get_running_loop().time(), self._ending.is_set()
            try:
                await self._send()
                return
            except BrokerError as error:
                self._say(error)
            except LivecubeError as error:  # files that cannot be read: another try is no use
                self._complain(f"nothing is published: {error}")
                return
            if last:
                return
            if asyncio.get_running_loop().time() - began > _STEADY_S:
                waits = delays()
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(self._ending.wait(), next(waits))

    def _say(self, error: BrokerError) -> None:
        """Each trouble once."""
        if error.trouble != self._trouble:
            self._trouble = error.trouble
            self._complain(f"the dashboard gets nothing for now: {error}")

    async def _send(self) -> None:
        """One connection, from greeting to farewell."""
        identifier = f"livecube-{self._plan.tree.desk[:40]}-{secrets.token_hex(4)}"
        async with connected(self._plan.access, identifier, self._there("offline")) as connection:
            await self._greet(connection)
            if self._trouble is not None:
                self._trouble = None
                self._complain("the dashboard is connected again")
            await _first_of(
                self._drain(connection), self._listen(connection), self._return(connection)
            )
            await asyncio.wait_for(connection.publish([self._there("offline")]), _FAREWELL_S)

    async def _greet(self, connection: Connection) -> None:
        """Say that the desk is there, how things stand, and listen for births."""
        if self._plan.form != "off":
            await connection.subscribe(birth_topic(self._plan.discovery_prefix))
        await self._introduce(connection)

    async def _introduce(self, connection: Connection) -> None:
        try:
            await connection.publish([Parcel(*one, retain=True) for one in self._introduction])
        except BrokerError as error:
            if error.trouble != "not allowed":
                raise
            self._introduction = []  # the rest may well be allowed
            self._complain(f"the dashboard is not introduced: {error}")
        states = map(self._parcel, self._outbox.states())
        await connection.publish([self._there("online"), *states])

    async def _listen(self, connection: Connection) -> None:
        """Hear when Home Assistant has started; ends with the connection."""
        async for topic, payload, retained in connection.arriving():
            # A retained word is from before us.
            here = topic == birth_topic(self._plan.discovery_prefix) and not retained
            if here and is_birth(payload):
                self._born.set()

    async def _return(self, connection: Connection) -> None:
        """Introduce the desk again to whoever has started, however often that is said."""
        while True:
            await self._born.wait()
            self._born.clear()
            await self._introduce(connection)
            await asyncio.sleep(_BIRTHS_APART_S)

    async def _drain(self, connection: Connection) -> None:
        """Send what waits, as it comes; returns in the end, when nothing waits any more."""
        while True:
            self._fresh.clear()
            self._tell_dropped()
            letters = self._outbox.oldest(MOST_AT_ONCE)
            if letters:
                await connection.publish([self._parcel(letter) for letter in letters])
                self._outbox.sent(letters)
            elif self._ending.is_set():
                return
            else:
                await self._fresh.wait()

    def _tell_dropped(self) -> None:
        if self._outbox.dropped != self._told_dropped:
            self._told_dropped = details, solves = self._outbox.dropped
            self._outbox.add([self._messenger.dropped(details, solves)])
            self.last_words.append(
                f"there was no room for all that waited for the dashboard: {details} details and"
                f" {solves} solves have been dropped"
            )

    def _parcel(self, letter: Letter) -> Parcel:
        return Parcel(self._plan.tree.topic(letter.name), letter.payload, letter.retain)

    def _there(self, state: str) -> Parcel:
        body = availability(self._plan.desk, state, _new_id())
        return Parcel(self._plan.tree.topic(AVAILABILITY), json.dumps(body), retain=True)


async def _first_of(*works: Coroutine[Any, Any, None]) -> None:
    """Run them until one has ended; the others are stopped. Raises what it raised."""
    tasks = [asyncio.create_task(work) for work in works]
    try:
        done, _ = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
    finally:
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
    for task in done:
        task.result()


def _close(loop: asyncio.AbstractEventLoop) -> None:
    """End what the connection may have left running."""
    left = asyncio.all_tasks(loop)
    for task in left:
        task.cancel()
    if left:
        loop.run_until_complete(asyncio.gather(*left, return_exceptions=True))
    loop.close()


def _new_id() -> str:
    return str(uuid.uuid4())


def _messages(number: int) -> str:
    return "1 message" if number == 1 else f"{number} messages"
