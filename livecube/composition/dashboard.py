"""Publishing to a dashboard: messages are made, kept and sent in a thread with a loop of its own.

Nothing of it runs where turns are followed: the sink only appends to a queue. The loop of its own
can be of the kind that aiomqtt needs on every system.
"""

from __future__ import annotations

import asyncio
import contextlib
import threading
import uuid
from collections import deque
from typing import TYPE_CHECKING, Final

from livecube.composition.sending import FAREWELL_S, Sender
from livecube.dashboard.messages import Messenger

if TYPE_CHECKING:
    from collections.abc import Callable

    from livecube.composition.sending import Plan
    from livecube.dashboard.messages import Cube, Message
    from livecube.edges.dashboard_sink import Told
    from livecube.edges.outbox import Outbox

__all__ = ["Dashboard"]

_LATER_S: Final = 0.02
"""The thread is woken so long after an item: beside the turn that brought it, it would slow it."""
_LAST_CHANCE_S: Final = 2.0
"""How long what waits is still sent in the end."""
_MOST_POSTED: Final = 10_000
"""Items that wait for the thread; it takes microseconds for each."""


class Dashboard:
    """One run's publishing. ``start`` it, ``post`` items, ``finish``.

    ``clock``: the time of day for a time of the cube, as text. ``complain`` is told in words, from
    another thread, when something is wrong, and when it is well again. ``judged``: somebody says
    of each solve what it counts.
    """

    def __init__(
        self,
        plan: Plan,
        outbox: Outbox,
        cube: Cube,
        clock: Callable[[float], str],
        complain: Callable[[str], None],
        *,
        judged: bool = False,
    ) -> None:
        self._outbox = outbox
        self._sender = Sender(plan, outbox, _new_id, complain)
        last = dict(outbox.all_states())
        self._messenger = Messenger(
            plan.desk, cube, clock, _new_id, outbox.seq, last, judged=judged
        )
        self._posted: deque[Told | None] = deque()
        self._missed = 0
        self._over = threading.Event()
        self._news = asyncio.Event()
        self._thread_loop: asyncio.AbstractEventLoop
        self._waking = False
        self._told_dropped = outbox.dropped
        self.last_words: list[str] = []
        """What is to be said when all is over, a sentence each."""

    def start(self) -> None:
        """Begin to publish."""
        self._thread_loop = asyncio.SelectorEventLoop()
        threading.Thread(target=self._run, name="dashboard", daemon=True).start()

    def post(self, item: Told | None) -> None:
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
        await asyncio.to_thread(self._over.wait, _LAST_CHANCE_S + 2 * FAREWELL_S)

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
        self._add(self._messenger.begin())
        sending = asyncio.create_task(self._sender.run(), name="sender")
        await self._keep_writing()
        self._sender.end()
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
            self._add(messages)

    def _add(self, messages: list[Message]) -> None:
        """Keep messages, and say so if others had to go for want of room."""
        self._outbox.add(messages)
        if self._outbox.dropped != self._told_dropped:
            self._told_dropped = details, solves = self._outbox.dropped
            self._outbox.add([self._messenger.dropped(details, solves)])
            self.last_words.append(
                f"there was no room for all that waited for the dashboard: {details} details and"
                f" {solves} solves have been dropped"
            )
        self._sender.wake()


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
