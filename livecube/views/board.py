"""What a screen shows: one value, replaced at once, so that a thread may draw it meanwhile."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any, Generic, Protocol, TypeAlias, TypeVar, cast

from rich.segment import Segment

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from typing import Self

    from rich.console import Console, ConsoleOptions, RenderableType, RenderResult
    from rich.text import Text

    from livecube.advice.speaker import Happening
    from livecube.drills.news import DrillNews
    from livecube.practice.news import PracticeNews
    from livecube.review.trying import TryNews

    News: TypeAlias = Happening | PracticeNews | TryNews | DrillNews

__all__ = ["Beside", "Board", "Kept", "Shown"]

# Drawing once what stays the same from frame to frame.
#
# Laying out a table takes milliseconds, and whoever waits for advice waits for the drawing too.


class Kept:
    """Keeps the lines of something until it shows something else, or in another width.

    What is kept is replaced at once, with what it belongs to: several threads may draw.
    """

    def __init__(self) -> None:
        self._drawn: tuple[object, list[list[Segment]]] = (None, [])

    def showing(self, shown: object, make: Callable[[], RenderableType]) -> RenderableType:
        """To be drawn: what ``make`` gives, laid out anew if ``shown`` is not what it was."""
        return _Showing(self, shown, make)

    def lines(
        self,
        shown: object,
        make: Callable[[], RenderableType],
        console: Console,
        options: ConsoleOptions,
    ) -> list[list[Segment]]:
        """Its lines on a console."""
        wanted = shown, options.max_width
        drawn, lines = self._drawn
        if drawn != wanted:
            lines = console.render_lines(make(), options.update(height=None))
            self._drawn = wanted, lines
        return lines


class _Showing:
    def __init__(self, kept: Kept, shown: object, make: Callable[[], RenderableType]) -> None:
        self._kept, self._shown, self._make = kept, shown, make

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        for line in self._kept.lines(self._shown, self._make, console, options):
            yield from line
            yield Segment.line()


class Beside:
    """A picture of some lines, and beside it, half-way down, a text."""

    def __init__(self, lines: Sequence[list[Segment]], gap: int, text: Text) -> None:
        self._lines = lines
        self._gap = gap
        self._text = text

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Draw both."""
        left = max(map(Segment.get_line_length, self._lines)) + self._gap
        room = options.update(width=max(1, options.max_width - left), height=None)
        text = console.render_lines(self._text, room)
        height = max(len(self._lines), len(text))
        above = (height - len(text)) // 2
        text = [[]] * above + text + [[]] * (height - above - len(text))
        for row in range(height):
            line = self._lines[row] if row < len(self._lines) else []
            yield from Segment.adjust_line_length(line, left)
            yield from text[row]
            yield Segment.line()


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
