"""What a screen shows: one value, replaced at once, so that a thread may draw it meanwhile."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any, Generic, Protocol, TypeAlias, TypeVar, cast

if TYPE_CHECKING:
    from typing import Self

    from rich.console import Console, ConsoleOptions, RenderResult

    from livecube.advice.said import Happening
    from livecube.drills.news import DrillNews
    from livecube.practice.news import PracticeNews
    from livecube.review.trying import TryNews

    News: TypeAlias = Happening | PracticeNews | TryNews | DrillNews

__all__ = ["Board", "Shown"]


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
