"""The screen of a drill: the set-up large, then nothing but the position, then the judgement."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from rich.text import Text

from livecube.drills.judging import DrillJudged
from livecube.drills.news import DrillReady
from livecube.views.again_screen import AgainBoard
from livecube.views.drill_text import asked_sentence, judged_sentence
from livecube.views.picture import LargePicture

if TYPE_CHECKING:
    from livecube.advice.speaker import Happening
    from livecube.drills.news import DrillNews
    from livecube.practice.news import PracticeNews
    from livecube.review.trying import TryNews

__all__ = ["DrillBoard"]


class DrillBoard(AgainBoard):
    """What the screen shows; ``title`` says what is drilled."""

    command = "drill"

    def take(self, news: Happening | PracticeNews | TryNews | DrillNews) -> None:
        """Show what happened."""
        match news:
            case DrillReady():
                position = np.frombuffer(news.position, dtype=np.uint8)
                self.last = ""
                self._middle = [
                    Text(asked_sentence(news.place), "bold"),
                    Text(),
                    LargePicture(position, news.place.set_up_holding),
                ]
            case DrillJudged():
                self.last = judged_sentence(news)
            case _:
                super().take(news)
