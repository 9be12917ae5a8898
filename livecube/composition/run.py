"""The one loop of all commands that follow a cube: live, practice, tries and drills.

A :class:`Run` has the parts that they all share: a cube's source, the sinks, keys, and an orderly
end. A :class:`Part` does the rest: see ``live.py``, ``practising.py`` and ``again.py`` beside this
file.
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
from livecube.composition.items import Staying, item_json, item_lines, item_words
from livecube.edges.keys import Keys, keyboard, piped_keys
from livecube.edges.memory import kept_small
from livecube.edges.saying import say
from livecube.edges.sinks import JsonSink, LineSink, ScreenSink
from livecube.edges.voice import SystemVoice, VoiceSink, speech_command
from livecube.errors import DrawingError, LivecubeError
from livecube.views.happenings import end_json, hands_json

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
"""Exit status by the convention of shells."""


@dataclass(frozen=True, slots=True)
class Wishes:
    """The solver's wishes about hints while a cube is followed."""

    level: str | None
    """Name of the level; None: no hints at all."""
    hands: Automaton | None
    """None: the usual hands."""
    manner: Manner
    voice: bool
    """Whether hints are said aloud."""
    calls: bool = False
    """Whether other items than hints are said aloud too."""


class Output:
    """The output of a run: a screen, lines or JSON, and more sinks.

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
        """Functions that give the sentences to show at the end."""

    def sinks(self) -> list[Sink]:
        """Open the screen, or the output in its place."""
        if self.as_json:
            return [JsonSink(sys.stdout, item_json)]
        if self.drawn and self.console.is_terminal:
            self.screen = ScreenSink(self.console, self.board, self.ending.because, Staying())
            return [self.screen]
        return [LineSink(sys.stdout, item_lines)]

    def published(
        self,
        publishing: Publishing | None,
        source: Source,
        told_as: Callable[[Item], Told] = lambda item: item,
        *,
        judged: bool = False,
    ) -> list[Sink]:
        """A dashboard for a source, if one is wanted; see :meth:`.Publishing.open`."""
        if publishing is None:
            return []

        def cube() -> Cube:
            from livecube.composition.dashboard import cube_of  # late: most starts do not need it

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
        return [DashboardSink(dashboard, told_as, turns=dashboard.positions)]

    def voice(self) -> Sink:
        """The sink that says items aloud."""
        return VoiceSink(SystemVoice(speech_command(), self.complain), item_words)

    def tell_hands(self, own_hands: int | None, told: str) -> None:
        """Tell whose hands predicted seconds are for, if no screen has it in its title.

        ``own_hands``: as for :func:`.hands_json`; ``told``: the same in words, or empty.
        """
        if self.as_json:
            click.echo(json.dumps(hands_json(own_hands)))
        elif self.screen is None and told:
            say(f"seconds {told}")

    def complain(self, sentence: str) -> None:
        """Show a sentence about an error, once; following goes on."""
        if self.screen is not None:
            self.board.change(notice=sentence)
        else:
            say(f"livecube: {sentence}", err=True)

    def close(self) -> None:
        """Give the terminal back; harmless when called again."""
        if self.screen is not None:
            self.screen.restore()

    def conclude(self, hub: Hub | None) -> None:
        """Show the sentences at the end."""
        self.close()
        told = [] if hub is None else hub.complaints()
        for words in self.last_words:
            told += words()
        for complaint in told:
            say(f"livecube: {complaint}", err=True)
        if hub is not None and hub.is_cut_off:
            sys.exit(1)


class Follower(Protocol):
    """Takes in the events of a cube."""

    async def follow(self, events: AsyncGenerator[CubeEvent, None]) -> None:
        """Follow a cube until its link ends, or until the part is done."""
        ...


class Part(Protocol):
    """The part of a run that differs between commands.

    Its methods are called in the order below; :meth:`finish` is called also if the run breaks
    off.
    """

    def prepare(self) -> None:
        """Do slow preparations, in a thread, while the cube is looked for."""
        ...

    def sinks(self, run: Run, stack: ExitStack) -> list[Sink]:
        """Its own sinks, once the cube is found. The stack closes things at the end."""
        ...

    def begin(self, run: Run, hub: Hub) -> Follower:
        """Begin; returns the follower of the events."""
        ...

    def beside(self) -> dict[str, Coroutine[Any, Any, None]]:
        """Tasks to run beside the cube, by name, until the end."""
        ...

    def start(self) -> None:
        """Called when the cube is connected."""
        ...

    def press(self, key: str, end: Callable[[], object]) -> None:
        """Take in a key; ``end`` ends the run."""
        ...

    @property
    def is_done(self) -> bool:
        """Whether the cube is no longer needed."""
        ...

    def finish(self) -> None:
        """End of following the cube."""
        ...

    async def settle(self) -> None:
        """Finish the tasks beside the cube, after the last item."""
        ...


class Run:
    """One run of a command that follows a cube, and its end."""

    def __init__(self, source: Source, output: Output) -> None:
        self.source = source
        self.output = output
        self.hub: Hub | None = None
        self.end: Callable[[], object] | None = None
        """Ends following in order; None before the cube is followed, and after."""

    def go(self, part: Part) -> None:
        """Follow to the end, and show the closing sentences."""
        run_in_order(self.follow(part), self.output.close, self.output.ending)
        self.output.conclude(self.hub)

    async def follow(self, part: Part) -> None:
        """Follow to the end; the screen stays open."""
        sys.setswitchinterval(SWITCH_S)
        source, board = self.source, self.output.board
        await asyncio.gather(asyncio.to_thread(part.prepare), source.find())
        board.change(source=source.title)
        with ExitStack() as stack:
            # The screen opens only now: before this, questions to the solver are possible.
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
                self.end = following.cancel
                try:
                    with self._keys(part, following.cancel):
                        await asyncio.wait([following])
                finally:
                    self.end = None
                    part.finish()
                await part.settle()
                for task in helping:
                    task.cancel()

    def _keys(self, part: Part, end: Callable[[], object]) -> ExitStack:
        """Keys, if they can be pressed: for a typed cube, or with a screen that names them."""
        stack, typed = ExitStack(), self.source.typed

        def press(key: str) -> None:
            if typed is None:
                part.press(key, end)
            elif not typed.press(key):
                part.press(key, typed.end)  # the moves typed before still count

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
    """The events up to the one after which the part is done."""
    async with aclosing(events):
        async for event in events:
            yield event
            if is_done():
                return


def echo_end(pipeline: Pipeline) -> None:
    """The last object of a run with ``--json``."""
    click.echo(json.dumps(end_json(pipeline.tracker.line, pipeline.solves, pipeline.advice_ms)))


class Ending:
    """Ends a run that cannot go on, from any thread; the run then reports the reason."""

    def __init__(self) -> None:
        self._error: Exception | None = None
        self._end: Callable[[], object] = lambda: None

    def because(self, error: Exception) -> None:
        """End the run because the screen cannot be drawn; the first reason is reported."""
        if self._error is None:
            self._error = error
            self._end()

    def ends(self, task: asyncio.Task[Any]) -> None:
        """Set the task to end; called by the loop that runs it."""
        loop = asyncio.get_running_loop()

        def end() -> None:
            with suppress(RuntimeError):  # the loop has ended already, with its own reason
                loop.call_soon_threadsafe(task.cancel)

        self._end = end
        if self._error is not None:
            end()

    def check(self) -> None:
        """Raise the reason, if there is one.

        Raises :class:`~livecube.errors.DrawingError`.
        """
        if (error := self._error) is not None:
            raise DrawingError(
                f"the screen cannot be drawn ({type(error).__name__}: {error}); this is a bug in "
                "livecube, please report it; --json, or a pipe, works without a screen"
            ) from None


def run_in_order(
    following: Coroutine[Any, Any, None],
    close: Callable[[], None],
    ending: Ending | None = None,
) -> None:
    """Run to the end, or until a request to terminate; ``close`` gives the terminal back.

    Raises :class:`~livecube.errors.DrawingError` if ``ending`` ended it.
    """
    ending = ending or Ending()
    try:
        with kept_small():
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
    with suppress(NotImplementedError):  # a system without such signals
        asyncio.get_running_loop().add_signal_handler(signal.SIGTERM, task.cancel)
    await following
