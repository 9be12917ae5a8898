"""Sinks: outputs for everything that happens. Each is thin; :mod:`livecube.views` makes texts."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import IO, TYPE_CHECKING, Any, Generic, Protocol, TypeAlias, TypeVar, cast

from livecube.advice.speaker import Clue, Happening, Spoken
from livecube.drills.news import DrillNews
from livecube.edges.drawing import Drawing
from livecube.edges.saying import screen_width
from livecube.events import Cause, CubeEvent
from livecube.lessons.news import LessonNews
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
    "Staying",
]

# The interface of a sink: it takes in what happens, and never calls back.


Item: TypeAlias = CubeEvent | Happening | PracticeNews | TryNews | DrillNews | LessonNews
"""Everything that a sink may get: events of the cube, progress and advice of the pipeline, news
of practice, a try, a drill or a lesson."""


class Sink(Protocol):
    """A screen, a log, a dashboard. It uses the items that concern it and ignores the rest."""

    @property
    def name(self) -> str:
        """Name in messages about the sink."""
        ...

    async def take(self, item: Item) -> None:
        """Take in the next item."""
        ...

    async def close(self) -> None:
        """End: no more items follow."""
        ...


# The content of a screen: one value, replaced as a whole, so that a thread may draw it meanwhile.


class Shown(Protocol):
    """One moment of a screen: a frozen dataclass that rich can draw."""

    def after(self, news: News) -> Self:
        """The value to show after this news."""
        ...

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Draw it."""
        ...


_ShownT = TypeVar("_ShownT", bound=Shown)


class Board(Generic[_ShownT]):
    """Holds the value to show. The loop replaces ``shown``; a drawing thread reads it once.

    The value itself never changes, so no frame shows half of a change.
    """

    def __init__(self, shown: _ShownT) -> None:
        self.shown = shown

    def take(self, news: News) -> None:
        """Show news."""
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
        """Write a happening; other items are ignored."""
        if not isinstance(item, Cause):
            self._out.write(json.dumps(self._as_object(item)) + "\n")
            self._out.flush()

    async def close(self) -> None:
        """Nothing is held back."""
        self._out.flush()


class LineSink:
    """Writes happenings as plain lines, for pipes and files."""

    name = "text output"

    def __init__(self, out: IO[str], as_lines: Callable[[News, int | None], Sequence[str]]) -> None:
        """``as_lines``: the lines of news in so many columns; None: however long they are."""
        self._out = out
        self._as_lines = as_lines

    async def take(self, item: Item) -> None:
        """Write a happening that is worth a line."""
        if isinstance(item, Cause):
            return
        if lines := self._as_lines(item, screen_width(self._out)):
            self._out.write("\n".join(lines) + "\n")
            self._out.flush()

    async def close(self) -> None:
        """Nothing is held back."""


class Staying(Protocol):
    """The lines that stay on the terminal when a screen is gone."""

    def lines(self, width: int) -> Sequence[str]:
        """All of them, in order, in ``width`` columns of text."""
        ...

    def take(self, item: News) -> None:
        """Take in an item."""
        ...


class ScreenSink:
    """Draws the live screen; the solves stay on the terminal when it is closed."""

    name = "screen"

    def __init__(
        self,
        console: Console,
        board: Board[Any],
        failed: Callable[[Exception], None],
        staying: Staying | None = None,
    ) -> None:
        """``failed``: called, from any thread, with the reason if drawing fails.

        ``staying``: the lines that stay on the terminal.
        """
        self._staying = staying
        self._console = console
        self._board = board
        self._failed = failed
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
        if self._staying is not None:
            self._staying.take(item)

    async def close(self) -> None:
        """Give the terminal back."""
        self.restore()

    def restore(self) -> None:
        """Restore the terminal; harmless when called again."""
        if self._drawing.is_on:
            self._drawing.stop()
            staying = [] if self._staying is None else self._staying.lines(self._console.width)
            for line in staying:
                self._console.print(line, highlight=False, markup=False, soft_wrap=True)


class BellSink:
    """Rings a terminal's bell at each call of an inspection."""

    name = "bell"

    def __init__(self, console: Console) -> None:
        self._console = console

    async def take(self, item: Item) -> None:
        """Ring at a call."""
        if isinstance(item, Called):
            self._console.bell()

    async def close(self) -> None:
        """Nothing to do."""


class FirstHint:
    """Sets ``there`` at the first hint."""

    name = "first hint"

    def __init__(self, there: asyncio.Event) -> None:
        self._there = there

    async def take(self, item: Item) -> None:
        """Check whether it is a hint."""
        if isinstance(item, Spoken | Clue):
            self._there.set()

    async def close(self) -> None:
        """Nothing is held back."""


class LogSink:
    """Records cube events in a log file.

    Events that cannot be written, because the disk is full, are written as soon as possible.
    ``complain`` gets a sentence when that begins and when it is over.
    """

    def __init__(
        self, path: Path, writer: LogWriter, complain: Callable[[str], None] = lambda _: None
    ) -> None:
        self.name = f"log {path}"
        self._writer = writer
        self._complain = complain
        self._is_behind = False

    async def take(self, item: Item) -> None:
        """Append an event; the other items can be worked out again from events."""
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
