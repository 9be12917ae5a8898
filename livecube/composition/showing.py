"""A demonstration, stepped through by keys, or by the turns of a cube."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING, Any, Literal

from livecube.cube.position import inverse_turn
from livecube.events import Turn

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
    """Steps forth and back through a demonstration.

    A cube steps on when it makes the turns of the next move, and back when it undoes those of the
    last one; other turns do nothing, and neither does the position of the cube.
    """

    is_done = False
    """Ends by a key."""

    def __init__(self, board: Board[StepScreen]) -> None:
        self._board = board
        self._made: list[int] = []
        """Turns of the next move that the cube has made."""

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
                self._turned(event.turn)

    def press(self, key: str, end: Callable[[], object]) -> None:
        """On, back, to the start, or the end."""
        match key.lower():
            case "n" | " ":
                self._step(1)
            case "b":
                self._step(-1)
            case "s":
                self._step(-len(self._board.shown.shown.moves))
            case "q":
                end()

    def finish(self) -> None:
        """Nothing is kept."""

    async def settle(self) -> None:
        """Nothing to finish."""

    def _step(self, by: int) -> None:
        self._made.clear()
        self._board.shown = self._board.shown.moved(by)

    def _turned(self, turn: int) -> None:
        at, shown = self._board.shown.number, self._board.shown.shown
        while at < len(shown.moves) and not shown.turns(at + 1):
            at += 1  # a rotation turns nothing: it goes with the next move
        wanted = shown.turns(at + 1) if at < len(shown.moves) else ()
        self._made.append(turn)
        if tuple(self._made) == wanted:
            self._step(at + 1 - self._board.shown.number)
        elif tuple(self._made) != wanted[: len(self._made)]:
            self._back(turn)

    def _back(self, turn: int) -> None:
        """Step back if the turn undoes the last move; else it does nothing."""
        self._made.clear()
        at, shown = self._board.shown.number, self._board.shown.shown
        while at and not shown.turns(at):
            at -= 1
        if at and shown.turns(at) == (inverse_turn(turn),):
            self._step(at - 1 - self._board.shown.number)
