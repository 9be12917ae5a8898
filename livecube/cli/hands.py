"""``livecube hands``: prices as a file or a table; what is known of a person's own."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import click

from livecube.cli.bars import late, progress_bar
from livecube.cli.options import holdings_with_progress
from livecube.cli.whose import habits_of, own_for, own_settings, usual_hands
from livecube.edges.automaton_file import automaton_schema_text, load_hands, usual_hands_text
from livecube.edges.cache import kept_book
from livecube.edges.saying import say, screen_width
from livecube.errors import UsageError
from livecube.hands.automaton import MOVES, NEVER, Automaton
from livecube.history.folder import data_folder
from livecube.history.store import History
from livecube.own.keeping import (
    LEARNING_STEPS,
    Taker,
    kept_stages,
    learned_now,
    missing,
    take_missing,
)
from livecube.solves.people import known_person, shown_name

if TYPE_CHECKING:
    from livecube.own.figures import OwnFigures
    from livecube.solves.people import Person

__all__ = ["hands", "own_figures"]


@click.group(invoke_without_command=True)
@click.option("--schema", is_flag=True, help="Print the JSON Schema of such a file instead.")
@click.option("--table", is_flag=True, help="The price of each move in each state of the hands.")
@click.option("--person", metavar="NAME", help="What is known of this person's hands and eyes.")
@click.option("--json", "as_json", is_flag=True, help="With --table or --person: as JSON.")
@click.option(
    "--hands",
    "name_or_path",
    metavar="right|left|FILE",
    help="With --table: which hands (default: right, or the person's own).",
)
@click.pass_context
def hands(
    context: click.Context,
    schema: bool,
    table: bool,
    person: str | None,
    as_json: bool,
    name_or_path: str | None,
) -> None:
    """Print the usual prices of moves and looks; change a copy, and give it to --hands.

    With --person, what is known of somebody's own hands and eyes, learned from their kept solves.
    """
    if context.invoked_subcommand is not None:
        return
    if table:
        if person is not None and name_or_path is not None:
            raise UsageError("give --person or --hands")
        own = None if person is None else own_for(person).hands(None)
        automaton = own or load_hands(name_or_path or "right")
        width = screen_width()
        text = json.dumps(automaton.to_json()) if as_json else _table_text(automaton, width)
        click.echo(text)
    elif person is not None:
        _tell_own(person, as_json)
    elif as_json:
        raise UsageError("--json goes with --table or --person")
    else:
        click.echo(automaton_schema_text() if schema else usual_hands_text(), nl=False)


@hands.command()
@click.argument("one", metavar="A")
@click.argument("other", metavar="B")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def compare(one: str, other: str, as_json: bool) -> None:
    """Compare the hands and eyes of the people A and B, learned from their kept solves."""
    from livecube.own.text import compared_json, compared_lines

    (a, first), (b, second) = (own_figures(name) for name in (one, other))
    if as_json:
        click.echo(json.dumps(compared_json((a, b), (first, second))))
    else:
        names = shown_name(a), shown_name(b)
        say("\n".join(compared_lines(names, (first, second), screen_width())))


def _tell_own(name: str, as_json: bool) -> None:
    from livecube.own.text import own_json, own_lines

    person, found = own_figures(name)
    answers = _answers_of(person)
    if as_json:
        book = None if answers is None else {"answers": answers[0], "of": answers[1]}
        click.echo(json.dumps(own_json(person, found) | {"book": book}))
        return
    say("\n".join(own_lines(shown_name(person), found, screen_width())))
    if answers is not None:
        done, whole = answers
        rest = "" if done == whole else "; live and practice make the rest beside a run"
        say(f"\nThe book of beginnings for these prices has {done} of {whole} answers{rest}.")


def _answers_of(name: str) -> tuple[int, int] | None:
    """How many answers a person's own book has, and the whole one; None: they need none."""
    from livecube.search.book import all_questions, usual_book

    table = own_for(name).learned
    if table is None or len(usual_book(table.automaton).questions):
        return None
    return len(kept_book(table.automaton).questions), len(all_questions())


def own_figures(name: str) -> tuple[str, OwnFigures]:
    """A person's name, and what is known of their hands; older solves are read first.

    Raises :class:`~livecube.errors.UsageError` if nobody has the name, or if no solve of theirs
    says anything.
    """
    from livecube.own.figures import figures_of

    with History(data_folder()) as history:
        person = known_person(history.roster(), name)
        _read_older(history, person)
        usual = usual_hands(own_settings(person))
        bar = progress_bar("learning")
        task = bar.add_task("", total=LEARNING_STEPS)
        with late(bar):
            own = learned_now(history, person, usual, lambda parts: bar.advance(task, parts))
        if own is None:
            raise UsageError(
                f"no solve of {shown_name(person.name)} says anything about hands yet: it takes "
                "solves of a cube that sends its own times, and without lost turns"
            )
        return person.name, figures_of(own, kept_stages(history, person))


def _read_older(history: History, person: Person) -> None:
    """Read the logs of solves that were kept by an older livecube, with a bar."""
    older = missing(history, person)
    if not older:
        return
    habits = habits_of(person, history.roster())
    holdings_with_progress(habits)
    taker = Taker(habits)
    bar = progress_bar("reading older solves", with_time_left=True)
    task = bar.add_task("", total=len(older))
    with late(bar):
        take_missing(history, person, taker, lambda solves: bar.advance(task, solves))


def _table_text(automaton: Automaton, width: int | None) -> str:
    """One line a state, in milliseconds; a dot is a move that is never written there.

    On a narrow terminal as many moves beside one another as fit.
    """
    many = len(MOVES) if width is None else max(3, (width - 14) // 5 // 3 * 3)
    parts = []
    for first in range(0, len(MOVES), many):
        moves = slice(first, first + many)
        head = "milliseconds".ljust(14) + "".join(str(move).rjust(5) for move in MOVES[moves])
        rows = [
            name.ljust(14) + "".join("    ." if ms >= NEVER else f"{ms:5}" for ms in row[moves])
            for name, row in zip(automaton.state_names, automaton.seconds_ms.tolist(), strict=True)
        ]
        parts.append("\n".join([head, *rows]))
    return "\n\n".join(parts)
