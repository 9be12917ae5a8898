"""The screen of a drill: the set-up large, then nothing but the position, then the judgement."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
from rich.text import Text

from livecube.drills.judging import DrillJudged
from livecube.drills.news import DrillReady
from livecube.drills.place import DrillPlace
from livecube.review.trying import TryTurned
from livecube.views.again_screen import BEGIN, AgainScreen
from livecube.views.drill_text import asked_sentence, judged_sentence
from livecube.views.picture import LargePicture

if TYPE_CHECKING:
    from rich.console import RenderableType

    from livecube.views.board import News

__all__ = ["DrillScreen"]


@dataclass(frozen=True)
class DrillScreen(AgainScreen):
    """What the screen shows at one moment; ``title`` says what is drilled."""

    command: ClassVar[str] = "drill"

    def changes(self, news: News) -> dict[str, Any]:
        """The fields that are other ones afterwards."""
        match news:
            case DrillReady(place=place):
                middle = (*_position(place, news.position), Text(), Text(BEGIN))
                return {"middle": middle, "since": None, "last": ""}
            case TryTurned(place=DrillPlace() as place):
                return {"middle": _position(place, news.position), "since": news.began}
            case DrillJudged():
                return {"last": judged_sentence(news), "since": None}
        return super().changes(news)


def _position(place: DrillPlace, position: bytes) -> tuple[RenderableType, ...]:
    facelets = np.frombuffer(position, dtype=np.uint8)
    return (
        Text(asked_sentence(place), "bold"),
        Text(),
        LargePicture(facelets, place.set_up_holding),
    )
