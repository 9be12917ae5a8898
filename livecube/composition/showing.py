"""A demonstration, stepped through by keys, or by the turns of a cube."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING, Any, Literal

from livecube.events import Turn
from livecube.lessons.steps import Walk

if TYPE_CHECKING:
    from collections.abc import AsyncGenerator, Callable, Coroutine
    from contextlib import ExitStack

    from livecube.composition.following import Hub
    from livecube.composition.run import Run
    from livecube.edges.sinks import Board, Sink
    from livecube.events import CubeEvent
    from livecube.lessons.step_screen import StepScreen

__all__ = ["NoCube", "ShowPart"]


class NoCube:
    """The source of a demonstration without a cube: nothing ever comes."""

    name = ""
    title = ""
    clock: Literal["cube", "host"] = "host"
    link = "none"
    typed = None
    speed = 1.0

    async def find(self) -> None:
        """Nothing to look for."""

    async def events(self) -> AsyncGenerator[CubeEvent, None]:
        """No events, until the run ends."""
        return self._none()

    async def _none(self) -> AsyncGenerator[CubeEvent, None]:
        await asyncio.Event().wait()
        yield Turn(0.0, 0)


class ShowPart:
    """A demonstration, stepped through by keys and by the turns of a cube."""

    is_done = False
    """Ends by a key."""

    def __init__(self, board: Board[StepScreen]) -> None:
        self._board = board
        self._walk = Walk(board.shown.shown)

    def prepare(self) -> None:
        """Nothing to prepare."""

    def sinks(self, run: Run, stack: ExitStack) -> list[Sink]:
        """None of its own."""
        return []

    def begin(self, run: Run, hub: Hub) -> ShowPart:
        """Begin; it follows the cube itself."""
        return self

    def beside(self) -> dict[str, Coroutine[Any, Any, None]]:
        """Nothing."""
        return {}

    def start(self) -> None:
        """Nothing to do."""

    async def follow(self, events: AsyncGenerator[CubeEvent, None]) -> None:
        """Step by the turns of a cube."""
        async for event in events:
            if isinstance(event, Turn):
                self._walk.turned(event.turn)
                self._show()

    def press(self, key: str, end: Callable[[], object]) -> None:
        """On, back, to the start, or the end."""
        match key.lower():
            case "n" | " ":
                self._step(1)
            case "b":
                self._step(-1)
            case "s":
                self._step(-self._walk.number)
            case "q":
                end()

    def finish(self) -> None:
        """Nothing is kept."""

    async def settle(self) -> None:
        """Nothing to finish."""

    def _step(self, by: int) -> None:
        self._walk.step(by)
        self._show()

    def _show(self) -> None:
        self._board.change(number=self._walk.number)
