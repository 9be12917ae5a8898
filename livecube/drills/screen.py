"""The screens of drills."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, ClassVar, Final

import numpy as np
from rich.text import Text

from livecube.cube.position import SOLVED_BYTES
from livecube.drills.beat import BeatJudged, BeatReady, BeatTurned
from livecube.drills.fingers import LEFT, FingerAsked, FingerRound, FingersOver, FingerTurned
from livecube.drills.judging import DrillJudged
from livecube.drills.news import DrillReady
from livecube.drills.place import DrillPlace
from livecube.drills.text import (
    asked_sentence,
    beat_lines,
    fingers_sentence,
    judged_sentence,
    pattern_text,
)
from livecube.review.again_screen import BEGIN, AgainScreen, LargeText
from livecube.review.again_text import better_way
from livecube.review.trying import TryTurned, WayShown
from livecube.views.picture import LargePicture, Picture

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.console import RenderableType

    from livecube.drills.news import News

__all__ = [
    "BeatScreen",
    "DrillScreen",
    "FingerScreen",
]

# The screen of a drill: the set-up large, then only the position, then the judgement.


@dataclass(frozen=True)
class DrillScreen(AgainScreen):
    """The screen of a drill at one moment; ``title`` names the drill."""

    command: ClassVar[str] = "drill"
    more_keys: ClassVar[str] = "   s shows the way"

    way: str = ""
    """The asked way, after a solver who is stuck has asked for it; else empty."""

    def changes(self, news: News) -> dict[str, Any]:
        """The fields that the news changes."""
        match news:
            case DrillReady(place=place):
                begin = (Text(BEGIN), Text(_STUCK, "dim"))
                middle = (*_position(place, news.position), Text(), *begin)
                return {"middle": middle, "since": None, "last": "", "way": ""}
            case WayShown(place=place):
                way = better_way(place)
                return {"way": way, "middle": (Text(way, "bold"), *self.middle)}
            case TryTurned(place=DrillPlace() as place):
                shown = (Text(self.way, "bold"),) if self.way else ()
                return {"middle": (*shown, *_position(place, news.position)), "since": news.began}
            case DrillJudged():
                return {"last": judged_sentence(news), "since": None}
        return super().changes(news)


_STUCK: Final = (
    "Stuck? Turn two opposite layers a quarter the same way and both back: the way is shown."
)


def _position(place: DrillPlace, position: bytes) -> tuple[RenderableType, ...]:
    facelets = np.frombuffer(position, dtype=np.uint8)
    return (
        Text(asked_sentence(place), "bold"),
        Text(),
        LargePicture(facelets, place.set_up_holding),
    )


# The screens of the finger drill and of turning to a beat.


_SHOWN_LARGE: Final = 4
_PLACES: Final = 4
"""Places of the beat's mark: it moves from left to right and starts again."""


@dataclass(frozen=True)
class FingerScreen(AgainScreen):
    """The remaining turns of a round, large; below them the rounds so far."""

    command: ClassVar[str] = "drill"
    anew: ClassVar[str] = "restarts this round"

    asked: FingerAsked | None = None
    rounds: tuple[FingerRound, ...] = ()

    def changes(self, news: News) -> dict[str, Any]:
        """The fields that the news changes."""
        match news:
            case FingerAsked():
                return {"asked": news, "middle": self._drawn(news, 0)}
            case FingerTurned() if self.asked is not None:
                notice = "Wrong turn; go on." if news.slip else ""
                return {"notice": notice, "middle": self._drawn(self.asked, news.done)}
            case FingerRound():
                return {"rounds": (*self.rounds, news)}
            case FingersOver():
                verdict = Text(fingers_sentence(news.sides), "bold")
                return {"notice": "", "middle": (verdict, Text(), *_round_rows(news.rounds))}
        return super().changes(news)

    def _drawn(self, asked: FingerAsked, done: int) -> tuple[RenderableType, ...]:
        left = ["D" if quarters == LEFT else "D'" for quarters in asked.pattern.quarters[done:]]
        round_ = f"Round {asked.number} of {asked.rounds}"
        return (
            Text(f"{round_}, {pattern_text(asked.pattern)}", "bold"),
            Text(),
            LargeText(" ".join(left[:_SHOWN_LARGE])),
            Text(),
            Text(f"{len(left)} to go" if done else "Rest first; begin when you like."),
            Text(),
            *_round_rows(self.rounds[::-1]),  # the latest first: a small screen cuts the others
        )


def _round_rows(rounds: Sequence[FingerRound]) -> list[Text]:
    """The figures of rounds, a line each, under a heading; empty without rounds."""
    if not rounds:
        return []
    rows = [Text("rounds: from turn to turn (measured)", "dim")]
    for one in rounds:
        name = f"{one.number:>2}  {one.pattern.name:12}"
        slips = f"   {one.slips} wrong" if one.slips else ""
        if one.mean_s is None:
            rows.append(Text(f"{name}  too few turns{slips}"))
            continue
        even = "" if one.evenness is None else f", varying by {100 * one.evenness:.0f} %"
        rows.append(Text(f"{name}  {1000 * one.mean_s:4.0f} ms{even}{slips}"))
    return rows


@dataclass(frozen=True)
class BeatScreen(AgainScreen):
    """The scramble; then a mark that moves at each beat, above the position."""

    command: ClassVar[str] = "drill"

    beats: int = 0
    turns: int = 0
    position: bytes = SOLVED_BYTES

    def after_beat(self) -> BeatScreen:
        """The screen after one more beat."""
        return replace(self, **self._marked(self.beats + 1, self.turns, self.position))

    def changes(self, news: News) -> dict[str, Any]:
        """The fields that the news changes."""
        match news:
            case BeatReady():
                return self._marked(0, 0, news.position)
            case BeatTurned():
                return self._marked(self.beats, news.number, news.position)
            case BeatJudged():
                lines = beat_lines(news.result, solved=news.solved)
                return {"middle": tuple(map(Text, lines))}
        return super().changes(news)

    def _marked(self, beats: int, turns: int, position: bytes) -> dict[str, Any]:
        at = (beats - 1) % _PLACES
        row = "   ".join("██████" if place == at else "      " for place in range(_PLACES))
        head = f"turn {turns}" if turns else "One turn on each beat; begin when you like."
        middle = (
            Text(head, "bold"),
            Text(),
            *(Text(f"  {row}") for _ in range(3)),
            Text(f"  {'   '.join('──────' for _ in range(_PLACES))}", "dim"),
            Text(),
            Picture(position),
        )
        return {"beats": beats, "turns": turns, "position": position, "middle": middle}
