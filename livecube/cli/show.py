"""``livecube show``: a sequence step by step, for a room."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click
from rich.console import Console

from livecube.cli.cubes import by_radio
from livecube.cli.options import (
    advisor_with_progress,
    cube_options,
    front_option,
    hands_option,
    level_option,
    person_option,
    position_given,
    up_option,
)
from livecube.cli.whose import own_for
from livecube.composition.run import Output, Run
from livecube.composition.showing import NoCube, ShowPart
from livecube.cube.holding import COLOURS, cross_down
from livecube.edges.log_files import new_file
from livecube.edges.sinks import Board
from livecube.lessons.steps import demonstrated

if TYPE_CHECKING:
    from livecube.cli.whose import Own
    from livecube.composition.choosing import Wanted
    from livecube.composition.sources import Source
    from livecube.cube.geometry import Array
    from livecube.cube.holding import Holding
    from livecube.hands.automaton import Automaton
    from livecube.lessons.steps import Demonstration

__all__ = ["show"]

_WIDTH: Final = 80


@click.command()
@click.argument("position")
@click.argument("moves", required=False)
@click.option(
    "--cross",
    type=click.Choice(COLOURS),
    help="Cross colour; left out: the one for which MOVES fill a slot, or the likeliest.",
)
@up_option
@front_option
@click.option("--with-cube", is_flag=True, help="The turns of your cube step on and back, too.")
@cube_options
@click.option("--page", type=click.Path(path_type=Path), help="Write a page to this new file.")
@person_option
@level_option
@hands_option
def show(
    position: str,
    moves: str | None,
    cross: str | None,
    up: str | None,
    front: str | None,
    with_cube: bool,
    wanted: Wanted,
    page: Path | None,
    person: str | None,
    level: str | None,
    hands: Automaton | None,
) -> None:
    """Show MOVES from POSITION step by step, large enough for a room.

    POSITION is a code, as hints and reports show it, 54 facelets, or turns made on a solved cube
    with white up and green in front. Without MOVES the advised way is shown. The pieces that come
    home are set off, and each step says where they are. The keys n and b step on and back. Without
    a terminal all steps are printed.
    """
    from livecube.cube.code import position_code

    asked, held, likely = position_given(position, up, front, cross)
    if moves is None:
        shown = _advised(asked, likely, held, own_for(person), level, hands)
    else:
        faces = [likely] if cross else [likely, *range(6)]
        shown = max((_given(asked, face, held, moves) for face in faces), key=_filled)
    if page is not None:
        from livecube.lessons.step_page import step_page

        code = position_code(asked, shown.steps[0].holding)
        with new_file(page) as file:
            file.write(step_page(shown, code))
        return
    _step_through(shown, wanted if with_cube else None)


def _filled(shown: Demonstration) -> int:
    return len(shown.slots)


def _given(position: Array, face: int, held: Holding | None, moves: str) -> Demonstration:
    from livecube.cube.notation import parse_moves

    return demonstrated(position, face, held or cross_down(face), parse_moves(moves))


def _advised(
    position: Array,
    face: int,
    held: Holding | None,
    own: Own,
    level: str | None,
    hands: Automaton | None,
) -> Demonstration:
    from livecube.review.moment import brought

    advisor = advisor_with_progress(own.level(level), own.hands(hands))
    row = brought(advisor, position, face, held).row
    shown = demonstrated(position, face, row.holding, row.moves)
    return replace(shown, hands_told=own.told(hands))


def _step_through(shown: Demonstration, wanted: Wanted | None) -> None:
    from livecube.lessons.step_screen import StepScreen, step_lines

    board = Board(StepScreen(shown))
    output = Output(board, as_json=False)
    if not output.console.is_terminal:
        for line in step_lines(shown, min(Console().width, _WIDTH)):
            click.echo(line)
        return
    source: Source = NoCube() if wanted is None else by_radio(wanted, False, False)
    Run(source, output).go(ShowPart(board))
