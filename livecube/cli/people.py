"""``livecube people``: who is in the home, and what is kept of each."""

from __future__ import annotations

import json
import sys
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from livecube.cli.history import since_option, until_option
from livecube.cli.settings_options import (
    SETTINGS,
    checked_settings,
    said_settings,
    settings_options,
)
from livecube.cli.whose import own_settings, usual_hands
from livecube.edges.cache import forget_search
from livecube.edges.configuration import read_configuration
from livecube.edges.habits_file import forget_account_habits
from livecube.edges.log_files import new_place
from livecube.edges.remembered import forget_cube, remembered_cube
from livecube.edges.saying import say, screen_width
from livecube.errors import UsageError
from livecube.history.folder import data_folder
from livecube.history.forgetting import forget_person
from livecube.history.people import People
from livecube.history.store import History
from livecube.history.text import people_lines, person_json
from livecube.own.keeping import used_table
from livecube.solves.people import owner_of, same, shown_name
from livecube.solves.records import Wanted

if TYPE_CHECKING:
    from collections.abc import Iterator

    from livecube.history.forgetting import Forgotten
    from livecube.solves.people import Person, PersonKept

__all__ = ["people"]

_json = click.option("--json", "as_json", is_flag=True, help="One JSON object.")


@click.group(invoke_without_command=True)
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
@click.pass_context
def people(context: click.Context, as_json: bool) -> None:
    """List the people of this home: solves, own settings, cubes, what was learned.

    With one person, no command needs a name. With several, commands ask for --person, unless the
    cube belongs to somebody, or your configuration names a person.
    """
    if context.invoked_subcommand is not None:
        return
    with History(data_folder(), reading=True) as history:
        kept = People(history).kept()
    if as_json:
        for one in kept:
            click.echo(json.dumps(person_json(one)))
    else:
        say("\n".join(people_lines(kept, width=screen_width())), deeper=12)


@people.command()
@click.argument("name")
@settings_options
@click.option("--cube", "cubes", multiple=True, metavar="NAME|ADDRESS", help="A cube of theirs.")
@_json
def add(name: str, cubes: tuple[str, ...], as_json: bool, **options: Any) -> None:
    """Add the person NAME, with settings of their own if you like.

    They come before those of your configuration, and after the options of a command.
    """
    settings = said_settings(options)
    checked_settings(settings)
    with History(data_folder()) as history:
        person = People(history).add(name, settings, cubes)
        _tell(People(history).one(person.name), as_json)


@people.command("set")
@click.argument("name")
@settings_options
@click.option("--cube", "cubes", multiple=True, metavar="NAME|ADDRESS", help="A cube of theirs.")
@click.option("--no-cube", "no_cubes", multiple=True, metavar="NAME|ADDRESS", help="Not theirs.")
@click.option(
    "--clear",
    multiple=True,
    type=click.Choice(SETTINGS),
    metavar="SETTING",
    help=f"Go back to the configuration: {', '.join(SETTINGS)}.",
)
@_json
def change(
    name: str,
    cubes: tuple[str, ...],
    no_cubes: tuple[str, ...],
    clear: tuple[str, ...],
    as_json: bool,
    **options: Any,
) -> None:
    """Change the settings and cubes of the person NAME."""
    settings = said_settings(options)
    with History(data_folder()) as history, history.together():
        person = People(history).change(
            name, settings, without=clear, cubes=cubes, without_cubes=no_cubes
        )
        checked_settings(person.settings)
        _tell(People(history).one(person.name), as_json)


@people.command()
@click.argument("name")
@click.argument("new")
@_json
def rename(name: str, new: str, as_json: bool) -> None:
    """Give the person NAME the name NEW; everything else stays."""
    with History(data_folder()) as history:
        person = People(history).rename(name, new)
        _tell(People(history).one(person.name), as_json)
    if not as_json and _is_configured(name) and not same(name, new):
        say(f"Your configuration still says person {name!r}: {read_configuration().file}", err=True)


@people.command()
@click.argument("source", metavar="FROM")
@click.argument("target", metavar="TO")
@click.argument("numbers", type=int, nargs=-1)
@since_option
@until_option
@_json
def move(
    source: str,
    target: str,
    numbers: tuple[int, ...],
    since: str | None,
    until: str | None,
    as_json: bool,
) -> None:
    """Move solves of the person FROM to the person TO: all, those NUMBERS, or those of some days.

    Drills, settings and what was learned stay where they are.
    """
    if numbers and (since or until):
        raise UsageError("give numbers of solves, or days")
    wanted = numbers or Wanted(since=since, until=until)
    with History(data_folder()) as history:
        moved = People(history).move(source, target, wanted)
        taker = People(history).one(target).person.name
        giver = People(history).one(source).person.name
    if as_json:
        click.echo(json.dumps({"from": giver, "to": taker, "numbers": moved}))
    else:
        count = f"{len(moved)} solve{'' if len(moved) == 1 else 's'}"
        say(f"{count} moved from {shown_name(giver)} to {shown_name(taker)}")


@people.command()
@click.argument("name")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE.zip")
@_json
def export(name: str, file: Path, as_json: bool) -> None:
    """Write everything that is kept of the person NAME into FILE.zip.

    Solves (as CSV and as JSON lines), the log of each, drills, settings, and what was learned.
    """
    from livecube.history.exporting import write_person

    with History(data_folder(), reading=True) as history:
        person = People(history).one(name).person
        with new_place(file):
            solves = write_person(history, person.name, file)
    if as_json:
        click.echo(json.dumps({"person": person.name, "file": str(file), "solves": solves}))
    else:
        say(f"written: {file}, with {solves} solves of {shown_name(person.name)}")


@people.command()
@click.argument("name")
@click.option("--yes", is_flag=True, help="Do not ask.")
@_json
def forget(name: str, yes: bool, as_json: bool) -> None:
    """Delete the person NAME with their solves, logs, drills, settings and what was learned.

    It cannot be undone. At the end it says what livecube cannot delete.
    """
    with History(data_folder()) as history:
        kept = People(history).one(name)
        if not yes:
            _confirm(kept)
        own = None
        with suppress(UsageError):  # the file of their prices may be gone
            usual = usual_hands(own_settings(kept.person))
            own = used_table(history, kept.person, usual)
        forgotten = forget_person(history, kept.person.name)
    if own is not None and own.automaton.fingerprint != usual.fingerprint:
        forget_search(own.automaton.fingerprint)
    left = [*_left(kept.person, forgotten)]
    if as_json:
        click.echo(
            json.dumps(
                {
                    "forgotten": forgotten.name,
                    "solves": forgotten.solves,
                    "drills": forgotten.drills,
                    "left": left,
                }
            )
        )
        return
    solves = f"{forgotten.solves} solve{'' if forgotten.solves == 1 else 's'}"
    say(f"{shown_name(forgotten.name)} is forgotten: {solves}, {forgotten.drills} drills.")
    for sentence in left:
        say(sentence)


def _confirm(kept: PersonKept) -> None:
    """Ask at a terminal.

    Raises :class:`~livecube.errors.UsageError` if there is none to ask.
    """
    if sys.stdin is None or not sys.stdin.isatty():
        raise UsageError("this cannot be undone; add --yes if you are sure")
    name = shown_name(kept.person.name)
    click.confirm(
        f"Delete {kept.solves} solves and {kept.drills} drills of {name}, for ever?",
        abort=True,
        err=True,
    )


def _left(person: Person, forgotten: Forgotten) -> Iterator[str]:
    """What could not be deleted, and what else goes with a person; a sentence each."""
    from livecube.dashboard.outbox import emptied_outboxes
    from livecube.dashboard.own_desk import state_folder

    forget_account_habits()  # perhaps theirs; with other people nobody uses them
    cube = remembered_cube()
    if cube is not None and owner_of([person], (cube.address, cube.name or "")) is not None:
        forget_cube()
    boxes = [*state_folder().glob("outbox-*")]
    waiting, held = emptied_outboxes(state_folder())
    if not forgotten.whole:
        yield "Another program has the history open: deleted bytes stay in its files until it ends."
    if waiting:
        yield f"{waiting} messages that waited for a broker went too: they name nobody."
    for path in held:
        yield f"Messages are left in {path}; delete it when no livecube publishes."
    if boxes or read_configuration().table("mqtt")["url"]:
        yield "A broker keeps the desk's last messages: livecube mqtt forget deletes them there."
    for path in sorted(data_folder().glob("history.broken-*.sqlite")):
        yield f"A broken history was moved aside and may hold their solves: {path}"
    if (hands := person.settings.get("hands")) not in (None, "right", "left"):
        yield f"The prices of their hands are in a file of yours: {hands}"
    if _is_configured(person.name):
        yield f"Your configuration still names them: {read_configuration().file}"
    yield "Files that you wrote yourself stay: logs, reports, exports, copies of folders."


def _is_configured(name: str) -> bool:
    configured = read_configuration().table("practice")["person"]
    return configured is not None and same(str(configured), name)


def _tell(kept: PersonKept, as_json: bool) -> None:
    if as_json:
        click.echo(json.dumps(person_json(kept)))
    else:
        say("\n".join(people_lines([kept], width=screen_width())), deeper=12)
