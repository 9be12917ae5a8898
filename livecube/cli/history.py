"""``livecube history``: the kept solves, listed, changed, imported, exported."""

from __future__ import annotations

import json
import re
import sys
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from livecube.cli.bars import waiting
from livecube.cli.whose import keeper, whose_in
from livecube.cube.holding import COLOURS
from livecube.edges.log_files import new_file, new_place
from livecube.edges.saying import say, screen_width
from livecube.errors import UsageError
from livecube.history.folder import data_folder
from livecube.history.store import History
from livecube.history.text import (
    chance_json,
    kept_json,
    kept_lines,
    listed_json,
    listed_lines,
    summary_lines,
)
from livecube.solves.records import Wanted
from livecube.timing.results import parse_penalties
from livecube.views.lines import counted

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from livecube.solves.people import Whose

__all__ = [
    "history",
    "moments_named",
    "since_option",
    "until_option",
    "wanted_of",
    "wanted_options",
]

_DAY: Final = re.compile(r"\d{4}(-\d{2}(-\d{2})?)?")
_SHOWN: Final = 25


def _day(_context: click.Context, option: click.Parameter, text: str | None) -> str | None:
    """The first or last moment of a local day, month or year, in UTC as in the history."""
    if text is None:
        return None
    try:
        first, last = moments_named(text)
        named = first if option.name == "since" else last
        return named.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    except (UsageError, OverflowError):
        raise click.BadParameter(
            f"{text!r} is not a day; write 2026-03-01, 2026-03 or 2026.", param=option
        ) from None


def moments_named(text: str) -> tuple[datetime, datetime]:
    """The first and the last second of a local day, month or year.

    Raises :class:`~livecube.errors.UsageError` if it does not exist.
    """
    try:
        if not _DAY.fullmatch(text):
            raise ValueError
        first, behind = _days_named(text)
    except (ValueError, OverflowError):
        raise UsageError(f"{text!r} is not a day; write 2026-03-01, 2026-03 or 2026") from None
    return first, behind - timedelta(seconds=1)


def _days_named(text: str) -> tuple[datetime, datetime]:
    """The local beginning of a day, month or year, and that of the next one.

    Raises ``ValueError`` if it does not exist.
    """
    numbers = [int(part) for part in text.split("-")]
    first = datetime(*numbers, *(1,) * (3 - len(numbers)))  # type: ignore[arg-type]
    if len(numbers) == 3:
        return first, first + timedelta(days=1)
    if len(numbers) == 2:
        return first, (first + timedelta(days=31)).replace(day=1)
    return first, first.replace(year=first.year + 1)


since_option = click.option(
    "--since", callback=_day, metavar="DAY", help="First day, here; also 2026-03 or 2026."
)
until_option = click.option(
    "--until", callback=_day, metavar="DAY", help="Last day, in the same form."
)

_OPTIONS: Final = (
    since_option,
    until_option,
    click.option("--tag", help="With this tag."),
    click.option("--technique", help="With a stage done by this technique: keyhole-corner, …"),
    click.option("--cross", type=click.Choice(COLOURS), help="Colour of the cross."),
    click.option("--person", metavar="NAME|any", help="Whose solves; any: everybody's."),
)


def wanted_options(command: Callable[..., None]) -> Callable[..., None]:
    """The options that choose solves."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


@click.group(invoke_without_command=True)
@wanted_options
@click.option(
    "--last",
    type=click.IntRange(1),
    help=f"This many of the latest; {_SHOWN} unless other options choose.",
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
@click.pass_context
def history(
    context: click.Context, /, last: int | None, as_json: bool, **asked: str | None
) -> None:
    """List the kept solves; the latest come last.

    They are in your system's data folder for livecube, or in the one that LIVECUBE_DATA names.
    """
    if context.invoked_subcommand is not None:
        return
    is_narrow = any(value is not None for value in asked.values())
    most = last or (None if is_narrow or as_json else _SHOWN)
    with History(data_folder(), reading=True) as kept, waiting("reading solves"):
        whose = whose_in(kept, asked["person"])
        solves = kept.list(replace(wanted_of(whose, **asked), most=most))
        lines = [] if as_json else listed_lines(solves, width=screen_width(), whose=whose)
    if as_json:
        for solve in solves:
            click.echo(json.dumps(listed_json(solve)))
        return
    say("\n".join([*lines, *summary_lines(solves)]))


@history.command()
@click.argument("number", type=int)
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def show(number: int, as_json: bool) -> None:
    """Show solve NUMBER (livecube history lists them) with its stages."""
    with History(data_folder(), reading=True) as kept:
        solve, chances, prices = kept.solve(number), kept.chances(number), kept.prices(number)
        several = len(kept.people()) > 1
    if as_json:
        found = {
            "chances": [chance_json(chance) for chance in chances],
            "prices": [price._asdict() for price in prices],
        }
        click.echo(json.dumps({**kept_json(solve), **found}))
    else:
        say("\n".join(kept_lines(solve, chances, width=screen_width(), named=several)))


@history.command()
@click.argument("numbers", type=int, nargs=-1, required=True)
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def delete(numbers: tuple[int, ...], as_json: bool) -> None:
    """Delete the solves with these NUMBERS; undo brings them back."""
    with History(data_folder()) as kept:
        kept.delete(numbers)
    _say(
        as_json,
        f"deleted: {_list(numbers)}; livecube history undo brings them back",
        deleted=numbers,
    )


@history.command()
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def undo(as_json: bool) -> None:
    """Undo the last deletion, tag or correction; again for the one before."""
    with History(data_folder()) as kept:
        undone = kept.undo()
    _say(as_json, undone or "there is nothing to undo", undone=undone)


@history.command()
@click.argument("name")
@click.argument("numbers", type=int, nargs=-1, required=True)
@click.option("--off", is_flag=True, help="Remove the tag.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def tag(name: str, numbers: tuple[int, ...], off: bool, as_json: bool) -> None:
    """Give the solves with these NUMBERS the tag NAME."""
    if name.split() != [name] or not name.isprintable():
        raise UsageError(f"{name!r} is not a tag; give one word")
    with History(data_folder()) as kept:
        kept.tag(numbers, name, on=not off)
    verb = "taken from" if off else "given to"
    _say(as_json, f"tag {name} {verb}: {_list(numbers)}", tag=name, off=off, numbers=numbers)


@history.command()
@click.argument("number", type=int)
@click.argument("decision", metavar="none|+2|+4|DNF|measured")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def penalty(number: int, decision: str, as_json: bool) -> None:
    """Set the penalties of solve NUMBER; the record also shows the measured ones."""
    decided = None if decision == "measured" else parse_penalties(decision)
    with History(data_folder()) as kept:
        kept.correct(number, decided)
        solve = kept.solve(number).listed
    if as_json:
        click.echo(json.dumps(listed_json(solve)))
    else:
        say(f"solve {number}: {solve.workings}")


@history.command()
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def rescue(as_json: bool) -> None:
    """Make a new history from the readable parts of a broken one.

    Solves, tags, corrections and cards are taken over. Missing ones are read from the solves'
    own logs, and the broken file is moved aside.
    """
    from livecube.history.rescuing import rescue as rescued

    found = rescued(data_folder())
    sentence = (
        f"the new history holds {counted(found.solves, 'solve')}, {found.from_logs} of them from "
        f"their logs; the old one is {found.aside}"
    )
    _say(as_json, sentence, solves=found.solves, from_logs=found.from_logs, aside=str(found.aside))


@history.command("import")
@click.argument("logs", type=click.Path(path_type=Path), nargs=-1, required=True)
@click.option("--person", metavar="NAME", help="Whose solves they are.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a log.")
def import_logs(logs: tuple[Path, ...], person: str | None, as_json: bool) -> None:
    """Import LOGS, or all logs in folders; solves that are already there are not added again.

    It can be interrupted and repeated at any time.
    """
    from livecube.cli.importing import import_all

    import_all(logs, keeper(person), as_json=as_json)


@history.command()
@wanted_options
@click.option("--csv", "form", flag_value="csv", default="csv", help="One row a solve (default).")
@click.option("--json", "form", flag_value="json", help="One object a line, with stages.")
@click.option("--parquet", "form", flag_value="parquet", help="Needs livecube[parquet], --to.")
@click.option("--to", type=click.Path(path_type=Path), help="The new file; else standard output.")
def export(form: str, to: Path | None, **asked: str | None) -> None:
    """Export solves for other programs."""
    from livecube.history import exporting

    if form == "parquet" and to is None:
        raise UsageError("Parquet is not text; give --to FILE")
    with History(data_folder(), reading=True) as kept:
        solves = kept.solves(wanted_of(whose_in(kept, asked["person"]), **asked))
    if form == "parquet" and to is not None:
        with new_place(to):
            exporting.write_parquet(solves, to)
        return
    write = exporting.write_json if form == "json" else exporting.write_csv
    if to is None:
        write(solves, sys.stdout)
        return
    with new_file(to) as out:
        write(solves, out)


def wanted_of(whose: Whose, **asked: str | None) -> Wanted:
    """The choice of one person's solves by the options of :func:`wanted_options`."""
    return Wanted(
        since=asked["since"],
        until=asked["until"],
        tag=asked["tag"],
        technique=asked["technique"],
        cross=asked["cross"],
        person=whose.name,
    )


def _list(numbers: Sequence[int]) -> str:
    return ", ".join(map(str, numbers))


def _say(as_json: bool, sentence: str, **told: Any) -> None:
    if as_json:
        click.echo(json.dumps(told))
    else:
        say(sentence)
