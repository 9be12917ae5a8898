"""``livecube inspect``: the cross, and pairs together with it, before a solve."""

from __future__ import annotations

import json
import time
from typing import TYPE_CHECKING

import click
from rich.console import Console

from livecube.advice.settings import LEVEL_NAMES, parse_crosses
from livecube.cli.bars import LOOKING, waiting
from livecube.cli.options import crosses_option, hands_option, person_option
from livecube.cli.whose import own_for
from livecube.composition.assembly import late_advisor
from livecube.cube.holding import parse_colour
from livecube.edges.memory import kept_small

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.advice.inspection import Inspection
    from livecube.hands.automaton import Automaton

__all__ = ["inspect"]

_LEVEL = "keen"
_ROWS = 3
_WIDTH = 80


@click.command()
@click.argument("scramble")
@crosses_option
@click.option(
    "--level",
    type=click.Choice(LEVEL_NAMES),
    help="calm: the cross alone; keen: X-crosses too; bold: pseudo X-crosses too. Without it: the "
    f"person's own, else {_LEVEL}.",
)
@person_option
@hands_option
@click.option("--all", "show_all", is_flag=True, help=f"Show all rows, not only {_ROWS} of each.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object instead of text.")
def inspect(
    scramble: str,
    crosses: tuple[str, ...],
    level: str | None,
    person: str | None,
    hands: Automaton | None,
    show_all: bool,
    as_json: bool,
) -> None:
    """Say how a solve can begin after SCRAMBLE, made with white up and green in front.

    SCRAMBLE may also be the code of a position, or its 54 facelets.
    """
    from livecube.advice.inspection import inspect_cross
    from livecube.cube.code import parse_position, position_code

    position, _ = parse_position(scramble)
    own = own_for(person)
    its = level or str(own.chosen.get("level", _LEVEL))
    with kept_small(), waiting(LOOKING):
        advisor = late_advisor(its, own.hands(hands))
        start = time.perf_counter()
        inspections = [
            inspect_cross(advisor, position, parse_colour(c))
            for c in parse_crosses(" ".join(crosses) or str(own.settings["cross"]))
        ]
    advice_ms = (time.perf_counter() - start) * 1000
    code = position_code(position)
    if as_json:
        found = {
            "scramble": scramble,
            "code": code,
            "crosses": [inspection.as_json() for inspection in inspections],
            "advice_ms": round(advice_ms, 3),
            "own_hands": own.own_solves(hands),
        }
        click.echo(json.dumps(found))
    else:
        _print(inspections, None if show_all else _ROWS, code, own.told(hands))


def _print(inspections: Sequence[Inspection], most: int | None, code: str, told: str) -> None:
    from livecube.views.inspection import comparison_lines, inspection_blocks

    console = Console(highlight=False, markup=False)
    console.width = min(console.width, _WIDTH)  # longer lines are hard to read, as in explanations
    console.print(f"code {code}")
    if told:
        console.print(f"Seconds are {told}.")
    if len(inspections) > 1:
        for line in comparison_lines(inspections):
            console.print(line)
    for number, inspection in enumerate(inspections):
        if number or len(inspections) > 1:
            console.print()
        for block in inspection_blocks(inspection, most):
            console.print(block)
