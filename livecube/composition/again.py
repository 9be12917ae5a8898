"""Tries on a cube: its events go through the tries to the sinks."""

from __future__ import annotations

import asyncio
import time
from contextlib import aclosing
from typing import TYPE_CHECKING, Any, Final, Literal, Protocol

from livecube.composition.assembly import find_decoder
from livecube.composition.reception import decoded
from livecube.edges.saying import say
from livecube.events import HeldAs, Reset
from livecube.mending.mender import Correction
from livecube.review.trying import Place, SetUpAsked, Tried, Trying

if TYPE_CHECKING:
    from collections.abc import AsyncGenerator, Callable, Coroutine, Iterable, Sequence
    from contextlib import ExitStack

    from livecube.composition.following import Hub
    from livecube.composition.publishing import Publishing
    from livecube.composition.run import Run
    from livecube.composition.scrambler import Scrambler
    from livecube.cube.holding import Holding
    from livecube.dashboard.sink import Told
    from livecube.edges.practised_link import PractisedLink
    from livecube.edges.sinks import Item, Sink
    from livecube.events import CubeEvent
    from livecube.lessons.course import CourseNews

__all__ = ["Again", "Led", "TrierSource", "TryPart"]

_FIRST_WORD_S: Final = 0.5
"""A cube that reports its position at the start does so within this time."""
_PROTOCOL: Final = "turnwire"
_LOOK_S: Final = 1.8
_TURN_S: Final = 0.22
"""Seconds that a virtual solver looks, and seconds for a turn."""
_OFF_BEAT: Final = 0.1
"""Deviation of a virtual solver's turns from their beats, as a share of the time between beats."""
_P_EMPTY: Final = 0.05
"""Probability of two empty beats after a turn."""


class Led(Protocol):
    """Takes in the events of a cube and leads through tries or rounds."""

    @property
    def number(self) -> int:
        """Number of the try or round that is prepared or under way; 0 before :meth:`begin`."""
        ...

    @property
    def over(self) -> bool:
        """Whether all tries or rounds are over."""
        ...

    def begin(self, t: float) -> Sequence[CourseNews]:
        """Begin."""
        ...

    def give_up(self, t: float) -> Sequence[CourseNews]:
        """Begin the present try or round once more."""
        ...

    def feed(self, event: CubeEvent) -> Sequence[CourseNews]:
        """Take in an event; returns the news."""
        ...

    def finish(self) -> Sequence[CourseNews]:
        """End; returns the news about the tries or rounds so far."""
        ...


class Again:
    """Leads through tries, or rounds; ``heard`` gets the news at once.

    ``speed``: how many of the cube's seconds pass in one real second. ``speaks``: whether the cube
    may report its position before it is turned; else it is solved. ``as_told``: turns news into
    items for the sinks.
    """

    def __init__(
        self,
        trying: Led,
        hub: Hub,
        tries: int | None,
        heard: Callable[[CourseNews], None] = lambda news: None,
        *,
        speed: float = 1.0,
        speaks: bool = True,
        as_told: Callable[[CourseNews], Item] = lambda news: news,
    ) -> None:
        self.holding: Holding | None = None
        """The stated holding, if any; each set-up begins in its own."""
        self._trying = trying
        self._hub = hub
        self._heard = heard
        self._speaks = speaks
        self._as_told = as_told
        self._left = tries
        self._moment = (0.0, 0.0)
        """The cube's seconds at its last event, and the host's; replaced as a whole."""
        self._speed = speed
        self._correction = Correction()

    async def follow(self, events: AsyncGenerator[CubeEvent, None]) -> None:
        """Follow a cube until the tries are over, or its link ends."""
        if not self._speaks:
            self._begin()
        alarm = asyncio.get_running_loop().call_later(_FIRST_WORD_S, self._begin)
        try:
            async with aclosing(events):
                async for event in events:
                    self._take(event)
                    if self._left == 0 or self._trying.over:
                        return
        finally:
            alarm.cancel()

    def now(self) -> float:
        """The cube's time, estimated between its events; from any thread."""
        t, at = self._moment
        return t + (time.monotonic() - at) * self._speed

    def anew(self) -> None:
        """Set the moment up once more, as the solver asks."""
        self.wish(self._trying.give_up)

    def wish(self, what: Callable[[float], Iterable[CourseNews]]) -> None:
        """Tell what a wish of the solver brings; ``what`` gets the time of the last event."""
        self._tell(what(self._moment[0]))

    def show(self) -> None:
        """The solver is stuck and wants to see the way; rounds have none."""
        if isinstance(self._trying, Trying):
            self.wish(self._trying.show)

    def finish(self) -> None:
        """End: the solver stops, or the cube is gone."""
        self._tell(self._trying.finish())

    def is_solved(self) -> None:
        """Take in the solver's statement that the cube is solved now."""
        self._take(Reset(self._moment[0]))

    def _begin(self) -> None:
        if not self._trying.number:
            self._tell(self._trying.begin(self._moment[0]))

    def _take(self, event: CubeEvent) -> None:
        self._moment = (event.t, time.monotonic())
        if isinstance(event, HeldAs) and event.holding is not None:
            self.holding = event.holding
        self._tell(self._trying.feed(self._correction.correct(event)))
        self._begin()

    def _tell(self, told: Iterable[CourseNews]) -> None:
        for news in told:
            if isinstance(news, SetUpAsked):
                if self._left == 0:
                    return  # after the last try nothing is set up
                self.holding = news.place.set_up_holding
            if isinstance(news, Tried) and self._left is not None:
                self._left -= 1
            self._hub.publish(self._as_told(news))
            self._heard(news)


class TrierSource:
    """A simulated cube whose virtual solver sets each place up and follows the advice.

    A :class:`~livecube.composition.sources.Source`; ``show`` it the news.
    """

    name = _PROTOCOL
    clock: Literal["cube", "host"] = "cube"
    link = "simulated"
    typed = None

    def __init__(self, tries: int, seed: int, speed: float, tempo: float | None = None) -> None:
        """``tempo``: beats a second at which whole solves are turned, instead of tries."""
        self.title = f"simulated cube, seed {seed}"
        self.speed = speed
        self._tempo = tempo
        self._turns: Sequence[int] = ()
        self._tries = tries
        self._seed = seed
        self._practised: PractisedLink | None = None

    def show(self, news: CourseNews) -> None:
        """Show news to the virtual solver."""
        if isinstance(news, SetUpAsked) and isinstance(news.place, Place):
            self._turns = news.place.row.turns_fixed
        if self._practised is not None:
            self._practised.show(news)

    async def find(self) -> None:
        """Nothing to look for."""

    async def events(self) -> AsyncGenerator[CubeEvent, None]:
        """The cube's events, until the virtual solver has done its tries."""
        self._practised = await asyncio.to_thread(self._made)
        return decoded(self._practised, find_decoder(_PROTOCOL)(), speed=self.speed)

    def _made(self) -> PractisedLink:
        import numpy as np

        from livecube.cube.position import SOLVED_BYTES
        from livecube.edges.practised_link import PractisedLink
        from livecube.virtual.cube import simulated_cube

        rng = np.random.default_rng(self._seed)
        cube = simulated_cube(_PROTOCOL)(SOLVED_BYTES)
        return PractisedLink(cube, self._solving, self._tries, rng, time.monotonic, self.speed)

    def _solving(self, set_up: Sequence[int]) -> list[tuple[float, int]]:
        if self._tempo is not None:
            return _to_a_beat(set_up, self._tempo, self._seed)
        return [(_LOOK_S + i * _TURN_S, turn) for i, turn in enumerate(self._turns)]


def _to_a_beat(scramble: Sequence[int], tempo: float, seed: int) -> list[tuple[float, int]]:
    """A virtual solve to a beat: now and then a turn misses it, or a beat stays empty."""
    import numpy as np

    from livecube.virtual.solver import solve

    rng = np.random.default_rng(seed)
    turned: list[tuple[float, int]] = []
    at = _LOOK_S * tempo
    for one in solve(rng, scramble).turns:
        off = rng.normal(0.0, _OFF_BEAT)
        turned.append(((at + off) / tempo, one.turn))
        at += 3 if rng.random() < _P_EMPTY else 1
    return turned


class TryPart:
    """Tries or rounds on a cube, followed until ``led`` is over.

    ``led``: made with a scrambler if it needs set-ups; loading that takes time. ``tries``: their
    number, None: until it is over by itself. ``as_told``: the items for the sinks. ``sinks``:
    further ones.
    """

    is_done = False
    """Ends by itself."""

    def __init__(
        self,
        led: Led | Callable[[Scrambler], Led],
        tries: int | None,
        scrambler: Callable[[], Scrambler],
        *,
        publishing: Publishing | None = None,
        as_told: Callable[[CourseNews], Item] = lambda news: news,
        sinks: Sequence[Sink] = (),
    ) -> None:
        self._made = led
        self._tries = tries
        self._scrambler = scrambler
        self._publishing = publishing
        self._as_told = as_told
        self._sinks = sinks
        self._led: Led
        self._again: Again | None = None

    @property
    def holding(self) -> Holding | None:
        """The holding that the solver should take now."""
        return None if self._again is None else self._again.holding

    def prepare(self) -> None:
        """Make the tries or rounds."""
        self._led = self._made(self._scrambler()) if callable(self._made) else self._made

    def sinks(self, run: Run, stack: ExitStack) -> list[Sink]:
        """A dashboard, if one is wanted, and the further sinks."""
        if not run.output.as_json and run.output.screen is None:
            say(run.output.board.shown.title)
        return [*self._sinks, *run.output.published(self._publishing, run.source, _drill_told)]

    def begin(self, run: Run, hub: Hub) -> Again:
        """Begin; a virtual solver gets the news."""
        source = run.source
        self._again = Again(
            self._led,
            hub,
            self._tries,
            source.show if isinstance(source, TrierSource) else lambda news: None,
            speed=source.speed,
            speaks=source.typed is None,
            as_told=self._as_told,
        )
        run.output.board.change(now=self._again.now)
        return self._again

    def beside(self) -> dict[str, Coroutine[Any, Any, None]]:
        """Nothing."""
        return {}

    def start(self) -> None:
        """Nothing to do: the cube's first event begins it."""

    def press(self, key: str, end: Callable[[], object]) -> None:
        """Once more, the way, a solved cube, or the end."""
        assert self._again is not None, "begin comes first"
        match key.lower():
            case "n":
                self._again.anew()
            case "s":
                self._again.show()
            case "c":
                self._again.is_solved()
            case "q":
                end()

    def finish(self) -> None:
        """End: the solver stops, or the cube is gone."""
        assert self._again is not None, "begin comes first"
        self._again.finish()

    async def settle(self) -> None:
        """Nothing to finish."""


def _drill_told(item: Item) -> Told:
    """:func:`livecube.composition.dashboard.drill_told`, imported only with a dashboard."""
    from livecube.composition.dashboard import drill_told

    return drill_told(item)
