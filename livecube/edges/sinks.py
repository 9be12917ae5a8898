"""Sinks: where happenings go. Each is thin; what it shows is made in :mod:`livecube.views`."""

from __future__ import annotations

import json
from typing import IO, TYPE_CHECKING, Any

from livecube.advice.speaker import Clue, Spoken, Unsaid
from livecube.drills.news import DrillNews
from livecube.edges.drawing import Drawing
from livecube.events import CubeEvent
from livecube.practice.news import Called, Judged, PracticeNews, Reviewed
from livecube.review.trying import Tried, TryNews
from livecube.stages.progress import SolveOver
from livecube.views.again import again_json, again_line, tried_sentence
from livecube.views.drills import drill_json, drill_line, lasting_lines
from livecube.views.happenings import happening_json, happening_line, solve_lines, unsaid_lines
from livecube.views.practice import practice_json, practice_line, result_sentence, reviewed_sentence

if TYPE_CHECKING:
    import asyncio
    from collections.abc import Callable
    from pathlib import Path

    from rich.console import Console

    from livecube.advice.speaker import Happening
    from livecube.edges.log_files import LogWriter
    from livecube.edges.sink import Item
    from livecube.views.board import Board

__all__ = ["BellSink", "FirstHint", "JsonSink", "LineSink", "LogSink", "ScreenSink"]


_FRAMES_A_SECOND = 15


def _json(item: Happening | PracticeNews | TryNews | DrillNews) -> dict[str, Any]:
    if isinstance(item, PracticeNews):
        return practice_json(item)
    if isinstance(item, DrillNews):
        return drill_json(item)
    return again_json(item) if isinstance(item, TryNews) else happening_json(item)


def _line(item: Happening | PracticeNews | TryNews | DrillNews) -> str | None:
    if isinstance(item, PracticeNews):
        return practice_line(item)
    if isinstance(item, DrillNews):
        return drill_line(item)
    return again_line(item) if isinstance(item, TryNews) else happening_line(item)


class JsonSink:
    """Writes each happening as a line of JSON."""

    name = "JSON output"

    def __init__(self, out: IO[str]) -> None:
        self._out = out

    async def take(self, item: Item) -> None:
        """Write a happening; events are not its business."""
        if not isinstance(item, CubeEvent):
            told = _json(item)
            self._out.write(json.dumps(told) + "\n")
            self._out.flush()

    async def close(self) -> None:
        """Nothing is held back."""
        self._out.flush()


class LineSink:
    """Writes happenings as plain lines, for pipes and files."""

    name = "text output"

    def __init__(self, out: IO[str]) -> None:
        self._out = out

    async def take(self, item: Item) -> None:
        """Write a happening that is worth a line."""
        if isinstance(item, CubeEvent):
            return
        line = _line(item)
        if line is not None:
            self._out.write(line + "\n")
            self._out.flush()

    async def close(self) -> None:
        """Nothing is held back."""


class ScreenSink:
    """Draws the live screen; the solves stay on the terminal when it is closed."""

    name = "screen"

    def __init__(
        self, console: Console, board: Board[Any], failed: Callable[[Exception], None]
    ) -> None:
        """``failed``: told, from any thread, why the screen cannot be drawn any more."""
        self._console = console
        self._board = board
        self._failed = failed
        self._solves: list[str] = []
        self._drawing = Drawing(console, lambda: board.shown, _FRAMES_A_SECOND, failed)

    async def take(self, item: Item) -> None:
        """Show a happening."""
        if isinstance(item, CubeEvent):
            return
        try:
            self._board.take(item)
        except Exception as error:
            self._failed(error)
            raise
        if isinstance(item, Judged):
            self._solves.append(result_sentence(item))
        elif isinstance(item, Reviewed):
            self._solves.append(reviewed_sentence(item))
        elif isinstance(item, DrillNews):
            self._solves += lasting_lines(item)
        elif isinstance(item, Tried):
            self._solves.append(tried_sentence(item))
        elif isinstance(item, SolveOver):
            self._solves += solve_lines(item.solve)
        elif isinstance(item, Unsaid):
            self._solves += unsaid_lines(item)

    async def close(self) -> None:
        """Give the terminal back."""
        self.restore()

    def restore(self) -> None:
        """Leave the terminal as it was; harmless when called again."""
        if self._drawing.is_on:
            self._drawing.stop()
            for line in self._solves:
                self._console.print(line, highlight=False, markup=False)


class BellSink:
    """Rings a terminal's bell at each call of an inspection."""

    name = "bell"

    def __init__(self, console: Console) -> None:
        self._console = console

    async def take(self, item: Item) -> None:
        """Ring, if it is a call."""
        if isinstance(item, Called):
            self._console.bell()

    async def close(self) -> None:
        """Nothing rings on."""


class FirstHint:
    """Sets ``there`` when something is hinted for the first time."""

    name = "first hint"

    def __init__(self, there: asyncio.Event) -> None:
        self._there = there

    async def take(self, item: Item) -> None:
        """Look at it."""
        if isinstance(item, Spoken | Clue):
            self._there.set()

    async def close(self) -> None:
        """Nothing is held back."""


class LogSink:
    """Records cube events in a log file.

    What cannot be written, for a full disk, is written as soon as it can be; ``complain`` is told
    when that begins and when it is over.
    """

    def __init__(
        self, path: Path, writer: LogWriter, complain: Callable[[str], None] = lambda _: None
    ) -> None:
        self.name = f"log {path}"
        self._writer = writer
        self._complain = complain
        self._is_behind = False

    async def take(self, item: Item) -> None:
        """Append an event; happenings can be worked out from it again."""
        if not isinstance(item, CubeEvent):
            return
        try:
            self._writer.write(item)
        except OSError as error:
            if not self._is_behind:
                self._complain(f"The {self.name} cannot be written now ({error.strerror}).")
            self._is_behind = True
            return
        if self._is_behind:
            self._complain(f"The {self.name} is whole again.")
        self._is_behind = False

    async def close(self) -> None:
        """Close the file."""
        self._writer.close()
