"""Leads a practice session: every event of the cube passes through it and is written first."""

from __future__ import annotations

import asyncio
import sqlite3
import time
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from threading import Lock
from typing import TYPE_CHECKING, Any, Final, Literal

from livecube.composition.assembly import find_decoder
from livecube.composition.following import CubeFollower
from livecube.composition.keyboard import WISHES, Keyboard
from livecube.composition.live import AdvisedPart
from livecube.composition.reception import decoded
from livecube.composition.reviewing import (
    begun_kept,
    chances_of,
    plans_of,
    prices_of,
    review_of,
)
from livecube.cube.position import turns_text
from livecube.edges.automaton_file import load_hands
from livecube.edges.log_files import started_now
from livecube.edges.sinks import BellSink
from livecube.errors import LivecubeError
from livecube.events import HeldAs, SolveMark
from livecube.history.logs import OpenLog, open_log_path, write_log
from livecube.history.sink import HistorySink
from livecube.history.store import History
from livecube.logs.lines import Header
from livecube.practice.loop import Practice
from livecube.practice.news import InspectionBegun, Judged, PracticeNews, Reviewed
from livecube.review.text import costs_told

if TYPE_CHECKING:
    from collections.abc import AsyncGenerator, Callable, Coroutine, Iterable, Iterator, Sequence
    from contextlib import ExitStack
    from pathlib import Path

    from livecube.advice.advisor import Advisor
    from livecube.composition.following import Hub
    from livecube.composition.live import Followed
    from livecube.composition.pipeline import Pipeline
    from livecube.composition.publishing import Publishing
    from livecube.composition.run import Run
    from livecube.composition.scrambler import Scrambler
    from livecube.composition.sources import Simulation
    from livecube.edges.habits_file import Habits
    from livecube.edges.practised_link import PractisedLink
    from livecube.edges.sinks import Sink
    from livecube.events import CubeEvent
    from livecube.hands.automaton import Automaton
    from livecube.history.kept_session import Session
    from livecube.practice.loop import Outcome, PracticeRules, Wish

__all__ = ["AttemptLogs", "PracticeLeader", "PracticePart", "PractisedSource", "SessionReviews"]

# Each solve of a practice session is reviewed as soon as it is kept, beside the turning.


class SessionReviews:
    """Reviews solves of the history in ``folder``, one after another, in a thread.

    ``tell`` gets the sentences of a review, ``complain`` a sentence if there can be none; ``now``
    gives the cube's time. Solves not reviewed when a session ends can be reviewed later by
    ``livecube review``.
    """

    def __init__(
        self,
        folder: Path,
        tell: Callable[[Reviewed], None],
        complain: Callable[[str], None],
        now: Callable[[], float],
    ) -> None:
        self._folder = folder
        self._tell = tell
        self._complain = complain
        self._now = now
        self._waiting: asyncio.Queue[tuple[int, int]] = asyncio.Queue()
        self._tools: asyncio.Future[tuple[Advisor, Automaton, Habits | None, int | None]] = (
            asyncio.get_running_loop().create_future()
        )

    def begin(
        self,
        advisor: Advisor,
        hands: Automaton,
        own: Habits | None = None,
        own_hands: int | None = None,
    ) -> None:
        """Review from now on; only the thread uses the advisor.

        ``own``: the person's habits; ``own_hands``: as for :meth:`.History.note_chances`.
        """
        self._tools.set_result((advisor, hands, own, own_hands))

    def add(self, number: int, kept: int) -> None:
        """Queue a kept solve: its number in this session and in the history."""
        self._waiting.put_nowait((number, kept))

    async def finish(self) -> None:
        """Wait until all kept solves are reviewed, unless the advisor is not loaded yet."""
        if self._tools.done():
            await self._waiting.join()

    async def run(self) -> None:
        """Review until cancelled."""
        tools = await self._tools
        while True:
            number, kept = await self._waiting.get()
            try:
                told = await asyncio.to_thread(self._review, kept, *tools)
            except (OSError, sqlite3.Error, LivecubeError) as error:
                self._complain(f"Solve {number} cannot be reviewed now: {error}")
            else:
                self._tell(Reviewed(self._now(), number, kept, told))
            finally:
                self._waiting.task_done()

    def _review(
        self,
        kept: int,
        advisor: Advisor,
        hands: Automaton,
        own: Habits | None,
        own_hands: int | None,
    ) -> tuple[str, ...]:
        # Through its own connection: the session's may be writing.
        with History(self._folder) as history:
            review = review_of(begun_kept(history, kept), advisor, hands, own=own)
            found = chances_of(review), prices_of(review), plans_of(review)
            history.note_chances(kept, *found, own_hands)
        return costs_told(review)


# A simulated cube whose virtual solver practises: it does what practice asks.


_PROTOCOL: Final = "turnwire"


class PractisedSource:
    """A :class:`~livecube.composition.sources.Source`; ``show`` it the news of practice."""

    name = _PROTOCOL
    clock: Literal["cube", "host"] = "cube"
    link = "simulated"
    typed = None

    def __init__(self, simulation: Simulation) -> None:
        self.title = f"simulated cube, seed {simulation.seed}"
        self.speed = simulation.speed
        self._simulation = simulation
        self._practised: PractisedLink | None = None

    def show(self, news: PracticeNews) -> None:
        """Show news to the virtual solver."""
        if self._practised is not None:
            self._practised.show(news)

    async def find(self) -> None:
        """Nothing to look for."""

    async def events(self) -> AsyncGenerator[CubeEvent, None]:
        """The cube's events, until the virtual solver is done."""
        self._practised = await asyncio.to_thread(self._made)
        return decoded(self._practised, find_decoder(_PROTOCOL)())

    def _made(self) -> PractisedLink:
        import numpy as np

        from livecube.cube.position import SOLVED_BYTES
        from livecube.edges.practised_link import PractisedLink
        from livecube.virtual.cube import simulated_cube
        from livecube.virtual.solver import solve

        rng = np.random.default_rng(self._simulation.seed)

        def solving(scramble: Sequence[int]) -> list[tuple[float, int]]:
            return [(turn.t, turn.turn) for turn in solve(rng, scramble).turns]

        cube = simulated_cube(_PROTOCOL)(SOLVED_BYTES)
        return PractisedLink(
            cube, solving, self._simulation.solves, rng, time.monotonic, self._simulation.speed
        )


_FIRST_WORD_S: Final = 0.5
"""A cube that reports its position at the start does so within this time."""


class _Attempt:
    """An attempt: its log if it can be written, and all of it in memory."""

    def __init__(self, session: Session, number: int, header: Header) -> None:
        self.number = number
        self.trouble: Exception | None = None
        """The write error, although the session is begun."""
        self._session = session
        self._header = header
        self._events: list[CubeEvent] = []
        self._log: OpenLog | None = None
        if session.number is not None:
            try:
                self._log = OpenLog(session.folder, session.number, number, header)
            except (OSError, LivecubeError) as error:
                self.trouble = error

    def write(self, event: CubeEvent) -> None:
        """Write an event of the attempt."""
        self._events.append(event)
        if self._log is not None:
            try:
                self._log.write(event)
            except OSError as error:
                self.trouble = error

    def end(self) -> bool:
        """End the attempt; returns whether its log is whole. If not, call this again."""
        log, self._log = self._log, None
        session = self._session
        if session.number is None:
            return False
        try:
            if log is not None:
                log.close()
            else:
                path = open_log_path(session.folder, session.number, self.number)
                write_log(path, self._header, self._events)
        except OSError as error:
            self.trouble = error
            return False
        return True

    def discard(self) -> None:
        """Discard the attempt."""
        if self._log is not None:
            self._log.discard()


class AttemptLogs:
    """Writes the log of each attempt of a session while it is made.

    ``header`` is that of all of them, except for the scramble. Events that cannot be written are
    kept in memory. ``complain`` gets one sentence an attempt, and writing is tried again before
    each later attempt and at the end. A session that is not begun yet has no place for logs.
    """

    def __init__(self, session: Session, header: Header, complain: Callable[[str], None]) -> None:
        self._session = session
        self._header = header
        self._complain = complain
        self._attempt: _Attempt | None = None
        self._unwritten: list[_Attempt] = []
        self._writing = Lock()
        self._held: HeldAs | None = None
        """The stated holding, if any."""

    def begin(self, begun: InspectionBegun) -> None:
        """Begin the log of an attempt."""
        self.drop()
        header = replace(self._header, scramble=turns_text(begun.scramble))
        self._attempt = _Attempt(self._session, begun.number, header)
        if self._attempt.trouble is not None:
            self._say_trouble(self._attempt)
        if self._held is not None:
            self._attempt.write(replace(self._held, t=begun.t))

    def _say_trouble(self, attempt: _Attempt) -> None:
        self._complain(
            f"The log of solve {attempt.number} cannot be written now ({attempt.trouble}); it is "
            "in memory, and practice goes on."
        )

    def write(self, event: CubeEvent) -> None:
        """Write an event of the present attempt, if there is one."""
        if isinstance(event, HeldAs):
            self._held = event if event.holding is not None else None
        attempt = self._attempt
        if attempt is None:
            return
        if isinstance(event, SolveMark) and event.phase == "abandon":
            self.drop()
            return
        was_well = attempt.trouble is None
        attempt.write(event)
        if was_well and attempt.trouble is not None:
            self._say_trouble(attempt)
        if isinstance(event, SolveMark) and event.phase == "end":
            self._attempt = None
            with self._writing:
                self._unwritten.append(attempt)
            self.write_all()

    def write_all(self) -> None:
        """Write logs that could not be written before; from any thread."""
        with self._writing:
            self._unwritten = [attempt for attempt in self._unwritten if not attempt.end()]

    def drop(self) -> None:
        """Discard an unfinished attempt."""
        if self._attempt is not None:
            self._attempt.discard()
            self._attempt = None
        self.write_all()


class PracticeLeader:
    """Between the cube and the pipeline: every event passes here.

    An event is written to the log of its attempt first, then goes to the pipeline and the sinks.
    ``heard`` gets the news too, at once.
    """

    def __init__(
        self,
        practice: Practice,
        hub: Hub,
        logs: AttemptLogs | None,
        speed: float = 1.0,
        heard: Callable[[PracticeNews], None] = lambda news: None,
    ) -> None:
        self._practice = practice
        self._hub = hub
        self._logs = logs
        self._speed = speed
        self._heard = heard
        self._follower: CubeFollower | None = None
        self._alarm: asyncio.TimerHandle | None = None

    def attach(self, follower: CubeFollower) -> None:
        """Set the receiver of marks that come without an event."""
        self._follower = follower

    def start(self) -> None:
        """Begin, if need be without an event: some cubes send nothing before the first turn."""
        self._alarm = asyncio.get_running_loop().call_later(_FIRST_WORD_S, self._wake)

    def lead(self, event: CubeEvent) -> Iterator[CubeEvent]:
        """The event with its marks before and after it."""
        yield from self._pass_on(self._practice.feed(event))
        if not self._practice.number:
            yield from self._pass_on(self._practice.begin(event.t))
        self._set_alarm()

    def wish(self, wish: Wish) -> None:
        """Take in a wish of the solver."""
        self._bring(self._practice.wish(wish, self._now()))

    def finish(self) -> None:
        """End the session; an attempt under way is discarded."""
        self._drop_alarm()
        if self._logs is not None:
            self._logs.drop()

    def _pass_on(self, outcomes: Iterable[Outcome]) -> Iterator[CubeEvent]:
        for outcome in outcomes:
            if isinstance(outcome, PracticeNews):
                if isinstance(outcome, InspectionBegun) and self._logs is not None:
                    self._logs.begin(outcome)
                self._hub.publish(outcome)
                self._heard(outcome)
            else:
                if self._logs is not None:
                    self._logs.write(outcome)
                yield outcome

    def _bring(self, outcomes: Iterable[Outcome]) -> None:
        assert self._follower is not None, "attach comes first"
        self._follower.pass_on(self._pass_on(outcomes))
        self._set_alarm()

    def _now(self) -> float:
        assert self._follower is not None, "attach comes first"
        return self._follower.now()

    def _set_alarm(self) -> None:
        self._drop_alarm()
        if (due := self._practice.due) is not None:
            wait = max(0.0, due - self._now()) / self._speed
            self._alarm = asyncio.get_running_loop().call_later(wait, self._wake)

    def _drop_alarm(self) -> None:
        if self._alarm is not None:
            self._alarm.cancel()
            self._alarm = None

    def _wake(self) -> None:
        due = self._practice.due
        if not self._practice.number:
            self._bring(self._practice.begin(self._now()))
        elif due is not None:
            self._bring(self._practice.wake(max(due, self._now())))


@dataclass(frozen=True, slots=True)
class _Kept:
    """The parts that keep a session: all of them, or none."""

    logs: AttemptLogs
    sink: HistorySink
    reviews: SessionReviews


class PracticePart(AdvisedPart):
    """Scrambles, inspections, solves and results, one after another, kept and reviewed."""

    def __init__(
        self,
        pipeline: Pipeline,
        publishing: Publishing,
        followed: Followed,
        *,
        rules: PracticeRules,
        scrambler: Callable[[], Scrambler],
    ) -> None:
        """``scrambler`` makes a scrambler, which takes time."""
        super().__init__(pipeline, publishing, followed)
        self._rules = rules
        self._scrambler = scrambler
        self._practice: Practice
        self._hub: Hub
        self._leader: PracticeLeader
        self._kept: _Kept | None = None
        self._done = 0

    def prepare(self) -> None:
        """Load the search for scrambles."""
        self._practice = Practice(self._rules, self._scrambler())

    def sinks(self, run: Run, stack: ExitStack) -> list[Sink]:
        """The history, a bell, a voice and a dashboard, if wanted."""
        self._meet(run)
        source, output = run.source, run.output
        sinks: list[Sink] = []
        if (person := self._solver.person) is not None:
            header = Header(started_now(), source.name, source.clock, link=source.link)
            self._session = session = self._begun_session(person, header, output.complain)
            stack.callback(session.close)
            logs = AttemptLogs(session, header, output.complain)
            reviews = SessionReviews(session.folder, self._tell, output.complain, self._now)
            keeping = HistorySink(session, output.complain, reviews.add, logs.write_all)
            output.last_words.append(lambda: keeping.last_words)
            self._kept = _Kept(logs, keeping, reviews)
            sinks.append(keeping)
        if output.screen is not None:
            sinks.append(BellSink(output.console))
        if self._solver.wishes.calls:
            sinks.append(output.voice())
        sinks += output.published(self._publishing, source, judged=True)
        self._hear_offers()
        return sinks

    def begin(self, run: Run, hub: Hub) -> CubeFollower:
        """Begin, with practice between the cube and everything else."""
        self._hub, speed = hub, run.source.speed
        logs = None if self._kept is None else self._kept.logs
        self._leader = PracticeLeader(self._practice, hub, logs, speed, self._heard)
        self._follower = CubeFollower(self._pipeline, hub, speed, self._leader.lead)
        self._leader.attach(self._follower)
        self._output.board.change(now=self._follower.now)
        return self._follower

    def beside(self) -> dict[str, Coroutine[Any, Any, None]]:
        """Loading the advisor, and reviewing solves, beside the turning."""
        works = super().beside() | {"month": self._tell_month()}
        if self._kept is not None:
            works["reviews"] = self._kept.reviews.run()
        return works

    async def _ready(self, advisor: Advisor) -> None:
        if self._kept is not None:
            hands = self._solver.wishes.hands or load_hands()
            solver = self._solver
            self._kept.reviews.begin(advisor.twin(), hands, solver.habits, solver.own_hands)

    def start(self) -> None:
        """Begin with the first scramble."""
        super().start()
        self._leader.start()

    def _heard(self, news: PracticeNews) -> None:
        self._done += isinstance(news, Judged)
        if isinstance(self._source, PractisedSource):
            self._source.show(news)

    def _tell(self, news: PracticeNews) -> None:
        self._hub.publish(news)

    def _now(self) -> float:
        return self._follower.now()

    def press(self, key: str, end: Callable[[], object]) -> None:
        """An answer to an offer, or a wish in practice; other keys as in following."""
        if self._answered(key):
            return
        wish = WISHES.get(key.lower())
        if wish is None:
            Keyboard(self._follower, self._pipeline, end).press(key)
        else:
            self._leader.wish(wish)

    @property
    def is_done(self) -> bool:
        """Whether the wanted number of solves is done."""
        wanted = self._followed.solves
        return wanted is not None and self._done >= wanted

    def finish(self) -> None:
        """End; an attempt under way is discarded."""
        self._leader.finish()
        super().finish()

    async def settle(self) -> None:
        """Wait until the last solve is kept and reviewed."""
        if self._kept is not None:
            await self._hub.settle()
            await self._kept.reviews.finish()
        await self._tell_month()

    async def _tell_month(self) -> None:
        """Tell the dashboard the last month, at the beginning and at the end of a session."""
        dashboard, session = self._output.dashboard, self._session
        if dashboard is not None and session is not None and session.number is not None:
            from livecube.composition.dashboard import tell_month

            await tell_month(
                dashboard, session.folder, session.number, session.person, datetime.now(UTC)
            )
