"""The news of drills, each with the cube's time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

from livecube.drills.beat import BeatNews
from livecube.drills.fingers import FingerNews
from livecube.drills.judging import DrillJudged, judged
from livecube.drills.place import DrillPlace
from livecube.review.trying import ReadyToTry, Tried

if TYPE_CHECKING:
    from livecube.advice.speaker import Happening
    from livecube.lessons.news import LessonNews
    from livecube.practice.news import PracticeNews
    from livecube.review.trying import TryNews

__all__ = ["DrillNews", "DrillReady", "News", "as_drill"]


@dataclass(frozen=True, slots=True)
class DrillReady(ReadyToTry):
    """The position is set up; the first turn starts the time."""

    place: DrillPlace


DrillNews: TypeAlias = DrillReady | DrillJudged | FingerNews | BeatNews


def as_drill(news: TryNews | DrillNews | LessonNews) -> TryNews | DrillNews | LessonNews:
    """News of a try as news of a drill: no way is shown before it, and a judgement follows."""
    if isinstance(news, ReadyToTry) and isinstance(news.place, DrillPlace):
        return DrillReady(news.t, news.number, news.place, news.position)
    if isinstance(news, Tried) and isinstance(news.place, DrillPlace):
        return judged(news)
    return news


News: TypeAlias = "Happening | PracticeNews | TryNews | DrillNews | LessonNews"
"""All news that follow from a cube's events: of the pipeline, practice, tries, drills, lessons."""
