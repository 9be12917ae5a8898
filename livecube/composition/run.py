"""The one loop of all commands that follow a cube: live, practice, tries and drills.

A :class:`Run` has what all of them have: a cube's source, the sinks, keys, and an end in order.
What is done with the cube is a :class:`Part`: see ``live.py``, ``practising.py`` and ``again.py``
beside this file.
"""

from __future__ import annotations

import asyncio
import json
import signal
import sqlite3
import sys
from contextlib import ExitStack, aclosing, suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, Protocol

import click
from rich.console import Console

from livecube.composition.following import SWITCH_S, Hub
from livecube.composition.items import item_json, item_line, item_words, staying_lines
from livecube.edges.keys import Keys, keyboard, piped_keys
from livecube.edges.sinks import JsonSink, LineSink, ScreenSink
from livecube.edges.voice import SystemVoice, VoiceSink, speech_command
from livecube.errors import DrawingError, LivecubeError
from livecube.views.happenings import end_json

if TYPE_CHECKING:
    from collections.abc import AsyncGenerator, Callable, Coroutine, Sequence

    from livecube.advice.speaker import Manner
    from livecube.composition.dashboard import Dashboard
    from livecube.composition.pipeline import Pipeline
    from livecube.composition.publishing import Publishing
    from livecube.composition.sources import Source
    from livecube.dashboard.messages import Cube
    from livecube.dashboard.sink import Told
    from livecube.edges.sinks import Board, Item, Sink
    from livecube.events import CubeEvent
    from livecube.hands.automaton import Automaton

__all__ = ["Ending", "Follower", "Output", "Part", "Run", "Wishes", "echo_end", "run_in_order"]

_TERMINATED: Final = 128 + signal.SIGTERM
"""Exit status, as shells have it."""


@dataclass(frozen=True, slots=True)
class Wishes:
    """How a solver wants to be advised while a cube is followed."""

    level: str | None
    """Name of the level; None: no hints at all."""
    hands: Automaton | None
    """None: the usual ones."""
    manner: Manner
    voice: bool
    """Hints are said aloud."""
    calls: bool = False
    """What is no hint is said aloud as well, where there is something."""


class Output:
    """Where a run shows what happens: a screen, lines or JSON, and more sinks.

    ``drawn``: whether there is a screen, if a terminal can show one.
    """

    def __init__(self, board: Board[Any], *, as_json: bool, drawn: bool = True) -> None:
        self.board = board
        self.as_json = as_json
        self.drawn = drawn
        self.ending = Ending()
        self.console = Console(highlight=False, markup=False)
        self.screen: ScreenSink | None = None
        self.dashboard: Dashboard | None = None
        self.last_words: list[Callable[[], Sequence[str]]] = []
        """Each gives what is to be said when everything is over, a sentence each."""

    def sinks(self) -> list[Sink]:
        """Open the screen, or what is there instead of one."""
        if self.as_json:
            return [JsonSink(sys.stdout, item_json)]
        if self.drawn and self.console.is_terminal:
            self.screen = ScreenSink(self.console, self.board, self.ending.because, staying_lines)
            return [self.screen]
        return [LineSink(sys.stdout, item_line)]

    def published(
        self,
        publishing: Publishing | None,
        source: Source,
        told_as: Callable[[Item], Told] = lambda item: item,
        *,
        judged: bool = False,
    ) -> list[Sink]:
        """A dashboard of what a source brings, if one is wanted; see :meth:`.Publishing.open`."""
        if publishing is None:
            return []

        def cube() -> Cube:
            from livecube.composition.dashboard import cube_of  # late: most starts need none

            return cube_of(source)

        return self.published_as(
            lambda: publishing.open(cube, None, self.complain, unasked=True, judged=judged),
            told_as,
        )

    def published_as(
        self,
        opened: Callable[[], Dashboard | None],
        told_as: Callable[[Item], Told] = lambda item: item,
    ) -> list[Sink]:
        """The sink of a dashboard, if one is opened; if that fails, the terminal is given back."""
        try:
            self.dashboard = dashboard = opened()
        except BaseException:
            self.close()
            raise
        if dashboard is None:
            return []
        from livecube.dashboard.sink import DashboardSink

        self.last_words.append(lambda: dashboard.last_words)
        return [DashboardSink(dashboard, told_as)]

    def voice(self) -> Sink:
        """What says things aloud."""
        return VoiceSink(SystemVoice(speech_command(), self.complain), item_words)

    def complain(self, sentence: str) -> None:
        """Say once what went wrong beside the following, which goes on."""
        if self.screen is not None:
            self.board.change(notice=sentence)
        else:
            click.echo(f"livecube: {sentence}", err=True)

    def close(self) -> None:
        """Give the terminal back; harmless when called again."""
        if self.screen is not None:
            self.screen.restore()

    def conclude(self, hub: Hub | None) -> None:
        """Say what is to be said when everything is over."""
        self.close()
        told = [] if hub is None else hub.complaints()
        for words in self.last_words:
            told += words()
        for complaint in told:
            click.echo(f"livecube: {complaint}", err=True)
        if hub is not None and hub.is_cut_off:
            sys.exit(1)


class Follower(Protocol):
    """What takes in the events of a cube."""

    async def follow(self, events: AsyncGenerator[CubeEvent, None]) -> None:
        """Follow a cube until its link ends, or there was enough of it."""
        ...


class Part(Protocol):
    """What is done with the cube in a run.

    Its methods are called in the order in which they stand here, :meth:`finish` also when the run
    breaks off.
    """

    def prepare(self) -> None:
        """Make what takes long, in a thread, while the cube is looked for."""
        ...

    def sinks(self, run: Run, stack: ExitStack) -> list[Sink]:
        """Its own sinks; the cube is found. What is to be closed at the end goes on the stack."""
        ...

    def begin(self, run: Run, hub: Hub) -> Follower:
        """What takes in the events."""
        ...

    def beside(self) -> dict[str, Coroutine[Any, Any, None]]:
        """What is done beside the cube, by name, until it is over."""
        ...

    def start(self) -> None:
        """The cube is there."""
        ...

    def press(self, key: str, end: Callable[[], object]) -> None:
        """A key was pressed; ``end`` ends the run."""
        ...

    @property
    def is_done(self) -> bool:
        """Whether nothing more is wanted of the cube."""
        ...

    def finish(self) -> None:
        """The cube is followed no longer."""
        ...

    async def settle(self) -> None:
        """Everything is told; finish what is done beside it."""
        ...


class Run:
    """One run of a command that follows a cube, and its end."""

    def __init__(self, source: Source, output: Output) -> None:
        self.source = source
        self.output = output
        self.hub: Hub | None = None

    def go(self, part: Part) -> None:
        """Follow to the end, and say what is to be said then."""
        run_in_order(self._follow(part), self.output.close, self.output.ending)
        self.output.conclude(self.hub)

    async def _follow(self, part: Part) -> None:
        sys.setswitchinterval(SWITCH_S)
        source, board = self.source, self.output.board
        await asyncio.gather(asyncio.to_thread(part.prepare), source.find())
        board.change(source=source.title)
        with ExitStack() as stack:
            # The screen is opened only now: until here the solver may be asked something.
            hub = self.hub = Hub([*self.output.sinks(), *part.sinks(self, stack)])
            follower = part.begin(self, hub)
            async with hub, asyncio.TaskGroup() as tasks:
                events = await source.events()
                helping = [
                    tasks.create_task(work, name=name) for name, work in part.beside().items()
                ]
                following = tasks.create_task(
                    follower.follow(_until(events, lambda: part.is_done)), name="cube"
                )
                part.start()
                try:
                    with self._keys(part, following.cancel):
                        await asyncio.wait([following])
                finally:
                    part.finish()
                await part.settle()
                for task in helping:
                    task.cancel()

    def _keys(self, part: Part, end: Callable[[], object]) -> ExitStack:
        """Keys, if somebody can press them: for a typed cube, or with a screen that shows them."""
        stack, typed = ExitStack(), self.source.typed

        def press(key: str) -> None:
            if typed is None:
                part.press(key, end)
            elif not typed.press(key):
                part.press(key, typed.end)  # what was typed before counts

        fd = keyboard() if self.output.screen is not None or typed is not None else None
        if fd is not None:
            self.output.board.change(keys=True)
            stack.enter_context(Keys(fd, press))
        elif typed is not None:
            stack.enter_context(piped_keys(press, typed.end))
        return stack


async def _until(
    events: AsyncGenerator[CubeEvent, None], is_done: Callable[[], bool]
) -> AsyncGenerator[CubeEvent, None]:
    """The events up to the one after which nothing more is wanted."""
    async with aclosing(events):
        async for event in events:
            yield event
            if is_done():
                return


def echo_end(pipeline: Pipeline) -> None:
    """The last object of a run with ``--json``."""
    click.echo(json.dumps(end_json(pipeline.tracker.line, pipeline.solves, pipeline.advice_ms)))


class Ending:
    """Ends a run that cannot go on, from any thread; the run then says why."""

    def __init__(self) -> None:
        self._error: Exception | None = None
        self._end: Callable[[], object] = lambda: None

    def because(self, error: Exception) -> None:
        """The screen cannot be drawn; the first reason counts."""
        if self._error is None:
            self._error = error
            self._end()

    def ends(self, task: asyncio.Task[Any]) -> None:
        """Say which task is to be ended; called by the loop that runs it."""
        loop = asyncio.get_running_loop()

        def end() -> None:
            with suppress(RuntimeError):  # the loop is over already, and says why by itself
                loop.call_soon_threadsafe(task.cancel)

        self._end = end
        if self._error is not None:
            end()

    def check(self) -> None:
        """Say why, if it was ended.

        Raises :class:`~livecube.errors.DrawingError`.
        """
        if (error := self._error) is not None:
            raise DrawingError(
                f"the screen cannot be drawn ({type(error).__name__}: {error}); this is a fault of "
                "livecube, please report it; --json, or a pipe, works without a screen"
            ) from None


def run_in_order(
    following: Coroutine[Any, Any, None],
    close: Callable[[], None],
    ending: Ending | None = None,
) -> None:
    """Run to the end, or until this process is asked to end; ``close`` gives the terminal back.

    Raises :class:`~livecube.errors.DrawingError` if ``ending`` ended it.
    """
    ending = ending or Ending()
    try:
        asyncio.run(_until_terminated(following, ending))
    except asyncio.CancelledError:
        close()
        ending.check()
        sys.exit(_TERMINATED)
    except ExceptionGroup as group:
        mendable = group.split((LivecubeError, OSError, sqlite3.Error))[0]
        if mendable is not None and len(mendable.exceptions) == 1:
            raise mendable.exceptions[0] from None
        raise
    finally:
        close()
    ending.check()


async def _until_terminated(following: Coroutine[Any, Any, None], ending: Ending) -> None:
    task = asyncio.current_task()
    assert task is not None
    ending.ends(task)
    with suppress(NotImplementedError):  # a system without such requests
        asyncio.get_running_loop().add_signal_handler(signal.SIGTERM, task.cancel)
    await following
