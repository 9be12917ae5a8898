"""``livecube again``: a missed moment back on the cube, to try the better way."""

from __future__ import annotations

from itertools import repeat
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from livecube.cli.cubes import by_radio, check_source, typed_source
from livecube.cli.options import (
    a_number,
    cube_options,
    hands_option,
    holdings_with_progress,
    level_option,
)
from livecube.cli.review import kept_solve, reviewed, solves_of
from livecube.cli.scramble import scrambler_with_progress
from livecube.cli.whose import own_for, own_of_solve
from livecube.composition.again import TrierSource, TryPart
from livecube.composition.run import Output, Run
from livecube.edges.sinks import Board
from livecube.review.again_screen import AgainScreen
from livecube.review.again_text import moment_sentence
from livecube.review.moment import missed_moment
from livecube.review.trying import Trying

if TYPE_CHECKING:
    from livecube.composition.choosing import Wanted
    from livecube.composition.sources import Source
    from livecube.hands.automaton import Automaton
    from livecube.review.moment import Moment

__all__ = ["again"]

_SIMULATED_TRIES: Final = 2
"""Tries of a virtual solver, which learns nothing from more."""


@click.command()
@click.argument("number", type=click.IntRange(1))
@click.option("--pair", type=click.IntRange(1, 4), help="This pair, not the costliest one.")
@click.option(
    "--log", type=click.Path(path_type=Path), help="NUMBER is that of a solve in this log."
)
@click.option("--tries", type=click.IntRange(1, 1000), help="End after this many tries.")
@click.option("--simulated", is_flag=True, help="A virtual solver tries, without hardware.")
@click.option("--typed", is_flag=True, help="Type the turns on the keyboard.")
@cube_options
@click.option("--seed", default=0, type=click.IntRange(0), help="Seed of a virtual solver.")
@click.option(
    "--speed",
    default=1.0,
    type=click.FloatRange(0.1, 1000),
    callback=a_number,
    help="Speed of a virtual solver.",
)
@level_option
@hands_option
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
def again(
    number: int,
    pair: int | None,
    log: Path | None,
    tries: int | None,
    simulated: bool,
    typed: bool,
    wanted: Wanted,
    seed: int,
    speed: float,
    level: str | None,
    hands: Automaton | None,
    as_json: bool,
) -> None:
    """Bring a missed moment of solve NUMBER back onto your cube, and try the better way.

    The moment is the costliest one that a review finds, or that of one pair. A few turns lead
    there from any position of the cube; they are shown and followed like a scramble. Then the
    first turn starts the time, which ends when the pair is solved. To begin again, turn back to
    the position of the moment.
    """
    check_source(wanted, simulated=simulated, typed=typed)
    moment, title = _moment(number, pair, log, level, hands)
    part = TryPart(
        lambda scrambler: Trying(repeat(moment), scrambler.short),
        tries or (_SIMULATED_TRIES if simulated else None),
        lambda: scrambler_with_progress(None),
    )
    source: Source
    if simulated:
        source = TrierSource(tries or _SIMULATED_TRIES, seed, speed)
    elif typed:
        source = typed_source(lambda: part.holding, None)
    else:
        source = by_radio(wanted, as_json, False)
    board = Board(AgainScreen(moment_sentence(moment, title)))
    Run(source, Output(board, as_json=as_json)).go(part)


def _moment(
    number: int, pair: int | None, log: Path | None, level: str | None, hands: Automaton | None
) -> tuple[Moment, str]:
    own = own_for(None) if log is not None else own_of_solve(number)
    holdings_with_progress(own.habits)
    begun = kept_solve(number) if log is None else solves_of(log, number)
    ((title, review),) = reviewed(begun, own, level, hands)
    return missed_moment(review, begun[0][1].start, pair), title
