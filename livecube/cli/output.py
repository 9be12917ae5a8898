"""Where a command that follows a cube shows what happens: a screen, lines or JSON, and a voice."""

from __future__ import annotations

import asyncio
import json
import signal
import sqlite3
import sys
from contextlib import suppress
from typing import TYPE_CHECKING, Any, Final

import click
from rich.console import Console

from livecube.edges.sinks import JsonSink, LineSink, ScreenSink
from livecube.edges.voice import SystemVoice, VoiceSink, speech_command
from livecube.errors import DrawingError, LivecubeError
from livecube.views.board import Board
from livecube.views.happenings import end_json
from livecube.views.screen import LiveScreen

if TYPE_CHECKING:
    from collections.abc import Callable, Coroutine, Sequence

    from livecube.cli.broker_options import Publishing
    from livecube.composition.dashboard import Dashboard
    from livecube.composition.following import Hub
    from livecube.composition.pipeline import Pipeline
    from livecube.dashboard.messages import Cube
    from livecube.edges.sink import Sink

__all__ = ["Ending", "Output", "run_in_order"]

_TERMINATED: Final = 128 + signal.SIGTERM
"""Exit status, as shells have it."""


class Output:
    """The sinks of one run. ``drawn``: whether there is a screen, if a terminal can show one."""

    def __init__(
        self,
        title: str,
        *,
        as_json: bool,
        drawn: bool = True,
        voice: bool,
        ending: Ending | None = None,
    ) -> None:
        console = Console(highlight=False, markup=False)
        self.board = Board(LiveScreen(title))
        self.ending = ending or Ending()
        self.screen: ScreenSink | None = None
        self._as_json = as_json
        self.sinks: list[Sink] = []
        if drawn and console.is_terminal and not as_json:
            self.screen = ScreenSink(console, self.board, self.ending.because)
        self.sinks.append(
            self.screen or (JsonSink(sys.stdout) if as_json else LineSink(sys.stdout))
        )
        if voice:
            self.sinks.append(VoiceSink(SystemVoice(speech_command(), self.complain)))
        self._dashboard: Dashboard | None = None

    def publish(
        self,
        publishing: Publishing,
        cube: Callable[[], Cube],
        *,
        unasked: bool,
        clock: Callable[[float], str] | None = None,
    ) -> None:
        """Publish to a dashboard too, if that is wanted; see :meth:`.Publishing.open`."""
        try:
            self._dashboard = publishing.open(cube, clock, self.complain, unasked=unasked)
        except BaseException:
            self.close()
            raise
        if self._dashboard is not None:
            from livecube.edges.dashboard_sink import DashboardSink

            self.sinks.append(DashboardSink(self._dashboard))

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

    def run(self, following: Coroutine[Any, Any, None]) -> None:
        """Follow to the end, or until this process is asked to end; then it ends in order."""
        run_in_order(following, self.close, self.ending)

    def conclude(self, pipeline: Pipeline, hub: Hub, more: Sequence[str] = ()) -> None:
        """Say what is to be said when everything is over, ``more`` of it too."""
        self.close()
        told = [] if self._dashboard is None else self._dashboard.last_words
        for complaint in [*hub.complaints(), *more, *told]:
            click.echo(f"livecube: {complaint}", err=True)
        if hub.is_cut_off:
            sys.exit(1)
        if self._as_json:
            end = end_json(pipeline.tracker.line, pipeline.solves, pipeline.advice_ms)
            click.echo(json.dumps(end))


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
