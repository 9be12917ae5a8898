"""``livecube hints``: everything that is possible in one position."""

from __future__ import annotations

import json
import time
from typing import TYPE_CHECKING

import click

from livecube.advice.settings import LEVEL_NAMES
from livecube.cli.bars import LOOKING, waiting
from livecube.cli.cubes import say_aside
from livecube.cli.options import (
    front_option,
    hands_option,
    likely_cross_option,
    person_option,
    position_given,
    up_option,
)
from livecube.cli.whose import own_for
from livecube.composition.assembly import late_advisor
from livecube.edges.memory import kept_small

if TYPE_CHECKING:
    from livecube.advice.rows import Advice
    from livecube.hands.automaton import Automaton

__all__ = ["hints"]

_ROWS = 12


@click.command()
@click.argument("position")
@likely_cross_option
@up_option
@front_option
@click.option(
    "--level",
    type=click.Choice(("all", *LEVEL_NAMES)),
    default="all",
    show_default=True,
    help="Techniques of this level; all: every known technique.",
)
@click.option("--no-looking", is_flag=True, help="Rank and plan without the seconds of looking.")
@person_option
@hands_option
@click.option("--all", "show_all", is_flag=True, help=f"Show all rows, not only {_ROWS}.")
@click.option("--voice", is_flag=True, help="Say the code of the position aloud, too.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object instead of a table.")
def hints(
    position: str,
    cross: str | None,
    up: str | None,
    front: str | None,
    level: str,
    no_looking: bool,
    person: str | None,
    hands: Automaton | None,
    show_all: bool,
    voice: bool,
    as_json: bool,
) -> None:
    """Say what is possible in POSITION.

    POSITION is given by turns, made on a solved cube with white up and green in front, by its
    code, or by 54 facelets.
    """
    from livecube.cube.code import position_code, spelled_code

    asked, holding, face = position_given(position, up, front, cross)
    own = own_for(person)
    its = LEVEL_NAMES[-1] if level == "all" else level
    with kept_small(), waiting(LOOKING):
        advisor = late_advisor(its, own.hands(hands))
        start = time.perf_counter()
        advice = advisor.advise(asked, face, holding, looking=not no_looking)
        advice_ms = (time.perf_counter() - start) * 1000
    code = position_code(asked, holding)
    if as_json:
        told = {**advice.as_json(advice_ms), "code": code, "own_hands": own.own_solves(hands)}
        click.echo(json.dumps(told))
    else:
        _print(advice, code, own.told(hands), show_all=show_all)
    if voice:
        import asyncio

        from livecube.edges.voice import speak

        asyncio.run(speak(spelled_code(code), say_aside))


def _print(advice: Advice, code: str, told: str, *, show_all: bool) -> None:
    # Imported late: JSON needs none of it.
    from rich.console import Console

    from livecube.views.happenings import note_sentence
    from livecube.views.lines import table_lines
    from livecube.views.live_screen import plan_lines

    console = Console(highlight=False, markup=False)
    console.print(_summary(advice.cross, advice.offset, advice.solved_slots))
    console.print(f"code {code}")
    if told:
        console.print(f"seconds {told}")
    if not advice.opportunities:
        return
    shown = advice.opportunities if show_all else advice.opportunities[:_ROWS]
    rows: list[tuple[str, ...]] = [("moves", "held", "s", "looking", "turns", "kept", "what")]
    rows += [
        (
            " ".join(map(str, row.moves)),
            f"{row.holding.front} front",
            f"{row.seconds:.2f}",
            f"{row.looking:.2f}",
            str(row.turns),
            str(row.top_kept),
            f"{row.technique} {' '.join(row.slots)}",
        )
        for row in shown
    ]
    lines = table_lines(rows, console.width, (5, 4, 3), words=True, left=(0, 1, 6))
    console.print("\n".join(lines), soft_wrap=True)
    if len(shown) < len(advice.opportunities):
        console.print(f"… and {len(advice.opportunities) - len(shown)} more; --all shows them.")
    best = next((row for row in advice.opportunities if not row.silenced), None)
    if best is not None:
        console.print("\n" + " ".join((best.why, *map(note_sentence, best.notes))))
    if lines := plan_lines(advice.plans):
        console.print("\n" + "\n".join(lines))


def _summary(cross: str, offset: int | None, solved: tuple[str, ...]) -> str:
    if offset is None:
        return f"{cross} cross: not whole"
    where = (
        "aligned"
        if offset == 0
        else f"turned aside by {offset} quarter turn{'s' if offset != 1 else ''} clockwise"
    )
    slots = ", ".join(solved) if solved else "none"
    return f"{cross} cross, {where}; solved slots: {slots}"
