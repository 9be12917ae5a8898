"""A demonstration as one page: stepped through by keys and touch without scripts, or printed."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING

import numpy as np

from livecube.views.page import code_shown, page, paragraph, position_svg

if TYPE_CHECKING:
    from livecube.lessons.steps import Demonstration

__all__ = ["step_page", "walk"]


def step_page(shown: Demonstration, code: str) -> str:
    """The page; ``code`` is that of the position where the demonstration begins."""
    return page(
        "Step by step",
        shown.about,
        [
            (
                "steps",
                "Steps",
                paragraph(
                    "Arrow keys step on once a button is chosen. Underlined, with a strong edge: "
                    "the stickers of the pieces that come home.",
                    quiet=True,
                )
                + walk(shown, "step", "Steps"),
            ),
            (
                "position",
                "The position",
                paragraph("livecube bring CODE brings it onto your cube; this is the code:")
                + code_shown(code),
            ),
        ],
    )


def walk(shown: Demonstration, key: str, label: str) -> str:
    """The steps of one demonstration among others on a page; ``key`` is its own on the page.

    Each step follows a button of one group, and only the step of the chosen button is seen: the
    browser's own keys for such a group step through them.
    """
    steps = "".join(_step(shown, number, key) for number in range(len(shown.steps)))
    return f'<div class="walk" role="group" aria-label="{escape(label)}">{steps}</div>\n'


def _step(shown: Demonstration, number: int, key: str) -> str:
    step, name = shown.steps[number], shown.move_words(number)
    drawn = position_svg(
        np.frombuffer(step.position, dtype=np.uint8),
        f"{name}, held with {step.holding}: {step.words or 'the pieces stay where they are'}",
        step.holding,
        step.marked,
    )
    words = paragraph(step.words) if step.words else ""
    links = "".join(
        f'<label for="{key}-{to}">{text}</label> '
        for to, text in ((number - 1, "back"), (number + 1, "next"))
        if 0 <= to < len(shown.steps)
    )
    return (
        f'<input type="radio" name="{key}" id="{key}-{number}" aria-label="{escape(name)}"'
        f"{' checked' * (number == 0)}>"
        f'<section><p class="now">{escape(name)}</p>'
        f"{paragraph(f'held with {step.holding}', quiet=True)}{drawn}{words}"
        f"<p>{links}</p></section>\n"
    )
