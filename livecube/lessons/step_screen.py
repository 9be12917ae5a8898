"""A demonstration on a terminal: one step large, or all steps as lines."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from rich.console import Group
from rich.text import Text

from livecube.views.lines import folded
from livecube.views.picture import LargePicture, held_picture

if TYPE_CHECKING:
    from collections.abc import Iterator
    from typing import Self

    from rich.console import Console, ConsoleOptions, RenderResult

    from livecube.drills.news import News
    from livecube.lessons.steps import Demonstration

__all__ = ["StepScreen", "moves_line", "step_lines"]

_KEYS: Final = "n or space: next   b: back   s: start   q: ends"
_LEGEND: Final = "In brackets: the stickers of the pieces that come home."


@dataclass(frozen=True)
class StepScreen:
    """The content of the screen at one moment of a demonstration."""

    shown: Demonstration
    number: int = 0
    """So many moves have been made."""
    source: str = ""
    notice: str = ""
    keys: bool = False
    """Whether the program can read keys."""

    def after(self, news: News) -> Self:
        """The same: a demonstration has no news."""
        return self

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Draw the step; in a low terminal the last lines are left out, not the picture."""
        step = self.shown.steps[self.number]
        position = np.frombuffer(step.position, dtype=np.uint8)
        held = f"held with {step.holding}"
        body = Group(
            Text(f"livecube show   {self.source}".rstrip(), "dim"),
            moves_line(self.shown, self.number),
            Text(", ".join(filter(None, (held, self.shown.hands_told))), "dim"),
            Text(),
            LargePicture(position, step.holding, step.marked),
            Text(),
            Text(step.words or "The pieces stay where they are.", "bold"),
            *([Text(self.notice)] if self.notice else []),
            Text(_KEYS if self.keys else "Ctrl-C ends.", "dim"),
        )
        for line in console.render_lines(body, options.update(height=None))[: options.max_height]:
            yield from line
            yield Text("\n", end="")


def moves_line(shown: Demonstration, after: int) -> Text:
    """All moves; the last one that was made stands between pointers."""
    text = Text("start" if after == 0 else "", "bold")
    for number, move in enumerate(shown.moves, 1):
        now = number == after
        blank = "  " if text.plain else ""
        text.append(f"{blank}▸{move}◂" if now else f"{blank}{move}", "bold" if now else "dim")
    return text


def step_lines(shown: Demonstration, width: int) -> Iterator[str]:
    """All steps, for a pipe or a file: words and the unfolded cube."""
    yield from folded([shown.about, _LEGEND if shown.steps[0].marked else ""], width)
    for number, step in enumerate(shown.steps):
        yield ""
        head = f"{shown.move_words(number)}, held with {step.holding}"
        yield from folded([f"{head}: {step.words}" if step.words else head], width, 4)
        position = np.frombuffer(step.position, dtype=np.uint8)
        yield from (line.plain for line in held_picture(position, step.holding, step.marked))
