"""Sinks: where happenings go. Each is thin; what it shows is made in :mod:`livecube.views`."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import IO, TYPE_CHECKING, Any, Generic, Protocol, TypeAlias, TypeVar, cast

from livecube.advice.speaker import Clue, Happening, Spoken
from livecube.drills.news import DrillNews
from livecube.edges.drawing import Drawing
from livecube.events import Cause, CubeEvent
from livecube.practice.news import Called, PracticeNews
from livecube.review.trying import TryNews

if TYPE_CHECKING:
    import asyncio
    from collections.abc import Callable, Sequence
    from pathlib import Path
    from typing import Self

    from rich.console import Console, ConsoleOptions, RenderResult

    from livecube.drills.news import News
    from livecube.edges.log_files import LogWriter

__all__ = [
    "BellSink",
    "Board",
    "FirstHint",
    "Item",
    "JsonSink",
    "LineSink",
    "LogSink",
    "ScreenSink",
    "Shown",
    "Sink",
]

# What a sink is: something that is told what happens, and never calls back.


Item: TypeAlias = CubeEvent | Happening | PracticeNews | TryNews | DrillNews
"""All that a sink may be told: what the cube did, what the pipeline made of it, and what
practice, a try or a drill did."""


class Sink(Protocol):
    """A screen, a log, a dashboard. It takes what concerns it and leaves the rest."""

    @property
    def name(self) -> str:
        """For messages about it."""
        ...

    async def take(self, item: Item) -> None:
        """Take in what happened next."""
        ...

    async def close(self) -> None:
        """Nothing more will happen."""
        ...


# What a screen shows: one value, replaced at once, so that a thread may draw it meanwhile.


class Shown(Protocol):
    """One moment of a screen: a frozen dataclass that rich can draw."""

    def after(self, news: News) -> Self:
        """What is shown once this has happened."""
        ...

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Draw it."""
        ...


_ShownT = TypeVar("_ShownT", bound=Shown)


class Board(Generic[_ShownT]):
    """Keeps what is shown now. The loop replaces ``shown``; a thread that draws reads it once.

    A value that was read is never changed, so no frame shows half of a change.
    """

    def __init__(self, shown: _ShownT) -> None:
        self.shown = shown

    def take(self, news: News) -> None:
        """Show what happened."""
        self.shown = self.shown.after(news)

    def change(self, **fields: Any) -> None:
        """Show other values in these fields; their names are those of the dataclass."""
        self.shown = cast("_ShownT", replace(cast("Any", self.shown), **fields))


_FRAMES_A_SECOND = 15


class JsonSink:
    """Writes each happening as a line of JSON."""

    name = "JSON output"

    def __init__(self, out: IO[str], as_object: Callable[[News], dict[str, Any]]) -> None:
        self._out = out
        self._as_object = as_object

    async def take(self, item: Item) -> None:
        """Write a happening; what only causes happenings is not its business."""
        if not isinstance(item, Cause):
            self._out.write(json.dumps(self._as_object(item)) + "\n")
            self._out.flush()

    async def close(self) -> None:
        """Nothing is held back."""
        self._out.flush()


class LineSink:
    """Writes happenings as plain lines, for pipes and files."""

    name = "text output"

    def __init__(self, out: IO[str], as_line: Callable[[News], str | None]) -> None:
        self._out = out
        self._as_line = as_line

    async def take(self, item: Item) -> None:
        """Write a happening that is worth a line."""
        if isinstance(item, Cause):
            return
        line = self._as_line(item)
        if line is not None:
            self._out.write(line + "\n")
            self._out.flush()

    async def close(self) -> None:
        """Nothing is held back."""


class ScreenSink:
    """Draws the live screen; the solves stay on the terminal when it is closed."""

    name = "screen"

    def __init__(
        self,
        console: Console,
        board: Board[Any],
        failed: Callable[[Exception], None],
        staying: Callable[[News], Sequence[str]] = lambda item: (),
    ) -> None:
        """``failed``: told, from any thread, why the screen cannot be drawn any more.

        ``staying``: the lines of what happens that stay on the terminal.
        """
        self._staying = staying
        self._console = console
        self._board = board
        self._failed = failed
        self._solves: list[str] = []
        self._drawing = Drawing(console, lambda: board.shown, _FRAMES_A_SECOND, failed)

    async def take(self, item: Item) -> None:
        """Show a happening."""
        if isinstance(item, Cause):
            return
        try:
            self._board.take(item)
        except Exception as error:
            self._failed(error)
            raise
        self._solves += self._staying(item)

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
