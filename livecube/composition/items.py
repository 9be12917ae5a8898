"""Items as a sink shows them: an object, a line, words, lines that stay on the terminal."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from livecube.advice.speaker import Clue, Spoken, Taken, Telling, Unsaid, Withdrawn
from livecube.advice.words import spoken_place, spoken_words
from livecube.drills.news import DrillNews
from livecube.drills.text import drill_json, drill_line, lasting_lines
from livecube.lessons.news import LessonNews
from livecube.lessons.text import lesson_json, lesson_lasting, lesson_line
from livecube.practice.news import Corrected, Discarded, Judged, PracticeNews, Reviewed
from livecube.practice.text import (
    corrected_sentence,
    practice_json,
    practice_line,
    practice_words,
    result_sentence,
    reviewed_sentence,
    tally_text,
)
from livecube.review.again_text import again_json, again_line, tried_sentence
from livecube.review.trying import Tried, TryNews
from livecube.stages.progress import SolveOver
from livecube.views.happenings import happening_json, happening_line, solve_lines, unsaid_lines
from livecube.views.lines import folded

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from typing import Any

    from livecube.advice.speaker import Happening
    from livecube.cube.holding import Holding
    from livecube.drills.news import News
    from livecube.practice.news import Tally


__all__ = ["SILENCE", "Staying", "item_json", "item_lines", "item_words", "said_aloud"]

_DEEPER = 10
"""Columns by which a folded line goes on farther in: behind its time."""
SILENCE = ""
"""Stop speaking: the last text is no longer valid."""


def said_aloud(happening: Happening, stated: Holding | None) -> str | None:
    """The text to say now; :data:`SILENCE` to stop speaking, None to go on as before.

    ``stated``: the holding as the solver stated it. Moves are never said: saying them takes longer
    than making them, and the screen shows them.
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
    if isinstance(item, LessonNews):
        return lesson_json(item)
    return again_json(item) if isinstance(item, TryNews) else happening_json(item)


def _line(item: News) -> str | None:
    """An item as one line of text; None: no line."""
    if isinstance(item, PracticeNews):
        return practice_line(item)
    if isinstance(item, DrillNews):
        return drill_line(item)
    if isinstance(item, LessonNews):
        return lesson_line(item)
    return again_line(item) if isinstance(item, TryNews) else happening_line(item)


def item_lines(item: News, width: int | None) -> list[str]:
    """An item as lines of so many columns (None: however long they are); empty: no line."""
    line = _line(item)
    return [] if line is None else folded(line.split("\n"), width, _DEEPER)


def item_words(item: News, stated: Holding | None) -> str | None:
    """An item as text to be said, with the stated holding; empty: stop speaking.

    None: nothing to say, and the last text stays valid.
    """
    if isinstance(item, TryNews | DrillNews | LessonNews):
        return None
    return practice_words(item) if isinstance(item, PracticeNews) else said_aloud(item, stated)


class Staying:
    """The lines that stay on the terminal after a screen: each solve as it finally counts."""

    def __init__(self) -> None:
        self._blocks: list[tuple[int | None, str, Callable[[int], list[str]]]] = []
        """Number of the solve in its session, the kind of its lines, and its lines by the width."""
        self._away: set[int] = set()
        self._tally: Tally | None = None

    def lines(self, width: int) -> list[str]:
        """All of them, in order; discarded solves are left out."""
        kept = [lines for of, _, lines in self._blocks if of not in self._away]
        tally = "" if self._tally is None else tally_text(self._tally)
        shown = [line for lines in kept for line in lines(width)]
        return [*shown, *folded([tally], width)] if tally else shown

    def take(self, item: News) -> None:
        """Take in an item."""
        if isinstance(item, DrillNews):
            self._blocks.append((None, "drill", _sentences(lasting_lines(item))))
            return
        if isinstance(item, LessonNews):
            self._blocks.append((None, "lesson", _sentences(lesson_lasting(item))))
            return
        match item:
            case Judged():
                self._tell(item.number, "result", _sentences([result_sentence(item)]), item.tally)
            case Corrected():
                self._tell(
                    item.number, "result", _sentences([corrected_sentence(item)]), item.tally
                )
            case Discarded():
                self._tally = item.tally
                (self._away.add if item.away else self._away.discard)(item.number)
            case Reviewed():
                self._tell(
                    item.number, "review", _sentences([reviewed_sentence(item)]), self._tally
                )
            case Tried():
                self._blocks.append((None, "try", _sentences([tried_sentence(item)])))
            case SolveOver():
                self._blocks.append((item.solve.id, "solve", partial(solve_lines, item.solve)))
            case Unsaid():
                self._blocks.append((None, "unsaid", partial(unsaid_lines, item)))

    def _tell(
        self, number: int, what: str, lines: Callable[[int], list[str]], tally: Tally | None
    ) -> None:
        """Replace the lines of this kind about a solve."""
        self._tally = tally
        told = number, what, lines
        for at, (of, kind, _) in enumerate(self._blocks):
            if (of, kind) == (number, what):
                self._blocks[at] = told
                return
        self._blocks.append(told)


def _sentences(lines: Sequence[str]) -> Callable[[int], list[str]]:
    return partial(folded, lines)
