"""A cube followed while it is turned, with hints: the run of ``livecube live``."""

from __future__ import annotations

import asyncio
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any, Final

from livecube.advice.settings import LEVEL_NAMES
from livecube.composition.assembly import load_advisor, load_holdings, quick_advisor, set_level
from livecube.composition.following import CubeFollower, find_beside
from livecube.composition.keyboard import Keyboard, stating
from livecube.composition.preparing import prepared
from livecube.edges.apart import are_tables_kept
from livecube.edges.automaton_file import load_hands
from livecube.edges.log_files import LogWriter, started_now
from livecube.edges.sinks import FirstHint, LogSink
from livecube.errors import KeepingError
from livecube.history.folder import data_folder
from livecube.history.kept_session import Session
from livecube.history.sink import FollowedSink
from livecube.logs.lines import Header
from livecube.own.keeping import Learner, Taker
from livecube.views.live_screen import PREPARING

if TYPE_CHECKING:
    from collections.abc import Callable, Coroutine
    from contextlib import ExitStack
    from pathlib import Path

    from livecube.advice.advisor import Advisor
    from livecube.composition.following import FindOpenings, Hub
    from livecube.composition.offers import OfferDesk
    from livecube.composition.pipeline import Pipeline
    from livecube.composition.publishing import Publishing
    from livecube.composition.run import Output, Run, Wishes
    from livecube.composition.sources import Source
    from livecube.cube.holding import Holding
    from livecube.edges.habits_file import Habits
    from livecube.edges.sinks import Sink
    from livecube.hands.automaton import Automaton
    from livecube.holding.follower import HoldingFollower

__all__ = ["AdvisedPart", "Followed", "LivePart", "Solver"]

_HEAD_START_S: Final = 0.1
"""Seconds for which the link has the interpreter alone, before the advisor is loaded."""
_FIRST_HINT_S: Final = 10.0
"""Most seconds that a virtual solver waits for the first hint."""
_TYPING: Final = "Type moves: R U F … r M x, ' or 2 after them; Backspace takes one back."


@dataclass(frozen=True, slots=True)
class Solver:
    """The person who turns the cube, with their wishes."""

    person: str | None
    """Whose solves these are; None: nothing is kept."""
    wishes: Wishes
    holding: Holding | None = None
    """The holding at first, if it is stated."""
    habits: Habits | None = None
    """How they hold the cube, as learned; None: as people do."""
    title: str = ""
    """Their name, if there are several people, and whether seconds are for their own hands."""
    usual: Automaton | None = None
    """The hands that their own are compared with; None: the usual ones."""
    own_hands: int | None = None
    """Number of solves that their hands were learned from; None: the hands are not their own."""
    hands_told: str = ""
    """The same in words; empty if the hands are not their own."""


@dataclass(frozen=True, slots=True)
class Followed:
    """Whose solves are followed, and how many."""

    solver: Solver
    solves: int | None
    """Number of solves after which the run ends; None: no limit."""
    at_cube: Callable[[Source], Solver] | None = None
    """Says who it is when the cube is found; None: the solver is known before."""


class AdvisedPart:
    """The base of all parts with hints: it loads the advisor beside the turning cube."""

    makes_book = True
    """Whether the book of beginnings for the solver's own hands is made beside the run."""

    def __init__(self, pipeline: Pipeline, publishing: Publishing, followed: Followed) -> None:
        self._pipeline = pipeline
        self._solver = followed.solver
        self._publishing = publishing
        self._followed = followed
        self._session: Session | None = None
        self._find: FindOpenings = find_beside
        self._offers: OfferDesk | None = None
        self._reading: asyncio.Lock | None = None
        self._follower: CubeFollower
        self._source: Source
        self._output: Output

    def _meet(self, run: Run) -> None:
        """Note the cube that was found, and who turns it."""
        self._source, self._output = run.source, run.output
        if self._followed.at_cube is not None:
            self._solver = self._followed.at_cube(run.source)
        self._pipeline.manner = self._solver.wishes.manner
        if self._solver.title:
            self._output.board.change(source=f"{run.source.title}, {self._solver.title}")
        if self._solver.wishes.level is not None:
            self._output.tell_hands(self._solver.own_hands, self._solver.hands_told)

    def _begun_session(self, person: str, header: Header, say: Callable[[str], None]) -> Session:
        """A session in the history; if it cannot be begun now, ``say`` gets a sentence.

        Raises :class:`~livecube.errors.UsageError` if the history is broken.
        """
        session = Session(data_folder(), person, header.started, header.source, say)
        try:
            session.begin()
        except (KeepingError, OSError) as error:
            say(f"this session cannot be kept now; each solve tries again: {error}")
        return session

    def _hear_offers(self) -> None:
        """Show what a coach offers, if the dashboard hears one."""
        dashboard = self._output.dashboard
        if dashboard is not None and dashboard.hears_offers:
            from livecube.composition.offers import OfferDesk  # late: most starts do not need it

            self._offers = OfferDesk(self._output, self._solver.person)
            dashboard.hear_offers(self._offers.offered)

    def _answered(self, key: str) -> bool:
        """Whether a key answers an offer that is shown."""
        return self._offers is not None and self._offers.press(key)

    def beside(self) -> dict[str, Coroutine[Any, Any, None]]:
        """Loading the advisor, and answering long questions."""
        works: dict[str, Coroutine[Any, Any, None]] = {"refiner": self._follower.refiner.run()}
        if self._solver.wishes.level is not None:
            works["advisor"] = self._get_ready(self._solver.wishes.level)
        return works

    async def _get_ready(self, level: str) -> None:
        """Load the advisor beside the turning cube, after the link's first item."""
        board = self._output.board
        board.change(preparing=PREPARING)
        await asyncio.sleep(_HEAD_START_S)
        advisor = await self._load(level)
        holdings = await self._load_holdings()
        self._pipeline.holdings = holdings
        if self._session is not None:
            self._session.hindsight = holdings.hindsight
            await asyncio.to_thread(self._begin_learning, self._session)
        board.change(preparing="")
        await self._ready(advisor)
        if self.makes_book:
            from livecube.composition.own_book import make_beside  # late: a start must not wait

            await make_beside(advisor)

    async def _load_holdings(self) -> HoldingFollower:
        return await prepared(partial(load_holdings, self._solver.habits))

    async def _load(self, level: str) -> Advisor:
        """Give pipeline and refiner their advisors; returns the pipeline's.

        On a first start the search takes long to be made ready; see :meth:`_open_meanwhile`.
        """
        pipeline, hands = self._pipeline, self._solver.wishes.hands
        pipeline.advisor = quick = await prepared(partial(quick_advisor, level, hands))
        if quick is not None and not are_tables_kept():
            await self._open_meanwhile(quick.twin())
        advisor = await prepared(partial(load_advisor, hands=hands, holdings_next=True))
        set_level(advisor, level)
        pipeline.advisor = advisor
        self._follower.refiner.begin(advisor.twin())
        return advisor

    async def _open_meanwhile(self, quick: Advisor) -> None:
        """Tell a scrambled cube the fastest cross at once, X-crosses some seconds later.

        Only the refiner's thread uses ``quick`` from now on.
        """
        openings = quick.answers.openings
        assert openings is not None
        crosses = quick.twin()
        set_level(crosses, LEVEL_NAMES[0])
        self._follower.refiner.begin(crosses)
        await prepared(lambda: openings.pieces)
        self._follower.refiner.begin(quick)

    def _begin_learning(self, session: Session) -> None:
        taker, learner = Taker(self._solver.habits), Learner(self._solver.usual or load_hands())
        session.begin_learning(taker.take, learner.kept_in(session.person))

    async def _ready(self, advisor: Advisor) -> None:
        """Called when the pipeline has the advisor."""

    def start(self) -> None:
        """Pass the stated holding on."""
        if self._solver.holding is not None:
            self._follower.say(stating(self._solver.holding))

    def finish(self) -> None:
        """End of following the cube."""
        self._follower.finish()


class LivePart(AdvisedPart):
    """Follows a cube, shows progress and hints, and keeps the solves.

    ``log``: an additional record of everything. ``begin``: set at the first hint, or when none
    will come: then a virtual solver begins.
    """

    def __init__(
        self,
        pipeline: Pipeline,
        publishing: Publishing,
        followed: Followed,
        *,
        log: Path | None,
        begin: asyncio.Event,
    ) -> None:
        super().__init__(pipeline, publishing, followed)
        self._log = log
        self._begin = begin
        self._keeping: FollowedSink | None = None

    def prepare(self) -> None:
        """Nothing to prepare."""

    def sinks(self, run: Run, stack: ExitStack) -> list[Sink]:
        """A voice, a dashboard, a log and the history, if wanted."""
        self._meet(run)
        source, output = run.source, run.output
        if self._solver.wishes.level is None:
            self._begin.set()
        header = Header(started_now(), source.name, source.clock, link=source.link)
        writer = None if self._log is None else LogWriter(self._log, header)
        sinks: list[Sink] = [FirstHint(self._begin)]
        if self._solver.wishes.voice:
            sinks.append(output.voice())
        sinks += output.published(self._publishing, source)
        self._hear_offers()
        if self._log is not None and writer is not None:
            sinks.append(LogSink(self._log, writer, output.complain))
        if (person := self._solver.person) is not None:
            self._session = self._begun_session(person, header, output.complain)
            stack.callback(self._session.close)
            self._keeping = keeping = FollowedSink(
                self._session, header, output.complain, self._reading
            )
            output.last_words.append(lambda: keeping.last_words)
            sinks.append(keeping)
        return sinks

    def begin(self, run: Run, hub: Hub) -> CubeFollower:
        """Begin; each event is written before it is passed on."""
        lead = (lambda event: (event,)) if self._keeping is None else self._keeping.lead
        self._follower = CubeFollower(self._pipeline, hub, run.source.speed, lead, self._find)
        return self._follower

    def start(self) -> None:
        """Pass the stated holding on; explain the keys if moves are typed."""
        super().start()
        if self._source.typed is not None and self._output.screen is not None:
            self._output.board.change(standing=_TYPING)

    async def _ready(self, advisor: Advisor) -> None:
        """Let a virtual solver wait for the first hint, if one will come."""
        if self._pipeline.question is not None:
            with suppress(TimeoutError):
                await asyncio.wait_for(self._begin.wait(), _FIRST_HINT_S)
        self._begin.set()

    def press(self, key: str, end: Callable[[], object]) -> None:
        """An answer to an offer, the holding, a solved cube, or the end."""
        if not self._answered(key):
            Keyboard(self._follower, self._pipeline, end).press(key)

    @property
    def is_done(self) -> bool:
        """Whether the wanted number of solves is done."""
        wanted = self._followed.solves
        return wanted is not None and self._pipeline.solves >= wanted

    async def settle(self) -> None:
        """Nothing to finish."""
