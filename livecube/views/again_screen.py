"""The screen while a missed moment is tried again: the set-up large, then the better way."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from rich.console import Group
from rich.text import Text

from livecube.review.findings import turns_counted
from livecube.review.trying import ReadyToTry, SetUpAsked, SetUpGuided, Tried, TryGivenUp
from livecube.views.again_text import better_way, held_so, set_up_text, tried_sentence
from livecube.views.large import large
from livecube.views.picture import Picture

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.console import Console, ConsoleOptions, RenderableType, RenderResult

    from livecube.advice.speaker import Happening
    from livecube.drills.news import DrillNews
    from livecube.practice.news import PracticeNews
    from livecube.review.trying import TryNews

__all__ = ["AgainBoard", "large_text"]

_SHOWN_LARGE: Final = 4


class AgainBoard:
    """What the screen shows; ``title`` says what is brought onto the cube."""

    command = "again"
    anew = "sets up anew"
    """What the key does."""

    def __init__(self, title: str) -> None:
        self.title = title
        self.source = ""
        self.notice = ""
        """One line for whoever runs the program."""
        self.keys = False
        """Whether somebody can press keys."""
        self._middle: list[RenderableType] = [Text("Waiting for the cube …")]
        self.last = ""
        """What is said of the last try."""

    def take(self, news: Happening | PracticeNews | TryNews | DrillNews) -> None:
        """Show what happened."""
        match news:
            case SetUpAsked():
                self._middle = self._set_up(news, news.turns)
            case SetUpGuided() if news.guidance.back:
                self._middle = [
                    Text("Not that turn. Back with:", "bold"),
                    Text(),
                    large_text(set_up_text(news, news.guidance.back)),
                    Text(),
                    Text(f"then  {set_up_text(news, news.guidance.upcoming)}"),
                ]
            case SetUpGuided():
                self._middle = self._set_up(news, news.guidance.upcoming)
            case ReadyToTry():
                self._middle = [
                    Text(better_way(news.place), "bold"),
                    Text(),
                    Picture(news.position),
                    Text(),
                    Text("The first turn starts the time."),
                ]
            case Tried():
                self.last = tried_sentence(news)
            case TryGivenUp():
                self.notice = f"Try {news.number} begins anew."

    def _set_up(self, news: SetUpAsked | SetUpGuided, left: Sequence[int]) -> list[RenderableType]:
        return [
            Text(f"Set it up, {held_so(news.place)}: {turns_counted(len(left))} to go"),
            Text(),
            large_text(set_up_text(news, left[:_SHOWN_LARGE])),
            Text(),
            Text(set_up_text(news, left)),
            *([Text(), Text(self.last)] if self.last else []),
        ]

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Draw it from the top; what does not fit is left out below."""
        foot = f"n {self.anew}   q ends" if self.keys else "Ctrl-C ends."
        drawn = Group(
            Text(f"livecube {self.command}   {self.source}", "dim"),
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


def large_text(moves: str) -> Text:
    """Moves so large that they are read from two metres away."""
    text = "\n".join(large(moves.replace(" ", "  ")))
    return Text(text, "bold", no_wrap=True, overflow="crop")
