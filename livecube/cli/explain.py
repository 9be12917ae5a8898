"""``livecube explain``: a technique in words, with an example worked out by the program."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click
from rich.console import Console

from livecube.cli.options import advisor_with_progress, hands_option

if TYPE_CHECKING:
    from livecube.hands.model import Hands

__all__ = ["explain"]

_WIDTH = 80


@click.command()
@click.argument("technique", required=False)
@hands_option
def explain(technique: str | None, hands: Hands | None) -> None:
    """Explain a TECHNIQUE with an example; without one, list them all."""
    from livecube.advice.explanations import explanation_of
    from livecube.views.explanation import explanation_lines, technique_lines

    console = Console(highlight=False, markup=False)
    console.width = min(console.width, _WIDTH)  # longer lines are hard to read
    if technique is None:
        lines = technique_lines()
    else:
        explanation = explanation_of(technique)
        advisor = advisor_with_progress(hands=hands)
        from livecube.advice.examples import find_example
        from livecube.techniques.registry import TECHNIQUES

        known = next((one for one in TECHNIQUES if one.id == technique), None)
        lines = explanation_lines(explanation, find_example(advisor, known) if known else None)
    for line in lines:
        console.print(line)
