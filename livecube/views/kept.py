"""Drawing once what stays the same from frame to frame.

Laying out a table takes milliseconds, and whoever waits for advice waits for the drawing too.
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
    """Something that is laid out anew only if what it shows has changed, or the width."""

    def __init__(self) -> None:
        self._shown: object = None
        self._make: Callable[[], RenderableType] = str
        self._drawn: tuple[object, int] | None = None
        self._lines: list[list[Segment]] = []

    def showing(self, shown: object, make: Callable[[], RenderableType]) -> Kept:
        """What it shows now, to be compared, and how that is made."""
        self._shown, self._make = shown, make
        return self

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Draw it."""
        drawn = self._shown, options.max_width
        if drawn != self._drawn:
            self._lines = console.render_lines(self._make(), options.update(height=None))
            self._drawn = drawn
        for line in self._lines:
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
