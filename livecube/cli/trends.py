"""``livecube trends``: figures of many solves, to see whether practice helps."""

from __future__ import annotations

import json
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click
import numpy as np

from livecube.cli.bars import waiting
from livecube.cli.history import wanted_of, wanted_options
from livecube.cli.options import focus_options
from livecube.cli.whose import whose_in
from livecube.edges.saying import say, screen_width
from livecube.errors import UsageError
from livecube.history.folder import data_folder
from livecube.history.store import History
from livecube.solves.people import Asked, persons_read
from livecube.trends.making import trends_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from livecube.archive.columns import Archive
    from livecube.cli.options import FocusAsked
    from livecube.solves.people import Whose
    from livecube.solves.records import Wanted
    from livecube.trends.measures import FocusColumns, LossColumns, WorthColumns

__all__ = [
    "archive_option",
    "losses_in",
    "opened_source",
    "practised_in",
    "trends",
    "whose_from",
    "worth_in",
]

_READING: Final = "working out figures"

archive_option = click.option(
    "--archive",
    type=click.Path(path_type=Path),
    metavar="FOLDER",
    help="Read this data set, which livecube archive has made, instead of the history.",
)


@contextmanager
def opened_source(archive: Path | None) -> Iterator[History | Archive]:
    """The history, or the data set in a folder, for reading, with a bar if it takes long.

    Raises :class:`~livecube.errors.UsageError` if there is no data set.
    """
    if archive is None:
        with History(data_folder(), reading=True) as history, waiting(_READING):
            yield history
        return
    try:
        from livecube.archive.columns import Archive
    except ImportError:
        raise UsageError(
            "an archive needs pyarrow; install it: pip install 'livecube[archive]'"
        ) from None
    with waiting(_READING):
        yield Archive(archive)


def whose_from(source: History | Archive, said: str | None, session: int | None) -> Whose:
    """Whose solves are read.

    Raises :class:`~livecube.errors.UsageError` if nothing says whose.
    """
    if isinstance(source, History):
        return whose_in(source, said, session)
    if session is not None:
        raise UsageError("--session goes with the history, not with --archive")
    return persons_read(source.roster(), Asked(said))


@click.command()
@wanted_options
@click.option("--session", type=int, help="Solves of this session.")
@click.option("--last", type=click.IntRange(1), help="This many of the latest.")
@archive_option
@focus_options
@click.option(
    "--seed",
    default=1,
    show_default=True,
    type=click.IntRange(0),
    help="Seed of the samples behind the intervals.",
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def trends(
    session: int | None,
    last: int | None,
    archive: Path | None,
    focus: FocusAsked,
    seed: int,
    as_json: bool,
    **asked: str | None,
) -> None:
    """Show how times, splits, pauses and chances taken develop, and what is only noise."""
    from livecube.trends.text import trends_json, trends_lines

    with opened_source(archive) as source:
        whose = whose_from(source, asked["person"], session)
        wanted = replace(wanted_of(whose, **asked), session=session, most=last)
        columns = source.columns(wanted)
        practised = practised_in(source, whose, wanted, focus)
        worth, losses = worth_in(source, wanted), losses_in(source, wanted)
        found = trends_of(*columns, np.random.default_rng(seed), practised, worth, losses)
    if found is None:
        raise UsageError("no kept solve with a time fits; livecube history lists all")
    if as_json:
        click.echo(json.dumps({"person": whose.name, **trends_json(found)}))
    else:
        say("\n".join(trends_lines(found, screen_width(), whose.title)))


def worth_in(source: History | Archive, wanted: Wanted) -> WorthColumns | None:
    """What is measured of techniques in these solves.

    None for everybody in a data set, of whom there may be many.
    """
    if wanted.person is None and not isinstance(source, History):
        return None
    return source.worth(wanted)


def losses_in(source: History | Archive, wanted: Wanted) -> LossColumns | None:
    """Pairs of these solves against the best plans; None where :func:`worth_in` is."""
    if wanted.person is None and not isinstance(source, History):
        return None
    return source.losses(wanted)


def practised_in(
    source: History | Archive, whose: Whose, wanted: Wanted, asked: FocusAsked
) -> FocusColumns | None:
    """The chances within the focus in these solves; None without a focus."""
    focus = asked.focus({} if whose.person is None else whose.person.settings)
    if focus is None:
        return None
    return source.practised(wanted, focus.techniques, focus.within_s)
