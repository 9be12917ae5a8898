"""Several cubes in one process: the run of ``livecube group``.

Each desk is a :class:`~livecube.composition.live.LivePart` with a source, a pipeline, a hub and a
history of its own, in a task of its own: what goes wrong at one desk stays there. They share what
:mod:`.sharing` holds. One screen shows the rows of all desks.
"""

from __future__ import annotations

import asyncio
import json
import sqlite3
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

from livecube.composition.following import SWITCH_S
from livecube.composition.items import item_json, item_lines
from livecube.composition.live import LivePart
from livecube.composition.pipeline import Pipeline
from livecube.composition.run import Ending, Output, Run, run_in_order
from livecube.composition.sharing import SharedAdvisors, SharedSearch
from livecube.cube.position import SOLVED_BYTES
from livecube.dashboard.group_screen import DONE, DeskRow, GroupScreen, row_sentence
from livecube.edges.automaton_file import load_hands
from livecube.edges.drawing import Drawing
from livecube.edges.keys import Keys, keyboard
from livecube.edges.memory import share_memory
from livecube.edges.saying import say
from livecube.edges.sinks import Board, JsonSink, LineSink
from livecube.errors import LivecubeError, RadioError
from livecube.events import CubeEvent
from livecube.own.keeping import Learner, Taker
from livecube.stages.tracker import Tracker
from livecube.views.happenings import end_json, hands_json
from livecube.views.live_screen import LiveScreen

if TYPE_CHECKING:
    from collections.abc import Callable

    from rich.console import Console

    from livecube.advice.advisor import Advisor
    from livecube.advice.speaker import Happening
    from livecube.composition.far import FarDesks
    from livecube.composition.following import CubeFollower, Hub
    from livecube.composition.live import Followed
    from livecube.composition.publishing import Publishing
    from livecube.composition.sharing import Courtesy
    from livecube.composition.sources import Source
    from livecube.edges.sinks import Item, Sink
    from livecube.history.kept_session import Session
    from livecube.holding.follower import HoldingFollower

__all__ = ["MOST_DESKS", "DeskPlan", "GroupRun"]

MOST_DESKS: Final = 8
_FRAMES_A_SECOND: Final = 8
_AGAIN_S: Final = 5.0
"""Seconds before a cube that was not found is looked for again."""
_THREADS_A_DESK: Final = 4
"""A thread that waits for a disk must not keep another desk's work from a thread."""


@dataclass(frozen=True, slots=True)
class DeskPlan:
    """A desk of the group: a cube and the person who turns it."""

    name: str
    source: Source
    followed: Followed
    begin: asyncio.Event
    """Set when a virtual solver may begin."""
    start: bytes = SOLVED_BYTES
    """The position before the first event, 20 facelets."""


class _DeskBoard(Board[DeskRow]):
    """The row of a desk. Changes of fields are those of its screen."""

    def change(self, **fields: Any) -> None:
        """Show other values in these fields of the desk's screen."""
        self.shown = replace(self.shown, screen=replace(self.shown.screen, **fields))

    def is_over(self, why: str) -> None:
        """Show that the cube is not followed now."""
        self.shown = replace(self.shown, over=why)


class _RowSink:
    """Takes what happens into the desk's row."""

    name = "row"

    def __init__(self, board: Board[DeskRow]) -> None:
        self._board = board

    async def take(self, item: Item) -> None:
        """Show a happening."""
        if not isinstance(item, CubeEvent):
            self._board.take(item)

    async def close(self) -> None:
        """Nothing is held back."""


class _DeskOutput(Output):
    """The output of one desk: its row, or its lines with its name before them."""

    def __init__(self, name: str, board: _DeskBoard, *, as_json: bool, drawn: bool) -> None:
        super().__init__(board, as_json=as_json, drawn=drawn)
        self._name = name

    def sinks(self) -> list[Sink]:
        """The row; without a screen lines or JSON objects, too."""
        sinks: list[Sink] = [_RowSink(self.board)]
        if self.as_json:
            sinks.append(JsonSink(sys.stdout, lambda item: {"desk": self._name, **item_json(item)}))
        elif not self.drawn:
            sinks.append(LineSink(sys.stdout, self._lines))
        return sinks

    def _lines(self, item: Any, width: int | None) -> list[str]:
        before = f"{self._name}: "
        lines = item_lines(item, None if width is None else max(1, width - len(before)))
        return [f"{before}{line}" if line else line for line in lines]

    def tell_hands(self, own_hands: int | None, told: str) -> None:
        """Tell whose hands predicted seconds are for; a row says it in its desk's screen."""
        if self.as_json:
            say(json.dumps({"desk": self._name, **hands_json(own_hands)}))
        elif not self.drawn and told:
            say(f"{self._name}: seconds {told}")

    def complain(self, sentence: str) -> None:
        """Show a sentence about an error in the desk's row; following goes on."""
        if self.drawn:
            self.board.change(notice=sentence)
        else:
            say(f"livecube: {self._name}: {sentence}", err=True)


class _DeskPipeline(Pipeline):
    """A pipeline for which the searching thread waits."""

    def __init__(self, tracker: Tracker, courtesy: Courtesy) -> None:
        super().__init__(tracker, time.perf_counter)
        self._courtesy = courtesy

    def feed(self, event: CubeEvent) -> list[Happening]:
        """Take in an event; returns its happenings, in order."""
        self._courtesy.is_busy = True
        try:
            return super().feed(event)
        finally:
            self._courtesy.is_busy = False


class _GroupPart(LivePart):
    """A desk's part: its advisors and the search are those of the group."""

    makes_book = False  # the processor is for the desks

    def __init__(
        self,
        plan: DeskPlan,
        pipeline: Pipeline,
        publishing: Publishing,
        advisors: SharedAdvisors,
        search: SharedSearch,
    ) -> None:
        super().__init__(pipeline, publishing, plan.followed, log=None, begin=plan.begin)
        self._advisors = advisors
        self._find, self._reading = search.find, advisors.reading
        self._hub: Hub
        self._kept: list[int] = []
        """Numbers of the kept solves, from which nothing was learned yet."""
        self.found: Callable[[], None] = lambda: None
        """Called when the cube is connected."""

    def start(self) -> None:
        """Note that the cube is there."""
        super().start()
        self.found()

    async def _load(self, level: str) -> Advisor:
        here, there = await self._advisors.of(level, self._solver.wishes.hands)
        self._pipeline.advisor = here
        self._follower.refiner.begin(there)
        return here

    async def _load_holdings(self) -> HoldingFollower:
        return await self._advisors.holdings(self._solver.habits)

    def begin(self, run: Run, hub: Hub) -> CubeFollower:
        """Begin; each event is written before it is passed on."""
        self._hub = hub
        return super().begin(run, hub)

    def _begin_learning(self, session: Session) -> None:
        # Learning after each solve, as a single cube does, would take the time and memory of all.
        session.begin_learning(
            Taker(self._solver.habits).take, lambda history, numbers: self._kept.extend(numbers)
        )

    async def settle(self) -> None:
        """Learn from the kept solves, when the last one is kept; one desk after the other."""
        await self._hub.settle()
        if self._kept:
            async with self._advisors.one_by_one:
                await asyncio.to_thread(self._learn)

    def _learn(self) -> None:
        learner, session = Learner(self._solver.usual or load_hands()), self._session
        assert session is not None
        with suppress(sqlite3.Error, LivecubeError):  # the next use learns everything anew
            learner.kept(session.history, session.person, self._kept)


class _Desk:
    """One desk while the group runs."""

    def __init__(self, plan: DeskPlan, publishing: Publishing, *, as_json: bool, drawn: bool):
        self.plan = plan
        self.board = _DeskBoard(DeskRow(plan.name, LiveScreen(plan.source.title)))
        self.output = _DeskOutput(plan.name, self.board, as_json=as_json, drawn=drawn)
        self.pipeline: Pipeline | None = None
        self._publishing = replace(publishing, desk=plan.name)
        self._part: _GroupPart | None = None
        self._run: Run | None = None
        self._ends = False
        self._told: list[str] = []

    async def follow(self, advisors: SharedAdvisors, search: SharedSearch) -> None:
        """Follow the cube to its end. Nothing that goes wrong here reaches another desk."""
        while not self._ends:
            try:
                await self._once(advisors, search)
            except Exception as error:
                # Whatever it is, even a bug: the other desks go on.
                fault = _innermost(error)
                self._is_over(_in_words(fault))
                if not isinstance(fault, RadioError):
                    return
            else:
                self.board.is_over(DONE)
                return
            await asyncio.sleep(_AGAIN_S)

    async def _once(self, advisors: SharedAdvisors, search: SharedSearch) -> None:
        plan = self.plan
        self.pipeline = pipeline = _DeskPipeline(Tracker(plan.start), advisors.courtesy)
        part = _GroupPart(plan, pipeline, self._publishing, advisors, search)
        part.found = lambda: self.board.is_over("")
        self._run = run = Run(plan.source, self.output)
        self._part = part
        try:
            await run.follow(part)
        finally:
            self._part = self._run = None
            if run.hub is not None:
                self._told += run.hub.complaints()

    def _is_over(self, why: str) -> None:
        if why != self.board.shown.over:
            self.board.is_over(why)
            if not self.output.drawn:
                self.output.complain(why)

    def end(self, following: asyncio.Task[None]) -> None:
        """End in order; ``following``: the task of :meth:`follow`."""
        self._ends = True
        if self._run is not None and self._run.end is not None:
            self._run.end()
        else:
            following.cancel()

    def press(self, key: str) -> None:
        """Take in a key about this cube."""
        if self._part is not None and key.lower() != "q":
            self._part.press(key, lambda: None)

    def last_words(self) -> list[str]:
        """The sentences to show at the end."""
        told = [*self._told]
        for words in self.output.last_words:
            told += words()
        over = self.board.shown.over
        if self.output.drawn and over not in ("", DONE):
            told.append(over)
        return [f"{self.plan.name}: {one}" for one in told]


async def _all(tasks: list[asyncio.Task[None]]) -> None:
    await asyncio.wait(tasks)


def _innermost(error: BaseException) -> BaseException:
    """The first error in groups of errors."""
    while isinstance(error, BaseExceptionGroup):
        error = error.exceptions[0]
    return error


def _in_words(error: BaseException) -> str:
    if isinstance(error, LivecubeError | OSError | sqlite3.Error):
        return str(error)
    kind = type(error).__name__
    return f"stopped ({kind}: {error}); this is a bug in livecube, please report it"


class GroupRun:
    """A group, from the first look for cubes to the last word.

    ``far``: desks on a broker, if they are listened to; then the group goes on until it is ended.
    """

    def __init__(
        self,
        plans: list[DeskPlan],
        publishing: Publishing,
        console: Console,
        *,
        as_json: bool,
        far: FarDesks | None = None,
    ) -> None:
        self.ending = Ending()
        self._drawn = console.is_terminal and not as_json
        self._as_json = as_json
        self._console = console
        self._far = far
        self.desks = [_Desk(plan, publishing, as_json=as_json, drawn=self._drawn) for plan in plans]
        self._shown: int | None = None
        self._keys = False
        self._drawing: Drawing | None = None
        self._over = asyncio.Event()

    def go(self) -> None:
        """Follow all cubes to the end, and show the closing sentences."""
        run_in_order(self._follow(), self._close, self.ending)
        for desk in self.desks:
            if self._drawn:
                say(row_sentence(desk.board.shown))
            for sentence in desk.last_words():
                say(f"livecube: {sentence}", err=True)
        if self._as_json:
            for desk in self.desks:
                self._echo_end(desk)

    def _echo_end(self, desk: _Desk) -> None:
        pipeline = desk.pipeline
        if pipeline is not None:
            end = end_json(pipeline.tracker.line, pipeline.solves, pipeline.advice_ms)
            say(json.dumps({"desk": desk.plan.name, **end}))

    async def _follow(self) -> None:
        sys.setswitchinterval(SWITCH_S)
        share_memory()
        if self._far is not None:
            self._far.start()
        threads = ThreadPoolExecutor(_THREADS_A_DESK * max(1, len(self.desks)), "group")
        asyncio.get_running_loop().set_default_executor(threads)
        advisors, search = SharedAdvisors(), SharedSearch()
        if self._drawn:
            self._drawing = Drawing(
                self._console, self._screen, _FRAMES_A_SECOND, self.ending.because
            )
        async with asyncio.TaskGroup() as tasks:
            searching = tasks.create_task(search.run(), name="search")
            following = [
                tasks.create_task(desk.follow(advisors, search), name=desk.plan.name)
                for desk in self.desks
            ]
            ended = tasks.create_task(self._ended(following), name="end")
            fd = keyboard() if self._drawn else None
            if fd is None:
                await ended
            else:
                self._keys = True
                with Keys(fd, self._press):
                    await ended
            for desk, task in zip(self.desks, following, strict=True):
                desk.end(task)
            if following:
                await asyncio.wait(following)
            searching.cancel()

    async def _ended(self, following: list[asyncio.Task[None]]) -> None:
        """Return when the group is ended, or when no cube is left and no far desk is awaited."""
        over = asyncio.create_task(self._over.wait())
        try:
            if self._far is None and following:
                left = asyncio.create_task(_all(following))
                await asyncio.wait({over, left}, return_when=asyncio.FIRST_COMPLETED)
                left.cancel()
            else:
                await over
        finally:
            over.cancel()

    def _screen(self) -> GroupScreen:
        """All values of this moment; called by the drawing thread."""
        far, notice = ((), "") if self._far is None else self._far.seen
        return GroupScreen(
            tuple(desk.board.shown for desk in self.desks),
            far,
            self._shown,
            notice,
            self._keys,
        )

    def _press(self, key: str) -> None:
        shown = self._shown
        if key.isdigit():
            self._shown = int(key) or None
        elif key.lower() == "q":
            self._over.set()
        elif shown is not None and shown <= len(self.desks):
            self.desks[shown - 1].press(key)

    def _close(self) -> None:
        if self._far is not None:
            self._far.stop()
        if self._drawing is not None:
            self._drawing.stop()
