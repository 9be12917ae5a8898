"""The run of a command that brings places onto a cube: cube, keys, screen or lines."""

from __future__ import annotations

import asyncio
import sys
from contextlib import ExitStack
from typing import TYPE_CHECKING, Any

import click
from rich.console import Console

from livecube.cli.live import by_radio
from livecube.cli.output import Ending, run_in_order
from livecube.cli.published import Published
from livecube.cli.scramble import scrambler_with_progress
from livecube.composition.again import Again, TrierSource
from livecube.composition.following import Hub
from livecube.edges.keys import Keys, keyboard, piped_keys
from livecube.edges.sinks import JsonSink, LineSink, ScreenSink
from livecube.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from livecube.cli.broker_options import Publishing
    from livecube.composition.again import Led
    from livecube.composition.choosing import Wanted
    from livecube.composition.scrambler import Scrambler
    from livecube.composition.sources import Source
    from livecube.drills.news import DrillNews
    from livecube.edges.sink import Item, Sink
    from livecube.review.trying import TryNews
    from livecube.views.board import Board

__all__ = ["TryingRun", "check_source"]


def check_source(wanted: Wanted, *, simulated: bool, typed: bool) -> None:
    """Refuse kinds of cubes that do not go together."""
    if simulated and typed:
        raise UsageError("give one of --simulated and --typed")
    if (wanted.cube or wanted.decoder) and (simulated or typed):
        raise UsageError("--cube and --decoder are for a cube by radio")


class TryingRun:
    """One run of what is ``led``: tries, or rounds.

    ``board``: what a screen shows, an :class:`.AgainScreen` or one of its kind.

    What needs set-ups is made with a scrambler, which takes its time to load.

    ``tries``: how many, None: until it is over by itself; ``as_told``: what the sinks are told;
    ``sinks``: more of them.
    """

    def __init__(
        self,
        led: Led | Callable[[Scrambler], Led],
        board: Board[Any],
        tries: int | None,
        *,
        as_json: bool,
        as_told: Callable[[TryNews | DrillNews], Item] = lambda news: news,
        sinks: Sequence[Sink] = (),
    ) -> None:
        self._led = led
        self._tries = tries
        self._as_json = as_json
        self._sinks = sinks
        self._as_told = as_told
        self._board = board
        self._ending = Ending()
        self._screen: ScreenSink | None = None
        self._hub: Hub | None = None
        self._again: Again | None = None
        self._source: Source
        self._published: Published | None = None

    def simulated(
        self, tries: int, seed: int, speed: float, tempo: float | None = None
    ) -> TryingRun:
        """By a virtual solver; see :class:`.TrierSource`."""
        self._source = TrierSource(tries, seed, speed, tempo)
        return self

    def typed(self) -> TryingRun:
        """By turns that are typed, from a solved cube."""
        from livecube.composition.sources import TypedSource

        self._source = TypedSource(lambda: self._again.holding if self._again else None, None)
        return self

    def by_radio(self, wanted: Wanted) -> TryingRun:
        """On a cube by radio."""
        self._source = by_radio(wanted, self._as_json, False)
        return self

    def published(self, publishing: Publishing) -> TryingRun:
        """On a dashboard, too, if one is wanted."""
        self._published = Published(publishing)
        return self

    def complain(self, sentence: str) -> None:
        """Say once what went wrong beside the tries, which go on."""
        if self._screen is not None:
            self._board.change(notice=sentence)
        else:
            click.echo(f"livecube: {sentence}", err=True)

    async def follow(self) -> None:
        """Try to the end, or to that of the solver's patience."""
        led, _ = await asyncio.gather(asyncio.to_thread(self._made), self._source.find())
        self._board.change(source=self._source.title)
        hub = self._hub = Hub([self._sink(), *self._sinks, *self._dashboard_sinks()])
        show = self._source.show if isinstance(self._source, TrierSource) else lambda news: None
        speaks = self._source.typed is None
        self._again = Again(
            led,
            hub,
            self._tries,
            show,
            speed=self._source.speed,
            speaks=speaks,
            as_told=self._as_told,
        )
        self._board.change(now=self._again.now)
        async with hub:
            events = await self._source.events()
            following = asyncio.create_task(self._again.follow(events), name="cube")
            try:
                with self._keys(self._again, following.cancel):
                    await asyncio.wait([following])
                if not following.cancelled():
                    following.result()
            finally:
                following.cancel()
                self._again.finish()

    def _made(self) -> Led:
        return self._led(scrambler_with_progress(None)) if callable(self._led) else self._led

    def _sink(self) -> ScreenSink | JsonSink | LineSink:
        console = Console(highlight=False, markup=False)
        if self._as_json:
            return JsonSink(sys.stdout)
        if console.is_terminal:
            self._screen = ScreenSink(console, self._board, self._ending.because)
            return self._screen
        click.echo(self._board.shown.title)
        return LineSink(sys.stdout)

    def _dashboard_sinks(self) -> list[Sink]:
        if self._published is None:
            return []
        from livecube.composition.dashboard import drill_told

        return self._published.sinks(self._source, self.complain, drill_told)

    def _keys(self, leading: Again, end: Callable[[], object]) -> ExitStack:
        """Keys, if somebody can press them."""
        typed = self._source.typed

        def press(key: str) -> None:
            if typed is not None and typed.press(key):
                return
            match key.lower():
                case "n":
                    leading.anew()
                case "c":
                    leading.is_solved()
                case "q" if typed is not None:
                    typed.end()  # what was typed before counts
                case "q":
                    end()

        stack = ExitStack()
        fd = keyboard() if self._screen is not None or typed is not None else None
        if fd is not None:
            self._board.change(keys=True)
            stack.enter_context(Keys(fd, press))
        elif typed is not None:
            stack.enter_context(piped_keys(press, typed.end))
        return stack

    def run(self) -> None:
        """Try to the end, and say what is to be said then."""
        run_in_order(self.follow(), self.close, self._ending)
        self.conclude()

    def close(self) -> None:
        """Give the terminal back; harmless when called again."""
        if self._screen is not None:
            self._screen.restore()

    def conclude(self) -> None:
        """Say what is to be said when everything is over."""
        self.close()
        told = [] if self._hub is None else self._hub.complaints()
        told += [] if self._published is None else self._published.last_words
        for complaint in told:
            click.echo(f"livecube: {complaint}", err=True)
        if self._hub is not None and self._hub.is_cut_off:
            sys.exit(1)
