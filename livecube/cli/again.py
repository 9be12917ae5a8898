"""``livecube again``: a missed moment back on the cube, to try the better way."""

from __future__ import annotations

import asyncio
import sys
from contextlib import ExitStack
from itertools import repeat
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click
from rich.console import Console

from livecube.cli.live import by_radio
from livecube.cli.options import (
    a_number,
    cube_options,
    hands_option,
    holdings_with_progress,
    level_option,
)
from livecube.cli.output import run_in_order
from livecube.cli.review import kept_solve, reviewed, solves_of
from livecube.cli.scramble import scrambler_with_progress
from livecube.composition.again import Again, TrierSource
from livecube.composition.hub import Hub
from livecube.edges.keys import Keys, keyboard, piped_keys
from livecube.edges.sinks import JsonSink, LineSink, ScreenSink
from livecube.errors import UsageError
from livecube.review.moment import missed_moment
from livecube.review.trying import Trying
from livecube.views.again_screen import AgainBoard
from livecube.views.again_text import moment_sentence

if TYPE_CHECKING:
    from collections.abc import Callable

    from livecube.composition.choosing import Wanted
    from livecube.composition.sources import Source
    from livecube.hands.model import Hands
    from livecube.review.moment import Moment

__all__ = ["again"]

_SIMULATED_TRIES: Final = 2
"""A virtual solver has no use for more."""


@click.command()
@click.argument("number", type=click.IntRange(1))
@click.option("--pair", type=click.IntRange(1, 4), help="Which pair; else the costliest one.")
@click.option(
    "--log", type=click.Path(path_type=Path), help="NUMBER is that of a solve in this log."
)
@click.option("--tries", type=click.IntRange(1, 1000), help="End after so many tries.")
@click.option("--simulated", is_flag=True, help="A virtual solver tries, without hardware.")
@click.option("--typed", is_flag=True, help="Type the turns on the keyboard.")
@cube_options
@click.option("--seed", default=0, type=click.IntRange(0), help="Of a virtual solver.")
@click.option(
    "--speed",
    default=1.0,
    type=click.FloatRange(0.1, 1000),
    callback=a_number,
    help="Of a virtual solver.",
)
@level_option
@hands_option
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
def again(
    number: int,
    pair: int | None,
    log: Path | None,
    tries: int | None,
    simulated: bool,
    typed: bool,
    wanted: Wanted,
    seed: int,
    speed: float,
    level: str,
    hands: Hands | None,
    as_json: bool,
) -> None:
    """Bring a missed moment of solve NUMBER back onto your cube, and try the better way.

    The moment is the costliest one that a review finds, or that of one pair. From wherever the
    cube stands few turns lead there; they are shown and followed like a scramble. Then the first
    turn starts the time, and it is over when the pair is solved. To begin anew turn back to where
    the moment began.
    """
    if simulated and typed:
        raise UsageError("give one of --simulated and --typed")
    if (wanted.cube or wanted.decoder) and (simulated or typed):
        raise UsageError("--cube and --decoder are for a cube by radio")
    moment, title = _moment(number, pair, log, level, hands)
    wanted_tries = tries or (_SIMULATED_TRIES if simulated else None)
    run = _Trying(moment, title, wanted_tries, as_json)
    if simulated:
        run.source = TrierSource(tries or _SIMULATED_TRIES, seed, speed)
    elif typed:
        run.source = run.typed_source()
    else:
        run.source = by_radio(wanted, as_json, False)
    run_in_order(run.follow(), run.close)
    run.conclude()


def _moment(
    number: int, pair: int | None, log: Path | None, level: str, hands: Hands | None
) -> tuple[Moment, str]:
    holdings_with_progress()
    begun = kept_solve(number) if log is None else solves_of(log, number)
    ((title, review),) = reviewed(begun, level, hands)
    return missed_moment(review, begun[0][1].start, pair), title


class _Trying:
    """One run."""

    source: Source

    def __init__(self, moment: Moment, title: str, tries: int | None, as_json: bool) -> None:
        self._moment = moment
        self._tries = tries
        self._as_json = as_json
        self._title = moment_sentence(moment, title)
        self._board = AgainBoard(self._title)
        self._screen: ScreenSink | None = None
        self._hub: Hub | None = None
        self._again: Again | None = None

    def typed_source(self) -> Source:
        """Turns that are typed, from a solved cube."""
        from livecube.composition.sources import TypedSource

        return TypedSource(lambda: self._again.holding if self._again else None, None)

    async def follow(self) -> None:
        """Try to the end, or to that of the solver's patience."""
        scrambler, _ = await asyncio.gather(
            asyncio.to_thread(scrambler_with_progress, None), self.source.find()
        )
        self._board.source = self.source.title
        hub = self._hub = Hub([self._sink()])
        trying = Trying(repeat(self._moment), scrambler.short)
        show = self.source.show if isinstance(self.source, TrierSource) else lambda news: None
        speaks = self.source.typed is None
        self._again = Again(trying, hub, self._tries, show, speaks=speaks)
        async with hub:
            events = await self.source.events()
            following = asyncio.create_task(self._again.follow(events), name="cube")
            try:
                with self._keys(self._again, following.cancel):
                    await asyncio.wait([following])
                if not following.cancelled():
                    following.result()
            finally:
                following.cancel()

    def _sink(self) -> ScreenSink | JsonSink | LineSink:
        console = Console(highlight=False, markup=False)
        if self._as_json:
            return JsonSink(sys.stdout)
        if console.is_terminal:
            self._screen = ScreenSink(console, self._board)
            return self._screen
        click.echo(self._title)
        return LineSink(sys.stdout)

    def _keys(self, leading: Again, end: Callable[[], object]) -> ExitStack:
        """Keys, if somebody can press them."""
        typed = self.source.typed

        def press(key: str) -> None:
            if typed is not None and typed.press(key):
                return
            match key.lower():
                case "n":
                    leading.anew()
                case "c":
                    leading.is_solved()
                case "q":
                    end()

        stack = ExitStack()
        fd = keyboard() if self._screen is not None or typed is not None else None
        if fd is not None:
            self._board.keys = True
            stack.enter_context(Keys(fd, press))
        elif typed is not None:
            stack.enter_context(piped_keys(press, typed.end))
        return stack

    def close(self) -> None:
        """Give the terminal back; harmless when called again."""
        if self._screen is not None:
            self._screen.restore()

    def conclude(self) -> None:
        """Say what is to be said when everything is over."""
        self.close()
        for complaint in [] if self._hub is None else self._hub.complaints():
            click.echo(f"livecube: {complaint}", err=True)
