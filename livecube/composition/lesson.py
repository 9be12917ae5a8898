"""A lesson on a cube: its events go through the course to the sinks; drills are drawn beside."""

from __future__ import annotations

import asyncio
from functools import partial
from typing import TYPE_CHECKING, Any, Final

from livecube.composition.again import TrierSource, TryPart
from livecube.cube.position import SOLVED_BYTES
from livecube.lessons.lesson import Drill, Show, Text
from livecube.lessons.news import StepBegun, StepWalked
from livecube.lessons.solving import Scrambled
from livecube.review.trying import SetUpAsked

if TYPE_CHECKING:
    from collections.abc import Callable, Coroutine, Sequence

    from livecube.composition.again import Again
    from livecube.composition.following import Hub
    from livecube.composition.run import Run
    from livecube.composition.scrambler import Scrambler
    from livecube.drills.place import DrillPlace
    from livecube.edges.sinks import Item
    from livecube.lessons.course import Course, CourseNews
    from livecube.scrambling.path import ScramblePath

__all__ = ["LessonPart", "LessonPaths", "StudentSource"]

_READ_S: Final = 4.0
"""Seconds for which a virtual student reads a text, or looks at a move."""
_MOST_TRIES: Final = 1_000_000
"""The lesson ends before."""


class LessonPaths:
    """The set-ups and scrambles of a lesson; see :class:`.course.Paths`."""

    def __init__(self, scrambler: Scrambler) -> None:
        self._scrambler = scrambler

    def to(self, start: bytes, target: bytes) -> ScramblePath:
        """A path from one position to another."""
        return self._scrambler.to(start, target)

    def partly(self, start: bytes, target: bytes, pieces: Sequence[int]) -> ScramblePath:
        """A path that brings these pieces to their places in the target."""
        return self._scrambler.partly(start, target, pieces)

    def scrambled(self) -> Scrambled:
        """A random state."""
        path = self._scrambler.new(SOLVED_BYTES)
        return Scrambled(path.target, path.turns)


class StudentSource(TrierSource):
    """A simulated cube whose virtual student reads, tries as advised, and solves."""

    def __init__(self, seed: int, speed: float) -> None:
        super().__init__(_MOST_TRIES, seed, speed)
        self.go_on: Callable[[], None] = lambda: None
        """Called when the student has read a text, or looked at a move."""
        self._scramble: Sequence[int] = ()

    def show(self, news: CourseNews) -> None:
        """Show news to the virtual student."""
        match news:
            case SetUpAsked(place=Scrambled() as scene):
                self._scramble = scene.scramble
            case SetUpAsked():
                self._scramble = ()
            case StepBegun(step=Text() | Show()) | StepWalked():
                asyncio.get_running_loop().call_later(_READ_S / self.speed, self.go_on)
        super().show(news)

    def _solving(self, set_up: Sequence[int]) -> list[tuple[float, int]]:
        if not self._scramble:
            return super()._solving(set_up)
        import numpy as np

        from livecube.virtual.solver import solve

        rng = np.random.default_rng(self._seed)
        return [(one.t, one.turn) for one in solve(rng, self._scramble).turns]


class LessonPart(TryPart):
    """A lesson, followed to its end.

    ``course``: makes it from its paths and a function that asks for the positions of a drill.
    ``draw``: finds these, in a thread. ``as_told``: keeps what has to be kept.
    """

    def __init__(
        self,
        course: Callable[[LessonPaths, Callable[[int, Drill], None]], Course],
        draw: Callable[[Drill], Sequence[DrillPlace]],
        scrambler: Callable[[], Scrambler],
        as_told: Callable[[CourseNews], Item],
    ) -> None:
        self._asked: asyncio.Queue[tuple[int, Drill]] = asyncio.Queue()
        self._draw = draw
        self._course: Course

        def made(scrambler: Scrambler) -> Course:
            self._course = course(
                LessonPaths(scrambler), lambda *asked: self._asked.put_nowait(asked)
            )
            return self._course

        super().__init__(made, None, scrambler, as_told=as_told)

    def begin(self, run: Run, hub: Hub) -> Again:
        """Begin; a virtual student goes on by itself."""
        again = super().begin(run, hub)
        if isinstance(run.source, StudentSource):
            run.source.go_on = lambda: again.wish(self._course.next)
        return again

    def beside(self) -> dict[str, Coroutine[Any, Any, None]]:
        """Looking for the positions of drills."""
        return {"positions": self._draw_all()}

    async def _draw_all(self) -> None:
        while True:
            number, drill = await self._asked.get()
            places = await asyncio.to_thread(self._draw, drill)
            assert self._again is not None
            self._again.wish(partial(self._course.drawn, number, places))

    def press(self, key: str, end: Callable[[], object]) -> None:
        """On, back, once more, the way, a solved cube, or the end."""
        assert self._again is not None, "begin comes first"
        match key.lower():
            case "n":
                self._again.wish(self._course.next)
            case "p":
                self._again.wish(self._course.back)
            case "a":
                self._again.anew()
            case "s":
                self._again.wish(self._course.show)
            case _:
                super().press(key, end)
        if self._course.over:
            end()
