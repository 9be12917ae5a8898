"""``livecube report``: one page of HTML about a solve, a session or a period."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

import click
import numpy as np

from livecube.cli.comparing import comparing_options, comparison_of, disguised, narrowed
from livecube.cli.history import wanted_of, wanted_options
from livecube.cli.options import focus_options, level_option
from livecube.cli.trends import (
    archive_option,
    losses_in,
    opened_source,
    practised_in,
    whose_from,
    worth_in,
)
from livecube.cli.whose import own_of_solve, own_settings, usual_hands
from livecube.edges.log_files import new_file
from livecube.edges.saying import say
from livecube.errors import UsageError
from livecube.history.folder import data_folder
from livecube.history.store import History
from livecube.trends.making import trends_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from livecube.archive.columns import Archive
    from livecube.cli.comparing import Compared
    from livecube.cli.options import FocusAsked
    from livecube.own.figures import OwnFigures
    from livecube.solves.people import Whose

__all__ = ["report"]


@click.command()
@click.argument("numbers", type=int, nargs=-1, metavar="[N]")
@click.argument("file", type=click.Path(path_type=Path), metavar="FILE.html")
@wanted_options
@click.option("--session", type=int, help="Solves of this session.")
@archive_option
@comparing_options
@focus_options
@level_option
def report(
    numbers: tuple[int, ...],
    file: Path,
    session: int | None,
    archive: Path | None,
    compared: Compared,
    focus: FocusAsked,
    level: str | None,
    **asked: str | None,
) -> None:
    """Write a page about solve N, or about all solves that the options choose, to FILE.html.

    The page needs no other file. It can be read on a phone, printed, and listened to. With --with,
    --period or --before-after it sets people or periods side by side; with --focus one technique
    over all of them.
    """
    narrow = compared.is_asked or any(
        value is not None for value in (session, archive, *asked.values())
    )
    if len(numbers) > 1 or (numbers and narrow):
        raise UsageError("name one solve, or choose solves by options")
    if file.exists():
        raise UsageError(f"{file} exists; choose another name or remove it")
    if compared.is_asked:
        text = comparison_of(compared, archive, session, focus, asked)
    else:
        _need_plots()
        named = not compared.no_names
        text = (
            _of_solve(numbers[0], level, named=named)
            if numbers
            else _of_many(archive, session, focus, asked, named=named)
        )
    with new_file(file) as out:
        out.write(text)
    say(f"written: {file}")


def _need_plots() -> None:
    if find_spec("matplotlib") is None:
        raise UsageError("a report needs matplotlib; install it: pip install 'livecube[report]'")


def _of_solve(number: int, level: str | None, *, named: bool) -> str:
    from livecube.cli.review import kept_solve, reviewed
    from livecube.composition.reviewing import positions_of
    from livecube.trends.solve_page import solve_page

    with History(data_folder(), reading=True) as history:
        solve, chances = history.solve(number), history.chances(number)
        several = len(history.people()) > 1
        positions = positions_of(solve, history.folder / solve.log)
    own = own_of_solve(number)
    review = reviewed(kept_solve(number), own, level, None)[0][1] if positions else None
    return solve_page(solve, chances, positions, review, named=several and named)


def _of_many(
    archive: Path | None,
    session: int | None,
    focus: FocusAsked,
    asked: Mapping[str, str | None],
    *,
    named: bool,
) -> str:
    # Loading matplotlib takes as long as reading a long history and computing its figures.
    with ThreadPoolExecutor(1) as beside, opened_source(archive) as source:
        loading = beside.submit(import_module, "livecube.trends.page")
        whose = whose_from(source, asked["person"], session)
        wanted = replace(wanted_of(whose, **asked), session=session)
        practised = practised_in(source, whose, wanted, focus)
        found = trends_of(
            *source.columns(wanted),
            np.random.default_rng(1),
            practised,
            worth_in(source, wanted),
            losses_in(source, wanted),
        )
        hands = _hands_of(source, whose, named=named)
    if found is None:
        raise UsageError("no kept solve with a time fits; livecube history lists all")
    title = whose.title if named or whose.person is None else disguised(whose.person)
    first = "Solves" if whose.title is None else f"Solves of {title}"
    title = ", ".join([first, *narrowed(asked, session)])
    text: str = loading.result().trends_page(found, title, hands)
    return text


def _hands_of(
    source: History | Archive, whose: Whose, *, named: bool
) -> tuple[str, OwnFigures] | None:
    """A person's name, empty if it need not be said, and what was learned of their hands."""
    if whose.person is None or not isinstance(source, History):
        return None
    from livecube.own.figures import figures_of
    from livecube.own.keeping import last_learned

    own = last_learned(source, whose.person, usual_hands(own_settings(whose.person)))
    if own is None:
        return None
    name = "" if whose.title is None else whose.title if named else disguised(whose.person)
    return name, figures_of(own, [])
