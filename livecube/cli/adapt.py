"""``livecube adapt``: learn from a person's own solves how they hold the cube."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from livecube.cli.bars import progress_bar
from livecube.cli.whose import keeper
from livecube.composition.writing import habits_of, solves_of_log
from livecube.edges.saying import say
from livecube.errors import UsageError
from livecube.history.folder import data_folder
from livecube.history.people import HABITS, People
from livecube.history.store import History
from livecube.solves.people import named, shown_name
from livecube.solves.records import Wanted
from livecube.views.lines import counted

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.holding.counts import Counts
    from livecube.holding.observations import SolvePart

__all__ = ["adapt"]

_FEW = 5
"""Solves that are needed: fewer tell almost nothing."""


@click.command()
@click.argument("logs", nargs=-1, type=click.Path(path_type=Path))
@click.option("--forget", is_flag=True, help="Go back to the habits that come with livecube.")
@click.option("--person", metavar="NAME", help="Whose habits they are.")
def adapt(logs: tuple[Path, ...], forget: bool, person: str | None) -> None:
    """Learn from LOGS of your own solves how you hold the cube and turn it.

    Without LOGS it learns from your kept solves. The holding is worked out from the turns. More
    solves give better habits; habits learned before are replaced. From then on live hints,
    imports, replay, review and write use your own habits.
    """
    if forget and logs:
        raise UsageError("--forget takes no logs")
    name = keeper(person)
    if forget:
        say("Forgotten." if _forget(name) else "There was nothing to forget.")
        return
    solves = [one for log in logs or _kept_logs(name) for one in solves_of_log(log)]
    whole = [one.part for one in solves if one.solve.solved and not one.solve.gap]
    if len(whole) < _FEW:
        where = "the logs hold" if logs else "the history has"
        raise UsageError(
            f"{where} {counted(len(whole), 'whole solve')}; at least {_FEW} are needed"
        )
    counts = _learned(whole)
    several = _keep(name, counts, len(whole))
    of_whom = f" of {shown_name(name)}" if several else ""
    say(f"Learned from {counted(len(whole), 'solve')}{of_whom}, kept in the history.")


def _kept_logs(name: str) -> Sequence[Path]:
    """The logs of a person's kept solves.

    Raises :class:`~livecube.errors.UsageError` if there are none.
    """
    with History(data_folder(), reading=True) as history:
        solves = history.solves(Wanted(person=name))
        logs = [log for one in solves if (log := history.folder / one.log).is_file()]
    if not logs:
        raise UsageError("no solve of yours is kept; name one or more logs, or --forget")
    return logs


def _keep(name: str, counts: Counts, solves: int) -> bool:
    """Keep the habits of a person, who may be new; returns whether there are others."""
    from livecube.edges.habits_file import forget_account_habits
    from livecube.holding.counts import counts_text

    text = counts_text(counts, f"livecube adapt, {solves} solves")
    with History(data_folder()) as history:
        People(history).note_learned(name, HABITS, text, solves)
        several = len(history.people()) > 1
    if not several:
        forget_account_habits()  # they were this person's
    return several


def _forget(name: str) -> bool:
    """Forget the habits of a person, and of the account if nobody else uses it."""
    from livecube.edges.habits_file import forget_account_habits

    with History(data_folder()) as history:
        people = history.roster()
        person = named(people, name)
        was_there = person is not None and People(history).unlearn(person, HABITS)
    return (len(people) <= 1 and forget_account_habits()) or was_there


def _learned(solves: list[SolvePart]) -> Counts:
    from livecube.holding.inference import ROUNDS

    with progress_bar("learning") as bar:
        task = bar.add_task("", total=ROUNDS)
        return habits_of(solves, lambda rounds: bar.advance(task, rounds))
