"""``livecube explain``: a technique in words, with an example worked out by the program."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click
from rich.console import Console

from livecube.cli.options import advisor_with_progress, hands_option, person_option
from livecube.cli.whose import own_for

if TYPE_CHECKING:
    from livecube.hands.automaton import Automaton

__all__ = ["explain"]

_WIDTH = 80


@click.command()
@click.argument("technique", required=False)
@person_option
@hands_option
def explain(technique: str | None, person: str | None, hands: Automaton | None) -> None:
    """Explain a TECHNIQUE with an example; without one, list them all."""
    from livecube.composition.assembly import find_technique, known_techniques
    from livecube.views.explanation import explanation_lines, technique_lines

    console = Console(highlight=False, markup=False)
    console.width = min(console.width, _WIDTH)  # longer lines are hard to read
    said = ""
    if technique is None:
        lines = technique_lines(known_techniques())
    else:
        known = find_technique(technique)
        own = own_for(person)
        advisor = advisor_with_progress(hands=own.hands(hands))
        from livecube.advice.examples import find_example

        lines = explanation_lines(known, find_example(advisor, known))
        said = own.told(hands)
    for line in lines:
        console.print(line)
    if said:
        console.print(f"Seconds are {said}.")
