"""What the cubes of a group share: tables and models, one searching thread, the radio.

A desk's advice at a beginning is worked out at once, in the loop, as for a single cube. The
beginnings of a scrambled cube take long. They are looked for in one thread, a colour at a time:
the first colour of every desk comes before the second one of any.
"""

from __future__ import annotations

import asyncio
import heapq
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING, Final

from livecube.advice.words import parse_level
from livecube.composition.assembly import load_advisor, load_holdings
from livecube.composition.preparing import prepared
from livecube.edges.automaton_file import load_hands

if TYPE_CHECKING:
    from collections.abc import Callable, Generator

    from livecube.advice.advisor import Advisor
    from livecube.advice.rows import Opportunity
    from livecube.composition.pipeline import OpeningQuestion
    from livecube.edges.habits_file import Habits
    from livecube.edges.radio import Connection, Radio, Sighting
    from livecube.hands.automaton import Automaton
    from livecube.holding.follower import HoldingFollower

__all__ = ["Courtesy", "SharedAdvisors", "SharedRadio", "SharedSearch"]


class Courtesy:
    """Lets the searching thread wait while the loop works on a turn.

    Python lets two threads at work take turns, so that advice would take twice as long.
    """

    def __init__(self) -> None:
        self.is_busy = False
        """Whether the loop works on a turn."""

    def wait(self) -> None:
        """Wait until it does not, but not for long."""
        until = time.monotonic() + _MOST_WAIT_S
        while self.is_busy and time.monotonic() < until:
            time.sleep(_WAIT_S)


_WAIT_S: Final = 0.0003
_MOST_WAIT_S: Final = 0.1


class SharedAdvisors:
    """Advisors for all desks from one set of tables for each kind of hands.

    ``courtesy``: of the searching thread.
    """

    def __init__(self, courtesy: Courtesy | None = None) -> None:
        self.courtesy = courtesy or Courtesy()
        self._loading: dict[str, asyncio.Future[tuple[Advisor, Advisor]]] = {}
        self.reading = asyncio.Lock()
        """Held while a finished solve is read for its holdings."""
        self.one_by_one = asyncio.Lock()
        """Held for work that takes long or much memory, so that no two desks do it at once."""

    async def of(self, level: str, hands: Automaton | None) -> tuple[Advisor, Advisor]:
        """An advisor for the loop and one for the searching thread; ``hands``: None: the usual."""
        hands = hands or load_hands()
        key = f"{hands.fingerprint} {hands.looking.table}"  # hands, and eyes
        if key not in self._loading:
            self._loading[key] = asyncio.ensure_future(prepared(partial(_loaded, hands)))
        here, there = await asyncio.shield(self._loading[key])
        there.answers.pause = self.courtesy.wait
        return here.at(parse_level(level)), there.at(parse_level(level))

    async def holdings(self, own: Habits | None) -> HoldingFollower:
        """A follower of holdings; ``own``: a person's habits.

        One after the other: the first loads what the others need, too.
        """
        async with self.one_by_one:
            return await prepared(partial(load_holdings, own))


def _loaded(hands: Automaton) -> tuple[Advisor, Advisor]:
    advisor = load_advisor(hands=hands)
    return advisor, advisor.twin()


@dataclass(order=True, slots=True)
class _Question:
    """A question in the queue, ordered by its turn."""

    colours: int
    """Colours that were looked at."""
    number: int
    """Its place among all questions."""
    steps: Generator[None, None, list[Opportunity]] = field(compare=False)
    stopped: Callable[[], bool] = field(compare=False)
    answer: asyncio.Future[list[Opportunity] | None] = field(compare=False)


class SharedSearch:
    """Answers the opening questions of all desks in one thread. :meth:`run` must run beside it.

    ``steps``: as :func:`livecube.advice.inspection.opening_steps`, the default.
    """

    def __init__(
        self, steps: Callable[..., Generator[None, None, list[Opportunity]]] | None = None
    ) -> None:
        self._steps = steps
        self._waiting: list[_Question] = []
        self._news = asyncio.Event()
        self._asked = 0

    async def find(
        self, advisor: Advisor, question: OpeningQuestion, stopped: Callable[[], bool]
    ) -> list[Opportunity] | None:
        """As :class:`~livecube.composition.following.FindOpenings`."""
        if self._steps is None:
            from livecube.advice.inspection import opening_steps  # late: a start must not wait

            self._steps = opening_steps
        steps = self._steps(advisor, question.position, question.faces, question.holding)
        answer: asyncio.Future[list[Opportunity] | None]
        answer = asyncio.get_running_loop().create_future()
        self._asked += 1
        heapq.heappush(self._waiting, _Question(0, self._asked, steps, stopped, answer))
        self._news.set()
        return await answer

    async def run(self) -> None:
        """Answer until cancelled."""
        loop = asyncio.get_running_loop()
        with ThreadPoolExecutor(1, "search") as thread:
            while True:
                while not self._waiting:
                    self._news.clear()
                    await self._news.wait()
                one = heapq.heappop(self._waiting)
                if one.answer.done() or one.stopped():
                    _settle(one, None)
                    continue
                from livecube.advice.inspection import answer_after  # late, as in find

                try:
                    found = await loop.run_in_executor(thread, answer_after, one.steps)
                except Exception as error:
                    # A desk's question that cannot be answered must not stop the others.
                    if not one.answer.done():
                        one.answer.set_exception(error)
                    continue
                if found is not None:
                    _settle(one, found)
                else:
                    one.colours += 1
                    heapq.heappush(self._waiting, one)


def _settle(one: _Question, found: list[Opportunity] | None) -> None:
    if not one.answer.done():
        one.answer.set_result(found)


_LONG_S: Final = 3600.0
"""One search of the radio lasts as long as somebody listens, but not for ever."""


class SharedRadio:
    """A radio for several cubes: those who listen at the same time share one search.

    A system's adapter allows only one. Implements :class:`~livecube.edges.radio.Radio`.
    """

    def __init__(self, radio: Radio) -> None:
        self._radio = radio
        self._listeners: dict[int, Callable[[Sighting], None]] = {}
        self._number = 0
        self._searching: asyncio.Task[object] | None = None
        self._changing = asyncio.Lock()
        """Held while a search is begun or ended."""

    @property
    def label(self) -> str:
        """The kind of radio."""
        return self._radio.label

    async def connect(self, sighting: Sighting, lost: Callable[[], None]) -> Connection:
        """Connect; ``lost`` is called once if the connection ends by itself."""
        return await self._radio.connect(sighting, lost)

    async def scan(
        self, seconds: float, enough: Callable[[Sighting], bool] = lambda sighting: False
    ) -> list[Sighting]:
        """Listen for ``seconds``, or until ``enough``; returns the latest sighting of each.

        Raises :class:`~livecube.errors.RadioError` if the radio fails.
        """
        seen: dict[str, Sighting] = {}
        done = asyncio.Event()

        def heard(sighting: Sighting) -> None:
            seen[sighting.address] = sighting
            if enough(sighting):
                done.set()

        self._number += 1
        number = self._number
        self._listeners[number] = heard
        async with self._changing:
            if self._searching is None or self._searching.done():
                self._searching = asyncio.create_task(
                    self._radio.scan(_LONG_S, self._tell), name="radio search"
                )
            searching = self._searching
        waiting = asyncio.create_task(done.wait())
        try:
            await asyncio.wait(
                {searching, waiting}, timeout=seconds, return_when=asyncio.FIRST_COMPLETED
            )
        finally:
            waiting.cancel()
            del self._listeners[number]
            async with self._changing:
                if not self._listeners and not searching.done():
                    searching.cancel()
                    await asyncio.wait([searching])
        if searching.done() and not searching.cancelled() and not done.is_set():
            searching.result()
        return list(seen.values())

    def _tell(self, sighting: Sighting) -> bool:
        for heard in [*self._listeners.values()]:
            heard(sighting)
        return False
