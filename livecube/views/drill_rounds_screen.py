"""The screens of the finger drill and of turning to a beat."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from rich.text import Text

from livecube.drills.beat_session import BeatJudged, BeatReady, BeatTurned
from livecube.drills.fingers import LEFT, FingerAsked, FingerRound, FingersOver, FingerTurned
from livecube.views.again_screen import AgainBoard, large_text
from livecube.views.drill_text import beat_lines, fingers_sentence, pattern_text, round_sentence

if TYPE_CHECKING:
    from rich.console import RenderableType

    from livecube.advice.speaker import Happening
    from livecube.drills.fingers import Pattern
    from livecube.drills.news import DrillNews
    from livecube.practice.news import PracticeNews
    from livecube.review.trying import TryNews

__all__ = ["BeatBoard", "FingerBoard"]

_SHOWN_LARGE: Final = 4
_PLACES: Final = 4
"""Where the mark of the beat can be: it goes from left to right and begins anew."""


class FingerBoard(AgainBoard):
    """The turns that are left of a round, large; below them the rounds so far."""

    command = "drill"
    anew = "begins this round anew"

    def __init__(self, title: str) -> None:
        super().__init__(title)
        self._asked: FingerAsked | None = None
        self._rounds: list[str] = []

    def take(self, news: Happening | PracticeNews | TryNews | DrillNews) -> None:
        """Show what happened."""
        match news:
            case FingerAsked():
                self._asked = news
                self._draw(news.pattern, 0)
            case FingerTurned() if self._asked is not None:
                self.notice = "Not that turn; go on." if news.slip else ""
                self._draw(self._asked.pattern, news.done)
            case FingerRound():
                self._rounds.append(round_sentence(news))
            case FingersOver():
                self._middle = [*map(Text, self._rounds), Text(fingers_sentence(news.sides))]
            case _:
                super().take(news)

    def _draw(self, pattern: Pattern, done: int) -> None:
        assert self._asked is not None
        left = ["D" if quarters == LEFT else "D'" for quarters in pattern.quarters[done:]]
        round_ = f"Round {self._asked.number} of {self._asked.rounds}"
        self._middle = [
            Text(f"{round_}, {pattern_text(pattern)}", "bold"),
            Text(),
            large_text(" ".join(left[:_SHOWN_LARGE])),
            Text(),
            Text(f"{len(left)} to go" if done else "Rest first; begin when you like."),
            *([Text()] if self._rounds else []),
            *map(Text, self._rounds),
        ]


class BeatBoard(AgainBoard):
    """The scramble as always; then a mark that goes to another place at each beat."""

    command = "drill"

    def __init__(self, title: str) -> None:
        super().__init__(title)
        self._beats = 0
        self._turns = 0

    def beat(self) -> None:
        """A beat falls now."""
        self._beats += 1
        self._middle = self._drawn()

    def take(self, news: Happening | PracticeNews | TryNews | DrillNews) -> None:
        """Show what happened."""
        match news:
            case BeatReady():
                self._beats = self._turns = 0
                self._middle = self._drawn()
            case BeatTurned():
                self._turns = news.number
                self._middle = self._drawn()
            case BeatJudged():
                self._middle = [Text(line) for line in beat_lines(news.result, solved=news.solved)]
            case _:
                super().take(news)

    def _drawn(self) -> list[RenderableType]:
        at = (self._beats - 1) % _PLACES
        row = "   ".join("██████" if place == at else "      " for place in range(_PLACES))
        return [
            Text("One turn on each beat; begin when you like." if not self._turns else "", "bold"),
            Text(),
            *(Text(f"  {row}") for _ in range(3)),
            Text(f"  {'   '.join('──────' for _ in range(_PLACES))}", "dim"),
            Text(),
            Text(f"turn {self._turns}" if self._turns else ""),
        ]
