"""Happenings as words to be said aloud: few, and none that come too late."""

from __future__ import annotations

from typing import TYPE_CHECKING

from livecube.advice.speaker import Clue, Degree, Spoken, Taken, Withdrawn
from livecube.advice.words import spoken_words
from livecube.stages.progress import SolveOver

if TYPE_CHECKING:
    from livecube.advice.speaker import Happening
    from livecube.cube.holding import Holding

__all__ = ["SILENCE", "said_aloud"]

SILENCE = ""
"""What was said last does not hold any more."""


def said_aloud(happening: Happening, stated: Holding | None) -> str | None:
    """What to say now; :data:`SILENCE` to stop talking, None to go on as before.

    ``stated``: how the solver said the cube is held. Moves are never said: they take longer
    than making them, and stand on the screen.
    """
    match happening:
        case Clue(degree=Degree.WHERE):
            where = spoken_words(happening.opportunity, stated, only_where=True)
            return f"look: {where}"
        case Clue() | Spoken():
            return spoken_words(happening.opportunity, stated)
        case Taken() | Withdrawn() | SolveOver():
            return SILENCE
    return None
