"""The run of ``livecube practice``: cube, keys, screen or lines, history and reviews."""

from __future__ import annotations

import asyncio
import sys
from contextlib import ExitStack, aclosing
from dataclasses import dataclass
from typing import TYPE_CHECKING

import click
from rich.console import Console

from livecube.cli.kept import begun_session
from livecube.cli.output import Ending
from livecube.cli.published import Published
from livecube.cli.scramble import scrambler_with_progress
from livecube.composition.assembly import load_advisor, load_holdings, quick_advisor, set_level
from livecube.composition.following import SWITCH_S, CubeFollower, Hub
from livecube.composition.keyboard import PracticeKeyboard, stating
from livecube.composition.practising import (
    AttemptLogs,
    PracticeLeader,
    PractisedSource,
    SessionReviews,
)
from livecube.edges.automaton_file import load_hands
from livecube.edges.history.sink import HistorySink
from livecube.edges.keys import Keys, keyboard, piped_keys
from livecube.edges.log_files import started_now
from livecube.edges.sinks import BellSink, JsonSink, LineSink, ScreenSink
from livecube.edges.voice import SystemVoice, VoiceSink, speech_command
from livecube.logs.lines import Header
from livecube.practice.news import Judged
from livecube.practice.session import Practice
from livecube.views.board import Board
from livecube.views.practice_screen import PracticeScreen
from livecube.views.screen import PREPARING

if TYPE_CHECKING:
    from collections.abc import AsyncGenerator

    from livecube.cli.broker_options import Publishing
    from livecube.cli.options import Wishes
    from livecube.composition.pipeline import Pipeline
    from livecube.composition.sources import Source
    from livecube.cube.holding import Holding
    from livecube.edges.history.session import Session
    from livecube.edges.sink import Sink
    from livecube.events import CubeEvent
    from livecube.practice.news import PracticeNews
    from livecube.practice.session import PracticeRules

__all__ = ["PracticeAsked", "PracticeRun"]


@dataclass(frozen=True, slots=True)
class PracticeAsked:
    """What the options said, beside those that others need."""

    person: str
    is_kept: bool
    solves: int | None
    seed: int | None
    as_json: bool
    rules: PracticeRules
    holding: Holding | None


class PracticeRun:
    """One session, on one cube."""

    def __init__(
        self,
        source: Source,
        pipeline: Pipeline,
        wishes: Wishes,
        publishing: Publishing,
        asked: PracticeAsked,
    ) -> None:
        self._source = source
        self._pipeline = pipeline
        self._wishes = wishes
        self._published = Published(publishing)
        self._asked = asked
        self._done = 0
        self._board = Board(PracticeScreen("", lambda: 0.0))
        self.ending = Ending()
        self._screen: ScreenSink | None = None
        self._hub: Hub | None = None
        self._session: Session | None = None
        self._keeping: HistorySink | None = None
        self._started = started_now()
        self._reviews: SessionReviews | None = None

    async def follow(self) -> None:
        """Practise to the end, or to that of the solver's patience."""
        sys.setswitchinterval(SWITCH_S)
        scrambler, _ = await asyncio.gather(
            asyncio.to_thread(scrambler_with_progress, self._asked.seed), self._source.find()
        )
        with ExitStack() as stack:
            if self._asked.is_kept:
                self._session = begun_session(
                    self._asked.person, self._started, self._source.name, self._say
                )
                stack.callback(self._session.close)
            await self._run(Practice(self._asked.rules, scrambler), self._session)

    def _say(self, sentence: str) -> None:
        click.echo(f"livecube: {sentence}", err=True)
        self._board.change(notice=f"{sentence[0].upper()}{sentence[1:]}.")

    async def _run(self, practice: Practice, session: Session | None) -> None:
        source = self._source
        header = Header(self._started, source.name, source.clock, link=source.link)
        logs: AttemptLogs | None = None
        kept: list[Sink] = []
        if session is not None:
            logs = AttemptLogs(session, header, self._complain)
            self._reviews = SessionReviews(
                session.folder, self._tell, self._complain, lambda: self._board.shown.now()
            )
            self._keeping = HistorySink(session, self._complain, self._reviews.add, logs.write_all)
            kept = [self._keeping]
        self._board.change(source=source.title)
        hub = self._hub = Hub([*kept, *self._sinks()])
        leader = PracticeLeader(practice, hub, logs, source.speed, self._heard)
        follower = CubeFollower(self._pipeline, hub, source.speed, leader.lead)
        self._board.change(now=follower.now)
        leader.attach(follower)
        async with hub, asyncio.TaskGroup() as tasks:
            helping = [tasks.create_task(follower.refiner.run(), name="refiner")]
            helping.append(tasks.create_task(self._tell_month(), name="month"))
            events = await source.events()
            if self._reviews is not None:
                helping.append(tasks.create_task(self._reviews.run(), name="reviews"))
            if self._wishes.level is not None:
                ready = self._get_ready(follower, self._wishes.level)
                helping.append(tasks.create_task(ready, name="advisor"))
            following = tasks.create_task(follower.follow(self._wanted(events)), name="cube")
            if self._asked.holding is not None:
                follower.say(stating(self._asked.holding))
            leader.start()
            actions = PracticeKeyboard(
                follower, self._pipeline, leader, following.cancel, source.typed
            )
            with self._keys(actions):
                await asyncio.wait([following])
            leader.finish()
            follower.finish()
            await self._finish_reviews(hub)
            await self._tell_month()
            for task in helping:
                task.cancel()

    async def _finish_reviews(self, hub: Hub) -> None:
        """The last solve may not be kept yet, and not reviewed."""
        if self._reviews is not None:
            await hub.settle()
            await self._reviews.finish()

    async def _tell_month(self) -> None:
        if self._session is not None:
            await self._published.tell_month(self._session)

    def _tell(self, news: PracticeNews) -> None:
        assert self._hub is not None
        self._hub.publish(news)

    async def _wanted(
        self, events: AsyncGenerator[CubeEvent, None]
    ) -> AsyncGenerator[CubeEvent, None]:
        """The events up to the last solve that is wanted."""
        async with aclosing(events):
            async for event in events:
                yield event
                if self._asked.solves is not None and self._done >= self._asked.solves:
                    return

    def _heard(self, news: PracticeNews) -> None:
        self._done += isinstance(news, Judged)
        if isinstance(self._source, PractisedSource):
            self._source.show(news)

    def _sinks(self) -> list[Sink]:
        console = Console(highlight=False, markup=False)
        as_json = self._asked.as_json
        sinks: list[Sink] = []
        if console.is_terminal and not as_json:
            self._screen = ScreenSink(console, self._board, self.ending.because)
            sinks += [self._screen, BellSink(console)]
        else:
            sinks.append(JsonSink(sys.stdout) if as_json else LineSink(sys.stdout))
        if self._wishes.calls:
            sinks.append(VoiceSink(SystemVoice(speech_command(), self._complain)))
        return [*sinks, *self._published.sinks(self._source, self._complain, judged=True)]

    def _complain(self, sentence: str) -> None:
        if self._screen is not None:
            self._board.change(notice=sentence)
        else:
            click.echo(f"livecube: {sentence}", err=True)

    def _keys(self, actions: PracticeKeyboard) -> ExitStack:
        """Keys, if somebody can press them."""
        stack = ExitStack()
        typed = self._source.typed
        fd = keyboard() if self._screen is not None or typed is not None else None
        if fd is not None:
            self._board.change(keys=True)
            stack.enter_context(Keys(fd, actions.press))
        elif typed is not None:
            stack.enter_context(piped_keys(actions.press, typed.end))
        return stack

    async def _get_ready(self, follower: CubeFollower, level: str) -> None:
        """Load the advisor beside the turning cube."""
        self._board.change(preparing=PREPARING)
        self._pipeline.advisor = await asyncio.to_thread(quick_advisor, level, self._wishes.hands)
        advisor = await asyncio.to_thread(load_advisor, hands=self._wishes.hands)
        set_level(advisor, level)
        self._pipeline.advisor = advisor
        holdings = await asyncio.to_thread(load_holdings)
        self._pipeline.holdings = holdings
        if self._session is not None:
            self._session.hindsight = holdings.hindsight
        self._board.change(preparing="")
        follower.refiner.begin(advisor.twin())
        if self._reviews is not None:
            self._reviews.begin(advisor.twin(), self._wishes.hands or load_hands())

    def close(self) -> None:
        """Give the terminal back; harmless when called again."""
        if self._screen is not None:
            self._screen.restore()

    def conclude(self) -> None:
        """Say what is to be said when everything is over."""
        self.close()
        told = [] if self._hub is None else self._hub.complaints()
        told += [] if self._keeping is None else self._keeping.last_words
        for complaint in told + self._published.last_words:
            click.echo(f"livecube: {complaint}", err=True)
        if self._hub is not None and self._hub.is_cut_off:
            sys.exit(1)
