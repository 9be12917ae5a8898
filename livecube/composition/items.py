"""Items as a sink shows them: an object, a line, words, lines that stay on the terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from livecube.advice.speaker import Clue, Spoken, Taken, Telling, Unsaid, Withdrawn
from livecube.advice.words import spoken_place, spoken_words
from livecube.drills.news import DrillNews
from livecube.drills.screen import drill_json, drill_line, lasting_lines
from livecube.practice.news import Judged, PracticeNews, Reviewed
from livecube.practice.text import (
    practice_json,
    practice_line,
    practice_words,
    result_sentence,
    reviewed_sentence,
)
from livecube.review.again_screen import again_json, again_line, tried_sentence
from livecube.review.trying import Tried, TryNews
from livecube.stages.progress import SolveOver
from livecube.views.happenings import happening_json, happening_line, solve_lines, unsaid_lines

if TYPE_CHECKING:
    from typing import Any

    from livecube.advice.speaker import Happening
    from livecube.cube.holding import Holding
    from livecube.drills.news import News


__all__ = ["SILENCE", "item_json", "item_line", "item_words", "said_aloud", "staying_lines"]

SILENCE = ""
"""Stop talking: the last text is no longer valid."""


def said_aloud(happening: Happening, stated: Holding | None) -> str | None:
    """The text to say now; :data:`SILENCE` to stop talking, None to go on as before.

    ``stated``: the holding as the solver stated it. Moves are never said: saying them takes longer
    than making them, and they stand on the screen.
    """
    match happening:
        case Clue(tells=Telling.WHERE):
            row = happening.opportunity
            return f"look {spoken_place(row, stated)}" if row.slots else "look"
        case Clue() | Spoken():
            return spoken_words(happening.opportunity, stated)
        case Taken() | Withdrawn() | SolveOver():
            return SILENCE
    return None


def item_json(item: News) -> dict[str, Any]:
    """An item as one object, for a line of JSON."""
    if isinstance(item, PracticeNews):
        return practice_json(item)
    if isinstance(item, DrillNews):
        return drill_json(item)
    return again_json(item) if isinstance(item, TryNews) else happening_json(item)


def item_line(item: News) -> str | None:
    """An item as one line of text; None: no line."""
    if isinstance(item, PracticeNews):
        return practice_line(item)
    if isinstance(item, DrillNews):
        return drill_line(item)
    return again_line(item) if isinstance(item, TryNews) else happening_line(item)


def item_words(item: News, stated: Holding | None) -> str | None:
    """An item as text to be said, with the stated holding; empty: stop talking.

    None: nothing to say, and the last text stays valid.
    """
    if isinstance(item, TryNews | DrillNews):
        return None
    return practice_words(item) if isinstance(item, PracticeNews) else said_aloud(item, stated)


def staying_lines(item: News) -> list[str]:
    """The lines of an item that stay on the terminal after the screen."""
    if isinstance(item, DrillNews):
        return [*lasting_lines(item)]
    match item:
        case Judged():
            return [result_sentence(item)]
        case Reviewed():
            return [reviewed_sentence(item)]
        case Tried():
            return [tried_sentence(item)]
        case SolveOver():
            return [*solve_lines(item.solve)]
        case Unsaid():
            return [*unsaid_lines(item)]
    return []
