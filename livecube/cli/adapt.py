"""``livecube adapt``: learn from a person's own logs how they hold the cube."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from livecube.cli.bars import progress_bar
from livecube.composition.writing import habits_of, solves_of_log
from livecube.edges.saying import say
from livecube.errors import UsageError

if TYPE_CHECKING:
    from livecube.holding.counts import Counts
    from livecube.holding.observations import SolvePart

__all__ = ["adapt"]

_FEW = 5
"""Solves that are needed: fewer tell almost nothing."""


@click.command()
@click.argument("logs", nargs=-1, type=click.Path(path_type=Path))
@click.option("--forget", is_flag=True, help="Go back to the habits that come with livecube.")
def adapt(logs: tuple[Path, ...], forget: bool) -> None:
    """Learn from LOGS of your own solves how you hold the cube and turn it.

    The holding is worked out from the turns. More solves give better habits; habits learned
    before are replaced. From then on replay, write and live hints use your own habits.
    """
    from livecube.edges.holding_file import forget_own_counts, keep_own_counts

    if forget:
        if logs:
            raise UsageError("--forget takes no logs")
        say("Forgotten." if forget_own_counts() else "There was nothing to forget.")
        return
    if not logs:
        raise UsageError("name one or more logs of your own solves, or --forget")
    solves = [one for log in logs for one in solves_of_log(log)]
    whole = [one.part for one in solves if one.solve.solved and not one.solve.gap]
    if len(whole) < _FEW:
        raise UsageError(
            f"the logs hold {len(whole)} whole solve{'s' if len(whole) != 1 else ''}; at least "
            f"{_FEW} are needed"
        )
    counts = _learned(whole)
    file = keep_own_counts(counts, f"livecube adapt, {len(whole)} solves")
    say(f"Learned from {len(whole)} solves, kept in {file}.")


def _learned(solves: list[SolvePart]) -> Counts:
    from livecube.holding.inference import ROUNDS

    with progress_bar("learning") as bar:
        task = bar.add_task("", total=ROUNDS)
        return habits_of(solves, lambda rounds: bar.advance(task, rounds))
