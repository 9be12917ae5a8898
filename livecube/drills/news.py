"""What drills tell, in order, each with the cube's time."""

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
    from livecube.practice.news import PracticeNews
    from livecube.review.trying import TryNews

__all__ = ["DrillNews", "DrillReady", "News", "as_drill"]


@dataclass(frozen=True, slots=True)
class DrillReady(ReadyToTry):
    """The position is there to be looked at; the first turn starts the time."""

    place: DrillPlace


DrillNews: TypeAlias = DrillReady | DrillJudged | FingerNews | BeatNews


def as_drill(news: TryNews | DrillNews) -> TryNews | DrillNews:
    """What a try tells, as a drill tells it: the way is not shown before, and judged behind."""
    if isinstance(news, ReadyToTry) and isinstance(news.place, DrillPlace):
        return DrillReady(news.t, news.number, news.place, news.position)
    if isinstance(news, Tried) and isinstance(news.place, DrillPlace):
        return judged(news)
    return news


News: TypeAlias = "Happening | PracticeNews | TryNews | DrillNews"
"""All that is made of what a cube does: by the pipeline, by practice, a try or a drill."""
