"""The screen while a missed moment is tried again: the set-up large, then the better way."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from rich.console import Group
from rich.text import Text

from livecube.cube.turns import turn_name, turns_text
from livecube.review.trying import ReadyToTry, SetUpAsked, SetUpGuided, Tried, TryGivenUp
from livecube.views.again_text import better_way, tried_sentence
from livecube.views.large import large
from livecube.views.picture import position_picture

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.console import Console, ConsoleOptions, RenderableType, RenderResult

    from livecube.advice.speaker import Happening
    from livecube.practice.news import PracticeNews
    from livecube.review.trying import TryNews

__all__ = ["AgainBoard"]

_SHOWN_LARGE: Final = 4


class AgainBoard:
    """What the screen shows; ``title`` says which moment is brought back."""

    def __init__(self, title: str) -> None:
        self.title = title
        self.source = ""
        self.notice = ""
        """One line for whoever runs the program."""
        self.keys = False
        """Whether somebody can press keys."""
        self._middle: list[RenderableType] = [Text("Waiting for the cube …")]
        self._tried: Tried | None = None

    def take(self, news: Happening | PracticeNews | TryNews) -> None:
        """Show what happened."""
        match news:
            case SetUpAsked():
                self._middle = self._set_up(news.turns)
            case SetUpGuided() if news.guidance.back:
                self._middle = [
                    Text("Not that turn. Back with:", "bold"),
                    Text(),
                    _large(news.guidance.back),
                    Text(),
                    Text(f"then  {turns_text(news.guidance.upcoming)}"),
                ]
            case SetUpGuided():
                self._middle = self._set_up(news.guidance.upcoming)
            case ReadyToTry():
                self._middle = [
                    Text(better_way(news.place), "bold"),
                    Text(),
                    *position_picture(news.position),
                    Text(),
                    Text("The first turn starts the time."),
                ]
            case Tried():
                self._tried = news
            case TryGivenUp():
                self.notice = f"Try {news.number} begins anew."

    def _set_up(self, left: Sequence[int]) -> list[RenderableType]:
        return [
            Text(f"Set it up, white up, green in front: {len(left)} turns to go"),
            Text(),
            _large(left[:_SHOWN_LARGE]),
            Text(),
            Text(turns_text(left)),
            *([] if self._tried is None else [Text(), Text(tried_sentence(self._tried))]),
        ]

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Draw it from the top; what does not fit is left out below."""
        foot = "n sets up anew   q ends" if self.keys else "Ctrl-C ends."
        drawn = Group(
            Text(f"livecube again   {self.source}", "dim"),
            Text(self.title),
            Text(),
            *self._middle,
            Text(),
            *([Text(self.notice, "dim")] if self.notice else []),
            Text(foot, "dim"),
        )
        for line in console.render_lines(drawn, options.update(height=None))[: options.max_height]:
            yield from line
            yield Text("\n", end="")


def _large(turns: Sequence[int]) -> Text:
    text = "\n".join(large("  ".join(map(turn_name, turns))))
    return Text(text, "bold", no_wrap=True, overflow="crop")
