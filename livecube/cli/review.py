"""``livecube review``: a solve looked at again."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from livecube.cli.bars import progress_bar
from livecube.cli.options import (
    advisor_with_progress,
    hands_option,
    holdings_with_progress,
    level_option,
)
from livecube.cli.whose import own_for, own_of_solve, whose_in
from livecube.edges.automaton_file import load_hands
from livecube.edges.saying import say, screen_width
from livecube.errors import KeepingError, UsageError
from livecube.views.lines import counted

if TYPE_CHECKING:
    from livecube.cli.whose import Own
    from livecube.composition.reviewing import Begun
    from livecube.hands.automaton import Automaton
    from livecube.review.reviewed import Review

__all__ = ["kept_solve", "review", "reviewed", "solves_of"]


@click.command()
@click.argument("log", type=click.Path(path_type=Path), required=False)
@click.option("--solve", "wanted", type=click.IntRange(1), help="Only this solve of the log.")
@click.option("--kept", type=click.IntRange(1), help="Solve with this number in the history.")
@click.option("--last", is_flag=True, help="The last solve of the history.")
@click.option("--missing", is_flag=True, help="All solves of the history without a review.")
@click.option(
    "--person", metavar="NAME", help="Whose last or missing solves, or whose solves LOG holds."
)
@click.option(
    "--processes",
    type=click.IntRange(1, 64),
    help="With --missing: this many processes; one for each core by default.",
)
@level_option
@hands_option
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
def review(
    log: Path | None,
    wanted: int | None,
    kept: int | None,
    last: bool,
    missing: bool,
    person: str | None,
    processes: int | None,
    level: str | None,
    hands: Automaton | None,
    as_json: bool,
) -> None:
    """Review the solves of LOG, or one of the history: what was done, and what was missed.

    For each pair it says what would have been better when it began, and what turned up later.
    Times are measured. Times of other ways are predicted by the model of the hands, and marked
    so. With --missing only the chances are kept, for trends and again. It can be stopped and
    started again at any time.
    """
    if (log is not None) + (kept is not None) + last + missing != 1:
        raise UsageError(
            "name a log, or solves of the history by --kept NUMBER, --last or --missing"
        )
    if (wanted and log is None) or (person is not None and kept is not None):
        raise UsageError("--solve goes with a log, --person with a log, --last or --missing")
    if processes is not None and not missing:
        raise UsageError("--processes goes with --missing")
    if missing:
        from livecube.cli.missing import review_missing

        review_missing(person, level, hands, processes, as_json=as_json)
        return
    if last:
        kept = _last_kept(person)
    own = own_for(person) if kept is None else own_of_solve(kept)
    holdings_with_progress(own.habits)
    begun = kept_solve(kept) if kept is not None else solves_of(log, wanted)
    found = reviewed(begun, own, level, hands)
    for title, one in found:
        _tell(title, one, own.own_solves(hands), as_json=as_json)
    if not as_json and (told := own.told(hands)):
        say(f"Predicted seconds are {told}.")
    if kept is not None:
        _note(kept, found[0][1], own.own_solves(hands))


def solves_of(log: Path | None, wanted: int | None) -> list[tuple[str, Begun]]:
    """The solves of a log with their titles, or one of them.

    Raises :class:`~livecube.errors.UsageError` if the log has no solve, or not that one.
    """
    from livecube.composition.reviewing import begun_solves

    assert log is not None
    solves = [(f"solve {i}", one) for i, one in enumerate(begun_solves(log), start=1)]
    if not solves:
        raise UsageError(f"{log} holds no solve")
    if wanted is None:
        return solves
    if wanted > len(solves):
        raise UsageError(
            f"{log} holds {counted(len(solves), 'solve')}; --solve {wanted} is too many"
        )
    return solves[wanted - 1 : wanted]


def kept_solve(number: int) -> list[tuple[str, Begun]]:
    """One solve of the history with its title."""
    from livecube.composition.reviewing import begun_kept
    from livecube.history.folder import data_folder
    from livecube.history.store import History

    with History(data_folder(), reading=True) as history:
        whose = f" of {history.solve(number).listed.person}" if len(history.people()) > 1 else ""
        return [(f"solve {number}{whose}", begun_kept(history, number))]


def _last_kept(person: str | None) -> int:
    """Number of the last solve.

    Raises :class:`~livecube.errors.UsageError` if there is none.
    """
    from livecube.history.folder import data_folder
    from livecube.history.store import History
    from livecube.solves.records import Wanted

    with History(data_folder(), reading=True) as history:
        whose = whose_in(history, person)
        solves = history.list(Wanted(person=whose.name, most=1))
    if not solves:
        of_whom = "" if whose.title is None else f" of {whose.title}"
        raise UsageError(f"no solve{of_whom} is kept; livecube practice keeps them")
    return solves[0].number


def _note(number: int, found: Review, own_solves: int | None) -> None:
    """Keep what a review found with its solve."""
    from livecube.composition.reviewing import chances_of, plans_of, prices_of
    from livecube.history.folder import data_folder
    from livecube.history.store import History

    try:
        with History(data_folder()) as history:
            history.note_chances(
                number, chances_of(found), prices_of(found), plans_of(found), own_solves
            )
    except KeepingError as error:
        say(f"livecube: its chances cannot be kept: {error}", err=True)


def reviewed(
    begun: list[tuple[str, Begun]], own: Own, level: str | None, hands: Automaton | None
) -> list[tuple[str, Review]]:
    """The reviews of a person's solves, with a progress bar."""
    from livecube.composition.reviewing import review_of

    hands = own.hands(hands)
    advisor, its = advisor_with_progress(own.level(level), hands), hands or load_hands()
    bar = progress_bar("reviewing")
    task = bar.add_task("", total=sum(len(one.of.solve.splits) for _, one in begun))

    def step(steps: int) -> None:
        bar.advance(task, steps)

    with bar:
        return [(title, review_of(one, advisor, its, step, own.habits)) for title, one in begun]


def _tell(title: str, found: Review, own_solves: int | None, *, as_json: bool) -> None:
    from livecube.review.text import review_json, review_lines

    if as_json:
        told = {"event": "review", **review_json(found), "own_hands": own_solves}
        click.echo(json.dumps(told))
    else:
        say("\n".join([*review_lines(found, title, screen_width()), ""]))
