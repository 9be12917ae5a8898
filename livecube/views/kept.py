"""A cache for parts of a screen that stay the same from frame to frame.

Laying out a table takes milliseconds, and drawing delays advice.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.segment import Segment

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from rich.console import Console, ConsoleOptions, RenderableType, RenderResult
    from rich.text import Text

__all__ = ["Beside", "Kept"]


class Kept:
    """Keeps the laid-out lines of a view until its content or the width changes.

    Lines and their key are replaced in one assignment, since several threads may draw.
    """

    def __init__(self) -> None:
        self._drawn: tuple[object, list[list[Segment]]] = (None, [])

    def showing(self, shown: object, make: Callable[[], RenderableType]) -> RenderableType:
        """A renderable of ``make()``, which is laid out again only if ``shown`` has changed."""
        return _Showing(self, shown, make)

    def lines(
        self,
        shown: object,
        make: Callable[[], RenderableType],
        console: Console,
        options: ConsoleOptions,
    ) -> list[list[Segment]]:
        """The lines of ``make()`` on a console; from the cache if ``shown`` and the width match."""
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
    """A picture of some lines, with a text to its right, centred vertically."""

    def __init__(self, lines: Sequence[list[Segment]], gap: int, text: Text) -> None:
        self._lines = lines
        self._gap = gap
        self._text = text

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Draw the picture and the text."""
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
