"""The screen of a lesson: text, demonstrations, tries, drills and solves, one step at a time."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
from rich.text import Text

from livecube.cube.holding import SCRAMBLE_HOLDING
from livecube.drills.judging import DrillJudged
from livecube.drills.screen import DrillScreen
from livecube.lessons.claims import claims_sentence
from livecube.lessons.course import LessonPlace
from livecube.lessons.lesson import Show
from livecube.lessons.lesson import Text as Reading
from livecube.lessons.news import (
    LessonOver,
    PlacesAwaited,
    PlacesScarce,
    SolveDone,
    SolveReady,
    SolveTurned,
    StepBegun,
    StepDone,
    StepWalked,
    TryJudged,
)
from livecube.lessons.step_screen import moves_line
from livecube.lessons.text import (
    amiss_sentence,
    asked_words,
    over_sentence,
    scarce_sentence,
    solve_sentence,
    step_sentence,
)
from livecube.review.again_screen import BEGIN
from livecube.review.again_text import better_way, tried_sentence
from livecube.review.trying import ReadyToTry, SetUpAsked, SetUpGuided, Tried
from livecube.views.picture import LargePicture

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.console import RenderableType

    from livecube.cube.holding import Holding
    from livecube.drills.news import News
    from livecube.lessons.lesson import Step
    from livecube.review.trying import Place, TryTurned

__all__ = ["LessonScreen", "paragraphs"]


@dataclass(frozen=True)
class LessonScreen(DrillScreen):
    """The screen of a lesson at one moment; ``title`` names the lesson and the step."""

    command: ClassVar[str] = "lesson"

    lesson: str = ""
    """The lesson's title."""
    step: Step | None = None

    def changes(self, news: News) -> dict[str, Any]:
        """The fields that the news changes."""
        match news:
            case StepBegun():
                return self._begun(news)
            case StepWalked():
                return {"middle": self._walked(news)}
            case PlacesAwaited():
                return {"middle": (Text("Looking for positions …"),)}
            case PlacesScarce():
                return {"last": f"{scarce_sentence(news)} {self.last}".rstrip()}
            case SetUpAsked() | SetUpGuided():
                return {**super().changes(news), "notice": ""}
            case SolveReady():
                begin = (Text(), Text("Solve it; the first turn starts the time.", "bold"))
                return {"middle": (*_large(news.position, SCRAMBLE_HOLDING), *begin), "since": None}
            case SolveTurned():
                return {"middle": _large(news.position, SCRAMBLE_HOLDING), "since": news.began}
            case ReadyToTry(place=LessonPlace()):
                way = replace(self, way="")
                return {"middle": way._standing(news), "since": None, "way": "", "last": ""}
            case Tried() if not isinstance(news, DrillJudged):
                return {"last": tried_sentence(news), "since": None}
            case TryJudged():
                return {"last": f"{amiss_sentence(news)} {self.last}"}
            case SolveDone():
                return {"last": solve_sentence(news), "since": None}
            case StepDone():
                return {"last": f"{step_sentence(news)} {self.last}".rstrip()}
            case LessonOver():
                return {"middle": (Text(over_sentence(news), "bold"),), "step": None}
        return super().changes(news)

    def _begun(self, begun: StepBegun) -> dict[str, Any]:
        step = begun.step
        name = f", {step.title}" if step.title not in ("", self.lesson) else ""
        words = "" if isinstance(step, Reading | Show) else asked_words(step)
        title = f"{self.lesson}, step {begun.number} of {begun.of}{name}"
        fields: dict[str, Any] = {
            "title": f"{title}: {words}" if words else title,
            "step": step,
            "since": None,
            "way": "",
        }
        before = (Text(self.last, "dim"), Text()) if self.last else ()
        if isinstance(step, Reading):
            fields |= {"middle": (*before, *paragraphs(step)), "last": ""}
        elif begun.shown is not None:
            walked = StepWalked(begun.t, begun.number, begun.shown, 0)
            middle = replace(self, step=step)._walked(walked)
            fields |= {"middle": (*before, *middle), "last": ""}
        return fields

    def _walked(self, news: StepWalked) -> tuple[RenderableType, ...]:
        step, show = news.shown.steps[news.after], self.step
        assert isinstance(show, Show)
        ended = news.after == len(news.shown.moves)
        claimed = claims_sentence(show.claims) if ended else ""
        below = [show.say if news.after == 0 else "", step.words, claimed]
        return (
            moves_line(news.shown, news.after),
            Text(f"held with {step.holding}", "dim"),
            Text(),
            LargePicture(
                np.frombuffer(step.position, dtype=np.uint8), step.holding, step.marked
            ),
            Text(),
            *(Text(one, "bold" if one == step.words else "") for one in below if one),
        )  # fmt: skip

    def _standing(self, news: ReadyToTry | TryTurned) -> tuple[RenderableType, ...]:
        begin = (Text(), Text(BEGIN)) if isinstance(news, ReadyToTry) else ()
        holding = news.place.set_up_holding
        return (
            Text(self._asked(news.place), "bold"),
            Text(),
            *_large(news.position, holding),
            *begin,
        )

    def _asked(self, place: Place) -> str:
        if self.way or not isinstance(place, LessonPlace):
            return self.way or better_way(place)
        words = asked_words(place.step)
        return f"{words[:1].upper()}{words[1:]}."

    def _keys(self) -> str:
        """What the keys do in this step."""
        if self.step is None:
            return "q ends"
        if isinstance(self.step, Reading | Show):
            return "n or space goes on   p goes back   q ends"
        return "n goes on   p goes back   a sets it up again   s shows the way   q ends"


def paragraphs(text: Reading) -> Sequence[Text]:
    """The lines of a text; an empty one before each paragraph that is no part of a list."""
    told: list[Text] = []
    for one in text.paragraphs:
        if told and not one.startswith("- "):
            told.append(Text())
        told.append(Text(one))
    return told


def _large(position: bytes, holding: Holding) -> tuple[RenderableType, ...]:
    return (LargePicture(np.frombuffer(position, dtype=np.uint8), holding),)
