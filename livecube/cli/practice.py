"""``livecube practice``: scramble, inspect, solve, result, and again."""

from __future__ import annotations

import secrets
import time
from typing import TYPE_CHECKING

import click

from livecube.cli.broker_options import publishing_options
from livecube.cli.cubes import by_radio, check_source, typed_source
from livecube.cli.meeting import Meeting
from livecube.cli.options import (
    a_number,
    cube_options,
    front_option,
    hint_options,
    up_option,
)
from livecube.cli.scramble import scrambler_with_progress
from livecube.cli.whose import is_kept
from livecube.composition.pipeline import Pipeline
from livecube.composition.practising import PracticePart, PractisedSource
from livecube.composition.run import Output, Run
from livecube.composition.sources import Simulation
from livecube.edges.configuration import read_configuration
from livecube.edges.sinks import Board
from livecube.errors import UsageError
from livecube.practice.screen import PracticeScreen
from livecube.practice.settings import rules_of
from livecube.stages.tracker import Tracker

if TYPE_CHECKING:
    from livecube.cli.options import HintsAsked
    from livecube.composition.choosing import Wanted
    from livecube.composition.publishing import Publishing
    from livecube.composition.sources import Source
    from livecube.entries import Value

__all__ = ["practice"]


def _number(context: click.Context, option: click.Parameter, value: float | None) -> float | None:
    return None if value is None else a_number(context, option, value)


@click.command()
@click.option("--simulated", is_flag=True, help="A virtual solver practises, without hardware.")
@click.option("--typed", is_flag=True, help="Type the turns on the keyboard.")
@cube_options
@click.option(
    "--by-hand/--no-by-hand", default=None, help="Scramble as you like; no scramble is shown."
)
@click.option(
    "--inspection/--no-inspection",
    default=None,
    help="Whether inspection has a limit, and penalties beyond it.",
)
@click.option(
    "--settle",
    type=click.FloatRange(0, 600),
    callback=_number,
    help="Seconds from the last turn of a scramble to inspection.",
)
@click.option("--person", help="Whose solves these are; a virtual solver's are kept only with it.")
@click.option("--no-history", is_flag=True, help="Keep nothing.")
@click.option("--solves", type=click.IntRange(1, 10_000), help="End after this many solves.")
@click.option("--seed", type=click.IntRange(0), help="Same seed, same scrambles.")
@click.option(
    "--speed",
    default=1.0,
    type=click.FloatRange(0.1, 1000),
    callback=a_number,
    help="Speed factor for a virtual solver.",
)
@click.option(
    "--break-minutes",
    type=click.FloatRange(0, 600),
    callback=_number,
    help="Remind you of a break after this many minutes without one; 0: never.",
)
@click.option("--break-turns", type=click.IntRange(0), help="Or after this many turns; 0: never.")
@up_option
@front_option
@hint_options
@publishing_options
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
def practice(
    simulated: bool,
    typed: bool,
    wanted: Wanted,
    person: str | None,
    no_history: bool,
    solves: int | None,
    seed: int | None,
    speed: float,
    up: str | None,
    front: str | None,
    hints: HintsAsked,
    publishing: Publishing,
    as_json: bool,
    **said: Value,
) -> None:
    """Practise: a scramble is shown and followed, then inspection, the solve and its result.

    Hands-free: on the solved cube, turn two opposite layers a quarter in the same direction and
    both back. Red and orange: the next scramble; blue and green: the next penalty;
    white and yellow: discard the solve, or bring it back.

    Options not given come from [practice] in your configuration.
    """
    check_source(wanted, simulated=simulated, typed=typed)
    table = read_configuration().table("practice")
    table |= {name: value for name, value in said.items() if value is not None}
    rules = rules_of(table)
    if simulated and rules.by_hand:
        raise UsageError("the virtual solver needs a scramble; add --no-by-hand")
    keeps = is_kept(person, no_history=no_history, virtual=simulated)
    meeting = Meeting(person, hints, (up, front), keeps=keeps, virtual=simulated)
    followed = meeting.followed(solves, by_radio=not (simulated or typed))
    pipeline = Pipeline(Tracker(), time.perf_counter)
    source: Source
    if simulated:
        virtual_seed = secrets.randbelow(10_000) if seed is None else seed
        source = PractisedSource(Simulation(solves or 5, virtual_seed, speed))
    elif typed:
        source = typed_source(lambda: pipeline.tracker.holding, None)
    else:
        source = by_radio(wanted, as_json, False)
    part = PracticePart(
        pipeline,
        publishing,
        followed,
        rules=rules,
        scrambler=lambda: scrambler_with_progress(seed),
    )
    board = Board(PracticeScreen("", lambda: 0.0))
    Run(source, Output(board, as_json=as_json)).go(part)
