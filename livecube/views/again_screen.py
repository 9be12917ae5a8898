"""The screen while a missed moment is tried again: the set-up large, then the better way."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, ClassVar, Final

from rich.console import Group
from rich.text import Text

from livecube.review.findings import turns_counted
from livecube.review.trying import ReadyToTry, SetUpAsked, SetUpGuided, Tried, TryGivenUp, TryTurned
from livecube.views.again_text import better_way, held_so, set_up_text, tried_sentence
from livecube.views.large import large
from livecube.views.picture import Picture

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from typing import Self

    from rich.console import Console, ConsoleOptions, RenderableType, RenderResult

    from livecube.views.board import News

__all__ = ["BEGIN", "AgainScreen", "large_text"]

BEGIN: Final = "The first turn starts the time."
_SHOWN_LARGE: Final = 4


def _never() -> float:
    return 0.0


@dataclass(frozen=True)
class AgainScreen:
    """What the screen shows at one moment. Give a :class:`.Board` of it the news."""

    command: ClassVar[str] = "again"
    anew: ClassVar[str] = "sets up anew"
    """What the key does."""

    title: str
    """What is brought onto the cube."""
    now: Callable[[], float] = _never
    """The cube's seconds, as far as can be told between its events; from any thread."""
    source: str = ""
    notice: str = ""
    """One line for whoever runs the program."""
    keys: bool = False
    """Whether somebody can press keys."""
    middle: tuple[RenderableType, ...] = (Text("Waiting for the cube …"),)
    since: float | None = None
    """When the time began that runs; None: none does."""
    last: str = ""
    """What is said of the last try."""

    def after(self, news: News) -> Self:
        """What is shown once this has happened."""
        return replace(self, **self.changes(news))

    def changes(self, news: News) -> dict[str, Any]:
        """The fields that are other ones afterwards."""
        match news:
            case SetUpAsked():
                return {"middle": self._set_up(news, news.turns), "since": None}
            case SetUpGuided() if news.guidance.back:
                return {"middle": self._turn_back(news), "since": None}
            case SetUpGuided():
                return {"middle": self._set_up(news, news.guidance.upcoming), "since": None}
            case ReadyToTry() | TryTurned():
                since = news.began if isinstance(news, TryTurned) else None
                return {"middle": self._standing(news), "since": since}
            case Tried():
                return {"last": tried_sentence(news), "since": None}
            case TryGivenUp():
                return {"notice": f"Try {news.number} begins anew.", "since": None}
        return {}

    def _standing(self, news: ReadyToTry | TryTurned) -> tuple[RenderableType, ...]:
        """How the cube stands while it is looked at, and while it is turned."""
        return (
            Text(better_way(news.place), "bold"),
            Text(),
            Picture(news.position),
            *(() if isinstance(news, TryTurned) else (Text(), Text(BEGIN))),
        )

    def _turn_back(self, news: SetUpGuided) -> tuple[RenderableType, ...]:
        return (
            Text("Not that turn. Back with:", "bold"),
            Text(),
            large_text(set_up_text(news, news.guidance.back)),
            Text(),
            Text(f"then  {set_up_text(news, news.guidance.upcoming)}"),
        )

    def _set_up(
        self, news: SetUpAsked | SetUpGuided, left: Sequence[int]
    ) -> tuple[RenderableType, ...]:
        return (
            Text(f"Set it up, {held_so(news.place)}: {turns_counted(len(left))} to go"),
            Text(),
            large_text(set_up_text(news, left[:_SHOWN_LARGE])),
            Text(),
            Text(set_up_text(news, left)),
            *((Text(), Text(self.last)) if self.last else ()),
        )

    def _time(self) -> list[RenderableType]:
        """The seconds of the time that runs."""
        if self.since is None:
            return []
        return [Text(f"{max(0.0, self.now() - self.since):.1f} s", "bold"), Text()]

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Draw it from the top; what does not fit is left out below."""
        foot = f"n {self.anew}   q ends" if self.keys else "Ctrl-C ends."
        drawn = Group(
            Text(f"livecube {self.command}   {self.source}", "dim"),
            Text(self.title),
            Text(),
            *self.middle,
            Text(),
            *self._time(),
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
