"""The screen while a missed moment is tried again: the set-up large, then the better way."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, ClassVar, Final

from rich.console import Group
from rich.text import Text

from livecube.advice.words import turns_counted
from livecube.cube.holding import COLOURS
from livecube.review.again_text import better_way, held_so, set_up_text, tried_sentence
from livecube.review.trying import (
    ReadyToTry,
    SetUpAsked,
    SetUpGuided,
    Tried,
    TryGivenUp,
    TryTurned,
    WayShown,
)
from livecube.views.live_screen import large
from livecube.views.picture import Picture

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from typing import Self

    from rich.console import Console, ConsoleOptions, RenderableType, RenderResult

    from livecube.drills.news import News
    from livecube.review.trying import Place

__all__ = [
    "BEGIN",
    "AgainScreen",
    "BringScreen",
    "LargeText",
]

BEGIN: Final = "The first turn starts the time."
_SHOWN_LARGE: Final = 4


def _never() -> float:
    return 0.0


@dataclass(frozen=True)
class AgainScreen:
    """The content of the screen at one moment. A :class:`.Board` passes the news on to it."""

    command: ClassVar[str] = "again"
    anew: ClassVar[str] = "sets it up again"
    """What the key *n* does, in words."""
    more_keys: ClassVar[str] = ""

    title: str
    """Names the position that is set up."""
    now: Callable[[], float] = _never
    """The cube's clock in seconds, estimated between its events; called from any thread."""
    source: str = ""
    notice: str = ""
    """One line of notice for the user."""
    keys: bool = False
    """Whether the program can read keys."""
    middle: tuple[RenderableType, ...] = (Text("Waiting for the cube …"),)
    since: float | None = None
    """When the running time began; None: no time runs."""
    last: str = ""
    """The sentence on the last try."""

    def after(self, news: News) -> Self:
        """The screen after this news."""
        return replace(self, **self.changes(news))

    def changes(self, news: News) -> dict[str, Any]:
        """The fields that this news changes."""
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
                return {"notice": f"Try {news.number} starts again.", "since": None}
        return {}

    def _standing(self, news: ReadyToTry | TryTurned) -> tuple[RenderableType, ...]:
        """The better way and the cube's position, before and during a try."""
        return (
            Text(self._asked(news.place), "bold"),
            Text(),
            Picture(news.position),
            *(() if isinstance(news, TryTurned) else (Text(), Text(BEGIN))),
        )

    def _asked(self, place: Place) -> str:
        return better_way(place)

    def _turn_back(self, news: SetUpGuided) -> tuple[RenderableType, ...]:
        return (
            Text("Wrong turn. Undo it with:", "bold"),
            Text(),
            LargeText(set_up_text(news, news.guidance.back)),
            Text(),
            Text(f"then  {set_up_text(news, news.guidance.upcoming)}"),
        )

    def _set_up(
        self, news: SetUpAsked | SetUpGuided, left: Sequence[int]
    ) -> tuple[RenderableType, ...]:
        return (
            Text(f"Set it up, {held_so(news.place)}: {turns_counted(len(left))} to go"),
            Text(),
            LargeText(set_up_text(news, left[:_SHOWN_LARGE])),
            Text(),
            Text(set_up_text(news, left)),
            *((Text(), Text(self.last)) if self.last else ()),
        )

    def _keys(self) -> str:
        """What the keys do."""
        return f"n {self.anew}{self.more_keys}   q ends"

    def _time(self) -> list[RenderableType]:
        """The running time in seconds; empty if none runs."""
        if self.since is None:
            return []
        return [Text(f"{max(0.0, self.now() - self.since):.1f} s", "bold"), Text()]

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Draw the lines from the top.

        If they are too many, empty lines are left out, then the last of the middle: time and keys
        stay.
        """
        keys = self._keys() if self.keys else "Ctrl-C ends."
        free = options.update(height=None)
        foot = console.render_lines(
            Group(
                Text(),
                *self._time(),
                *([Text(self.notice, "dim")] if self.notice else []),
                Text(keys, "dim"),
            ),
            free,
        )
        body = console.render_lines(
            Group(
                Text(f"livecube {self.command}   {self.source}", "dim"),
                Text(self.title),
                Text(),
                *self.middle,
            ),
            free,
        )
        room = max(0, options.max_height - len(foot))
        if len(body) > room:
            body = [line for line in body if any(one.text.strip() for one in line)]
        for line in [*body[:room], *foot][: options.max_height]:
            yield from line
            yield Text("\n", end="")


@dataclass(frozen=True)
class BringScreen(AgainScreen):
    """The screen while a position is tried that somebody hands on: the way is not shown unasked."""

    command: ClassVar[str] = "bring"
    more_keys: ClassVar[str] = "   s shows the way"

    is_shown: bool = False

    def changes(self, news: News) -> dict[str, Any]:
        """The fields that this news changes."""
        match news:
            case SetUpAsked():
                return {**super().changes(news), "is_shown": False}
            case WayShown(place=place):
                way = Text(better_way(place), "bold")
                return {"is_shown": True, "middle": (way, *self.middle[1:])}
        return super().changes(news)

    def _asked(self, place: Place) -> str:
        if self.is_shown:
            return better_way(place)
        return f"Do a pair of the {COLOURS[place.face]} cross, your own way."


@dataclass(frozen=True, slots=True)
class LargeText:
    """Words, such as moves, so large that they are readable from two metres; as many as fit."""

    words: str

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Draw the words; the last ones are left out if they do not all fit in one row."""
        words = self.words.split()
        while len(words) > 1 and len(large("  ".join(words))[0]) > options.max_width:
            words.pop()
        text = "\n".join(large("  ".join(words)))
        yield Text(text, "bold", no_wrap=True, overflow="crop")
