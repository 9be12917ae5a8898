"""A link to a simulated cube in the hands of a virtual solver who practises.

The solver sees the screen, turns the scramble that is shown, sometimes with a wrong turn, solves
after inspection has begun, and asks for the next scramble by the gesture. The solver also sets up
and tries the positions of ``again`` and drills.
"""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING, Final

from livecube.cube.position import inverse_turn
from livecube.drills.beat import BeatJudged, BeatReady
from livecube.drills.fingers import FingerAsked, FingersOver
from livecube.edges.link import LinkUp, Notification
from livecube.lessons.news import LessonOver, SolveReady
from livecube.practice.news import InspectionBegun, Judged, ScrambleAsked
from livecube.review.trying import ReadyToTry, SetUpAsked, Tried

if TYPE_CHECKING:
    from collections.abc import AsyncGenerator, Callable, Sequence

    import numpy as np

    from livecube.decoding import Write
    from livecube.edges.link import LinkItem
    from livecube.lessons.course import CourseNews
    from livecube.practice.news import PracticeNews
    from livecube.virtual.cube import SimulatedCube

__all__ = ["PractisedLink"]

_SCRAMBLE_TURN_S: Final = 0.45
_LOOK_S: Final = 3.0
"""Seconds of looking at a result."""
_GESTURE_TURN_S: Final = 0.2
_NEXT: Final = (9, 3, 11, 5)
"""R L R' L': the gesture for the next scramble."""
_P_WRONG: Final = 0.03
"""At each turn of a scramble: probability of a wrong turn, noticed and undone."""
_REST_S: Final = 5.0
"""Pause before each round of the finger drill, in seconds."""
_STROKE_S: Final = 0.24
_BOTTOM: Final = 15
"""First turn of the drill's layer."""
_SEEN: Final = (
    ScrambleAsked, InspectionBegun, Judged, SetUpAsked, ReadyToTry, Tried, BeatReady, BeatJudged,
    FingerAsked, FingersOver, SolveReady, LessonOver,
)  # fmt: skip
"""The news to which the virtual solver reacts."""
_IDLE_S: Final = 0.1
"""Interval at which the firmware may send packets without a turn."""
_LINGER_S: Final = 1.5


class PractisedLink:
    """Always connected, until the given number of solves is done.

    ``solving`` gives the turns of a solve from the turns of a scramble, with seconds since
    inspection began; ``speed``: how many of the cube's seconds pass in one real second.
    """

    def __init__(
        self,
        cube: SimulatedCube,
        solving: Callable[[Sequence[int]], Sequence[tuple[float, int]]],
        solves: int,
        rng: np.random.Generator,
        now: Callable[[], float],
        speed: float,
    ) -> None:
        self._cube = cube
        self._solving = solving
        self._solves = solves
        self._rng = rng
        self._now = now
        self._speed = speed
        self._began = now()
        self._latest_ms = 0
        """The cube's clock; it never passes a turn that is not made yet."""
        self._seen: asyncio.Queue[PracticeNews | CourseNews] = asyncio.Queue()
        self._sent: asyncio.Queue[LinkItem | None] = asyncio.Queue()

    def show(self, news: PracticeNews | CourseNews) -> None:
        """Show news to the virtual solver."""
        if isinstance(news, _SEEN):
            self._seen.put_nowait(news)

    def write(self, write: Write) -> None:
        """Send bytes to the cube."""
        self._send(self._cube.written(write.data, self._latest_ms))

    async def items(self) -> AsyncGenerator[LinkItem, None]:
        """The cube's notifications, until the virtual solver has done its solves."""
        yield LinkUp(self._now())
        practising = asyncio.create_task(self._practise(), name="virtual solver")
        practising.add_done_callback(lambda task: self._sent.put_nowait(None))
        try:
            while (item := await self._sent.get()) is not None:
                yield item
            practising.result()
        finally:
            practising.cancel()

    async def _practise(self) -> None:
        upcoming: Sequence[tuple[float, int]] = ()
        while self._solves:
            seen = await self._seen.get()
            self._latest_ms = max(self._latest_ms, round(1000 * self._cube_s()))
            match seen:
                case ScrambleAsked() | SetUpAsked():
                    # Worked out now, so that it takes no time from inspection.
                    upcoming = await asyncio.to_thread(self._solving, seen.turns)
                    await self._scramble(seen.turns)
                case InspectionBegun() | ReadyToTry() | BeatReady() | SolveReady():
                    await self._solve(upcoming)
                case Judged():
                    self._solves -= 1
                    await self._pass(_LOOK_S if self._solves else _LINGER_S)
                    for turn in _NEXT if self._solves else ():
                        await self._pass(_GESTURE_TURN_S)
                        self._turn(turn)
                case FingerAsked():
                    await self._stroke(seen.pattern.quarters)
                case LessonOver():
                    self._solves = 0
                    await self._pass(_LINGER_S)
                case Tried() | BeatJudged() | FingersOver():
                    self._solves -= 1
                    await self._pass(_LOOK_S if self._solves else _LINGER_S)

    async def _scramble(self, turns: Sequence[int]) -> None:
        for turn in turns:
            if self._rng.random() < _P_WRONG:
                wrong = (turn + 3) % 18
                for one in (wrong, inverse_turn(wrong)):
                    await self._pass(2 * _SCRAMBLE_TURN_S)
                    self._turn(one)
            await self._pass(_SCRAMBLE_TURN_S)
            self._turn(turn)

    async def _solve(self, turns: Sequence[tuple[float, int]]) -> None:
        before = 0.0
        for t, turn in turns:
            await self._pass(t - before)
            self._turn(turn)
            before = t

    async def _stroke(self, quarters: Sequence[int]) -> None:
        """A round of the finger drill; the right ring finger is a little slower."""
        await self._pass(_REST_S)
        for made in quarters:
            stroke = _STROKE_S * (1.15 if made == 3 else 1.0)
            await self._pass(max(0.05, self._rng.normal(stroke, 0.02)))
            self._turn(_BOTTOM + made - 1)

    async def _pass(self, seconds: float) -> None:
        """Let this many of the cube's seconds pass."""
        until = self._latest_ms / 1000 + seconds
        while (left := (until - self._cube_s()) / self._speed) > 0:
            await asyncio.sleep(min(left, _IDLE_S))
            if left > _IDLE_S:
                self._send(self._cube.idle(self._latest_ms))
        self._latest_ms = max(self._latest_ms, round(1000 * until))

    def _turn(self, turn: int) -> None:
        self._send(self._cube.turn(turn, self._latest_ms))

    def _cube_s(self) -> float:
        return (self._now() - self._began) * self._speed

    def _send(self, packets: tuple[bytes, ...]) -> None:
        for data in packets:
            self._sent.put_nowait(Notification(self._now(), self._cube.events, data))
