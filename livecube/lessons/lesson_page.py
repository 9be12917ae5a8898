"""A lesson as one page to print or to send: all steps, positions as pictures and as codes."""

from __future__ import annotations

from html import escape
from itertools import groupby
from typing import TYPE_CHECKING, Final

import numpy as np

from livecube.cube.code import position_code
from livecube.cube.holding import cross_down
from livecube.lessons.claims import claims_sentence
from livecube.lessons.lesson import Drill, Show, Text, Try
from livecube.lessons.step_page import walk
from livecube.lessons.steps import demonstrated
from livecube.lessons.text import asked_words
from livecube.views.page import code_shown, page, paragraph, position_svg

if TYPE_CHECKING:
    from livecube.lessons.lesson import Lesson, Step

__all__ = ["lesson_page"]

_KEY: Final = (
    "Underlined, with a strong edge: the stickers of the pieces that come home. "
    "livecube bring CODE brings a position onto your cube."
)


def lesson_page(lesson: Lesson) -> str:
    """The page of a lesson."""
    sections = [
        (f"step-{number}", f"{number}. {step.title or lesson.title}", _step(step, number))
        for number, step in enumerate(lesson.steps, 1)
    ]
    about = f"{lesson.about[:1].upper()}{lesson.about[1:]}. {_KEY}" if lesson.about else _KEY
    return page(lesson.title, about, sections)


def _step(step: Step, number: int) -> str:
    asked = asked_words(step)
    asked = f"{asked[:1].upper()}{asked[1:]}."
    match step:
        case Text():
            return _text(step)
        case Show():
            return _show(step, number)
        case Try():
            return paragraph(asked) + _position(step)
        case Drill():
            grade = f" --grade {step.grade}" if step.grade else ""
            command = f"livecube drill {step.technique} --count {step.count}{grade}"
            return paragraph(asked) + paragraph(command, turns=True)
    return paragraph(asked) + paragraph("livecube practice", turns=True)


def _text(step: Text) -> str:
    told = []
    for is_list, some in groupby(step.paragraphs, lambda one: one.startswith("- ")):
        if is_list:
            entries = "".join(f"<li>{escape(one[2:])}</li>" for one in some)
            told.append(f"<ul>{entries}</ul>\n")
        else:
            told += [paragraph(one) for one in some]
    return "".join(told)


def _show(step: Show, number: int) -> str:
    position = np.frombuffer(step.position, dtype=np.uint8)
    shown = demonstrated(position, step.face, step.holding, step.moves)
    told = [paragraph(step.say)] if step.say else []
    told.append(walk(shown, f"moves-{number}", f"The moves of step {number}"))
    if claimed := claims_sentence(step.claims):
        told.append(paragraph(claimed))
    told.append(code_shown(position_code(position, step.holding)))
    return "".join(told)


def _position(step: Try) -> str:
    position = np.frombuffer(step.position, dtype=np.uint8)
    holding = step.holding or cross_down(step.face)
    title = f"The position, held with {holding}"
    return (
        paragraph(f"Held with {holding}:", quiet=True)
        + position_svg(position, title, holding)
        + code_shown(position_code(position, step.holding))
    )
