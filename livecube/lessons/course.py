"""The way through a lesson: takes a cube's events and the student's wishes. Pure.

A *try* is over when it was done as asked, a *drill* and *solves* after their number. The student
may go on, or back, at any time; a step that is left counts as not passed.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import repeat
from typing import TYPE_CHECKING, Protocol, TypeAlias

import numpy as np

from livecube.cube.holding import cross_down
from livecube.cube.position import SOLVED_BYTES, TURN_BYTES, htm
from livecube.drills.judging import DrillJudged, drill_names
from livecube.drills.news import as_drill
from livecube.drills.place import pieces_that_count
from livecube.errors import LessonError, UsageError
from livecube.events import Reset, State, Turn
from livecube.lessons.lesson import Drill, Show, Solves, Text, Try, kind_of
from livecube.lessons.news import (
    LessonOver,
    PlacesAwaited,
    PlacesScarce,
    SolveDone,
    StepBegun,
    StepDone,
    StepWalked,
    TryJudged,
)
from livecube.lessons.solving import Solving
from livecube.lessons.steps import Walk, demonstrated
from livecube.review.moment import Brought, brought
from livecube.review.trying import OneTry, Tried, Trying

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterator, Sequence

    from livecube.advice.advisor import Advisor
    from livecube.cube.holding import Holding
    from livecube.drills.news import DrillNews
    from livecube.drills.place import DrillPlace
    from livecube.events import CubeEvent
    from livecube.lessons.lesson import Lesson, Step
    from livecube.lessons.news import LessonNews
    from livecube.lessons.solving import Scrambled
    from livecube.review.trying import Place, TryNews
    from livecube.scrambling.path import ScramblePath
    from livecube.techniques.base import Technique

__all__ = ["Course", "CourseNews", "LessonPlace", "Paths", "lesson_place"]

CourseNews: TypeAlias = "LessonNews | TryNews | DrillNews"


@dataclass(frozen=True, slots=True)
class LessonPlace(Brought):
    """The position of a *try*; ``row`` is the quickest way as asked."""

    step: Try

    @property
    def set_up_holding(self) -> Holding:
        """The holding that the lesson names, else the cross down."""
        return self.step.holding or cross_down(self.face)


def lesson_place(advisor: Advisor, step: Try, file: str) -> LessonPlace:
    """The place of a *try*, with the ways that the advisor knows there.

    Raises :class:`~livecube.errors.LessonError` if there is no way as asked.
    """
    position = np.frombuffer(step.position, dtype=np.uint8)
    try:
        found = brought(
            advisor, position, step.face, step.holding, step.technique, frozenset(step.slots)
        )
    except UsageError as error:
        raise LessonError(file, step.line, str(error)) from None
    place = LessonPlace(found.position, found.face, found.row, found.ways, step)
    one = OneTry(place, place.position)
    *before, last = [one.turn(0.0, turn) for turn in place.row.turns_fixed]
    if any(before) or not last:
        raise LessonError(file, step.line, "is over before its quickest way is")
    amiss = _amiss(place, *one.done(), place.row.turns_fixed, place.position)
    if amiss:
        raise LessonError(file, step.line, f"its quickest way would not count: {amiss}")
    return place


class Paths(Protocol):
    """Finds the turns of set-ups, and scrambles."""

    def to(self, start: bytes, target: bytes) -> ScramblePath:
        """A path from one position to another."""
        ...

    def partly(self, start: bytes, target: bytes, pieces: Sequence[int]) -> ScramblePath:
        """A path that brings these pieces to their places in the target."""
        ...

    def scrambled(self) -> Scrambled:
        """A random state."""
        ...


class Course:
    """Leads a student through a lesson, on a cube that stands in ``position`` at first.

    ``place``: gives the place of a *try*. ``technique``: gives a technique by its name. ``ask``:
    asks for the positions of the drill at a step number; :meth:`drawn` brings them. ``at``: the
    number of the first step; ``passed``: numbers of steps that were passed before.
    """

    def __init__(
        self,
        lesson: Lesson,
        paths: Paths,
        place: Callable[[Try], LessonPlace],
        technique: Callable[[str], Technique],
        ask: Callable[[int, Drill], None],
        *,
        at: int = 1,
        passed: Collection[int] = (),
        position: bytes = SOLVED_BYTES,
    ) -> None:
        self.lesson = lesson
        self.number = 0
        """Number of the present step, from 1; 0 before :meth:`begin`."""
        self.passed = {*passed}
        self.solving: Solving | None = None
        """The solves of the present step, if it has any."""
        self._paths = paths
        self._place = place
        self._technique = technique
        self._ask = ask
        self._at = at
        self._position = position
        self._walk: Walk | None = None
        self._trying: Trying | None = None
        self._places: dict[int, Sequence[DrillPlace]] = {}
        self._made = self._good = 0

    @property
    def over(self) -> bool:
        """Whether the last step is over."""
        return self.number > len(self.lesson.steps)

    @property
    def _step(self) -> Step:
        return self.lesson.steps[self.number - 1]

    # The student's wishes.

    def begin(self, t: float) -> list[CourseNews]:
        """Begin with the first step; the positions of all drills are asked for."""
        for number, step in enumerate(self.lesson.steps, 1):
            if isinstance(step, Drill) and number >= self._at:
                self._ask(number, step)
        return self._go_to(t, self._at)

    def next(self, t: float) -> list[CourseNews]:
        """Go on: to the next move of a demonstration, else to the next step."""
        if self.over or not self.number:
            return []
        if self._walk is not None and not self._walk.at_end:
            return self._walked(t, 1)
        return [*self._left(t), *self._go_to(t, self.number + 1)]

    def back(self, t: float) -> list[CourseNews]:
        """Go back: to the move before, else to the step before."""
        if self.over or not self.number:
            return []
        if self._walk is not None and self._walk.number:
            return self._walked(t, -1)
        return [*self._left(t), *self._go_to(t, self.number - 1)] if self.number > 1 else []

    def show(self, t: float) -> list[CourseNews]:
        """Show the way of a position that stands on the cube."""
        return [] if self._trying is None else [*self._trying.show(t)]

    def give_up(self, t: float) -> list[CourseNews]:
        """Set the position, or the scramble, up once more."""
        if self._trying is not None:
            return [*self._trying.give_up(t)]
        return [] if self.solving is None else [*self.solving.give_up(t)]

    def drawn(self, number: int, places: Sequence[DrillPlace], t: float) -> list[CourseNews]:
        """Take in the positions of the drill at a step."""
        self._places[number] = places
        waits = number == self.number and self._trying is None
        return self._drilled(t) if waits else []

    # The cube.

    def feed(self, event: CubeEvent) -> list[CourseNews]:
        """Take in an event of the cube; returns its news."""
        match event:
            case Turn():
                self._position = self._position.translate(TURN_BYTES[event.turn])
            case State():
                self._position = event.position
            case Reset():
                self._position = SOLVED_BYTES
        if self._walk is not None and isinstance(event, Turn):
            before = self._walk.number
            self._walk.turned(event.turn)
            return [] if self._walk.number == before else self._walked(event.t, 0)
        told: list[CourseNews] = []
        for news in self._fed(event):
            told.append(as_drill(news) if isinstance(news, Tried) else news)
            more, is_over = self._counted(told[-1])
            told += more
            if is_over:
                break  # what follows would set up one more
        return told

    def _fed(self, event: CubeEvent) -> Iterator[TryNews | LessonNews]:
        if self._trying is not None:
            yield from self._trying.feed(event)
        elif self.solving is not None:
            for news in self.solving.feed(event):
                yield news
                if isinstance(news, SolveDone):
                    yield from self.solving.begin(event.t)

    def finish(self) -> list[CourseNews]:
        """End; a step under way is left."""
        return []

    # Steps.

    def _go_to(self, t: float, number: int) -> list[CourseNews]:
        self.number = number
        self._walk = self._trying = self.solving = None
        self._made = self._good = 0
        if self.over:
            still = tuple(one for one in self.lesson.turned if one not in self.passed)
            return [LessonOver(t, self.lesson.title, still)]
        step, of = self._step, len(self.lesson.steps)
        begun = StepBegun(t, number, of, step)
        match step:
            case Text():
                return [begun]
            case Show():
                position = np.frombuffer(step.position, dtype=np.uint8)
                shown = demonstrated(position, step.face, step.holding, step.moves)
                self._walk = Walk(shown)
                return [StepBegun(t, number, of, step, shown)]
            case Try():
                return [begun, *self._tried(t, repeat(self._place(step)))]
            case Drill():
                return [begun, *self._drilled(t)]
            case Solves():
                focus = None if step.focus is None else self._technique(step.focus)
                self.solving = Solving(
                    number, self._paths.scrambled, self._paths.to, self._position, focus
                )
                return [begun, *self.solving.begin(t)]

    def _drilled(self, t: float) -> list[CourseNews]:
        places = self._places.get(self.number)
        if places is None:
            return [PlacesAwaited(t, self.number)]
        step, told = self._step, list[CourseNews]()
        assert isinstance(step, Drill)
        if len(places) < step.count:
            told = [PlacesScarce(t, self.number, len(places), step)]
        following = self._tried(t, iter(places)) if places else self._go_to(t, self.number + 1)
        return [*told, *following]

    def _tried(self, t: float, places: Iterator[Place]) -> list[CourseNews]:
        step = self._step
        assert isinstance(step, Try | Drill)
        pieces = pieces_that_count(step.face)

        def path(start: bytes, target: bytes) -> ScramblePath:
            return self._paths.partly(start, target, pieces)

        self._trying = Trying(places, path, self._position)
        return [*self._trying.begin(t)]

    def _walked(self, t: float, by: int) -> list[CourseNews]:
        assert self._walk is not None
        self._walk.step(by)
        return [StepWalked(t, self.number, self._walk.shown, self._walk.number)]

    def _left(self, t: float) -> list[CourseNews]:
        """The end of a turned step that is left before it is over."""
        return self._done(t, passed=False) if self._made else []

    def _done(self, t: float, *, passed: bool) -> list[CourseNews]:
        if passed:
            self.passed.add(self.number)
        return [StepDone(t, self.number, kind_of(self._step), passed, self._made, self._good)]

    def _counted(self, news: CourseNews) -> tuple[list[CourseNews], bool]:
        """Count a try or a solve; returns what follows it, and whether its step is over."""
        step, told = self._step, list[CourseNews]()
        match news:
            case DrillJudged():
                self._good += news.as_asked
            case Tried():
                assert isinstance(news.place, LessonPlace)
                amiss = _amiss(news.place, news.techniques, news.slots, news.made, news.began)
                if news.shown and not amiss:
                    amiss = "with the way shown; once more without it"
                self._good += not amiss
                told = [TryJudged(news.t, self.number, amiss)]
            case SolveDone():
                self._good += 1
            case _:
                return [], False
        self._made += 1
        passed = bool(self._good)
        match step:
            case Drill():
                drawn = len(self._places[self.number])  # perhaps fewer: some are rare
                is_over, passed = self._made >= drawn, self._good >= min(step.mark, drawn)
            case Solves():
                is_over = self._made >= step.count
            case _:
                is_over = passed
        if is_over:
            told += [*self._done(news.t, passed=passed), *self._go_to(news.t, self.number + 1)]
        return told, is_over


def _amiss(
    place: LessonPlace,
    techniques: tuple[str, ...],
    slots: tuple[str, ...],
    turns: Sequence[int],
    began: bytes,
) -> str:
    """What was not as a *try* asked, in turns that began in a position; empty: nothing."""
    step = place.step
    if step.slots and {*slots} != {*step.slots}:
        return f"into {' and '.join(slots)}; asked was {' and '.join(step.slots)}"
    names = drill_names(place, techniques, turns)
    if step.technique is not None and names not in _right_names(place, slots, began):
        return f"by {' and '.join(names)}; asked was {step.technique}"
    if step.turns is not None and htm(turns) > step.turns:
        return f"in {htm(turns)} turns; at most {step.turns} are asked"
    return ""


def _right_names(place: Place, slots: tuple[str, ...], began: bytes) -> Iterator[tuple[str, ...]]:
    """The names that hindsight may give to a try by the asked technique."""
    yield (place.row.technique,)
    if {*slots} == {*place.row.slots}:
        advised = OneTry(place, began)
        for turn in place.row.turns_fixed:
            advised.turn(0.0, turn)
        yield drill_names(place, advised.done()[0], advised.turns)
