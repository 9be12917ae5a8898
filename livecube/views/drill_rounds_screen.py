"""The screens of the finger drill and of turning to a beat."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, ClassVar, Final

from rich.text import Text

from livecube.drills.beat_session import BeatJudged, BeatReady, BeatTurned
from livecube.drills.fingers import LEFT, FingerAsked, FingerRound, FingersOver, FingerTurned
from livecube.views.again_screen import AgainScreen, large_text
from livecube.views.drill_text import beat_lines, fingers_sentence, pattern_text, round_sentence

if TYPE_CHECKING:
    from rich.console import RenderableType

    from livecube.views.board import News

__all__ = ["BeatScreen", "FingerScreen"]

_SHOWN_LARGE: Final = 4
_PLACES: Final = 4
"""Where the mark of the beat can be: it goes from left to right and begins anew."""


@dataclass(frozen=True)
class FingerScreen(AgainScreen):
    """The turns that are left of a round, large; below them the rounds so far."""

    command: ClassVar[str] = "drill"
    anew: ClassVar[str] = "begins this round anew"

    asked: FingerAsked | None = None
    rounds: tuple[str, ...] = ()

    def changes(self, news: News) -> dict[str, Any]:
        """The fields that are other ones afterwards."""
        match news:
            case FingerAsked():
                return {"asked": news, "middle": self._drawn(news, 0)}
            case FingerTurned() if self.asked is not None:
                notice = "Not that turn; go on." if news.slip else ""
                return {"notice": notice, "middle": self._drawn(self.asked, news.done)}
            case FingerRound():
                return {"rounds": (*self.rounds, round_sentence(news))}
            case FingersOver():
                return {"middle": (*map(Text, self.rounds), Text(fingers_sentence(news.sides)))}
        return super().changes(news)

    def _drawn(self, asked: FingerAsked, done: int) -> tuple[RenderableType, ...]:
        left = ["D" if quarters == LEFT else "D'" for quarters in asked.pattern.quarters[done:]]
        round_ = f"Round {asked.number} of {asked.rounds}"
        return (
            Text(f"{round_}, {pattern_text(asked.pattern)}", "bold"),
            Text(),
            large_text(" ".join(left[:_SHOWN_LARGE])),
            Text(),
            Text(f"{len(left)} to go" if done else "Rest first; begin when you like."),
            *((Text(),) if self.rounds else ()),
            *map(Text, self.rounds),
        )


@dataclass(frozen=True)
class BeatScreen(AgainScreen):
    """The scramble as always; then a mark that goes to another place at each beat."""

    command: ClassVar[str] = "drill"

    beats: int = 0
    turns: int = 0

    def after_beat(self) -> BeatScreen:
        """What is shown once a beat falls."""
        return replace(self, **self._marked(self.beats + 1, self.turns))

    def changes(self, news: News) -> dict[str, Any]:
        """The fields that are other ones afterwards."""
        match news:
            case BeatReady():
                return self._marked(0, 0)
            case BeatTurned():
                return self._marked(self.beats, news.number)
            case BeatJudged():
                lines = beat_lines(news.result, solved=news.solved)
                return {"middle": tuple(map(Text, lines))}
        return super().changes(news)

    def _marked(self, beats: int, turns: int) -> dict[str, Any]:
        at = (beats - 1) % _PLACES
        row = "   ".join("██████" if place == at else "      " for place in range(_PLACES))
        middle = (
            Text("One turn on each beat; begin when you like." if not turns else "", "bold"),
            Text(),
            *(Text(f"  {row}") for _ in range(3)),
            Text(f"  {'   '.join('──────' for _ in range(_PLACES))}", "dim"),
            Text(),
            Text(f"turn {turns}" if turns else ""),
        )
        return {"beats": beats, "turns": turns, "middle": middle}
