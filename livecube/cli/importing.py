"""Importing many logs with a progress bar."""

from __future__ import annotations

import json
import sys
from typing import TYPE_CHECKING

import click

from livecube.cli.bars import progress_bar
from livecube.cli.options import holdings_with_progress
from livecube.cli.whose import habits_of, read_roster
from livecube.edges.saying import say, screen_width
from livecube.errors import LogError, UsageError
from livecube.history.folder import data_folder
from livecube.history.importing import Imported, import_log, log_files
from livecube.history.store import History
from livecube.own.keeping import Taker
from livecube.solves.people import named
from livecube.views.lines import counted, folded

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

__all__ = ["import_all"]


def import_all(paths: Sequence[Path], person: str, *, as_json: bool) -> None:
    """Import logs and folders; unreadable logs are reported and left out.

    So are files that are not regular: reading a pipe or a device may never end. Raises
    :class:`~livecube.errors.UsageError` at the end if a log could not be read.
    """
    files = log_files(paths)
    added = known = skipped = broken = timeless = 0
    people = read_roster()
    own = habits_of(named(people, person), people)
    holdings, taker = holdings_with_progress(own), Taker(own)
    with (
        History(data_folder()) as history,
        progress_bar("importing", with_time_left=True) as bar,
    ):
        history.hindsight, history.take = holdings.hindsight, taker.take
        task = bar.add_task("", total=len(files.logs))

        def remark(sentence: str) -> None:
            width = screen_width(sys.stderr)
            for line in folded([f"livecube: {sentence}"], width):
                bar.console.print(line, highlight=False, markup=False, soft_wrap=True)

        for path in files.passed_over:
            remark(f"{path}: passed over, since it is not a regular file")
        for path in files.logs:
            try:
                came = import_log(history, path, person)
            except LogError as error:
                broken += 1
                remark(str(error))
                _tell(as_json, path, None, str(error))
            else:
                skipped += came is None
                one = came or Imported()
                added, known = added + len(one.added), known + one.known
                timeless += one.timeless
                if one.timeless:
                    remark(f"{path}: {one.timeless} of its solves took no time, and have no result")
                _tell(as_json, path, one, None)
            bar.advance(task)
    if not as_json:
        say(
            f"{counted(len(files.logs), 'log')}: {counted(added, 'new solve')}, {known} known "
            f"before; already imported: {counted(skipped, 'log')}; not readable: {broken}"
        )
    if broken:
        raise UsageError(
            f"{broken} of {len(files.logs)} logs could not be read; the rest is imported"
        )


def _tell(as_json: bool, path: Path, came: Imported | None, error: str | None) -> None:
    if as_json:
        told = {
            "log": str(path),
            "added": list(came.added) if came else [],
            "known": came.known if came else 0,
            "torn": came.torn if came else False,
            "timeless": came.timeless if came else 0,
            "error": error,
        }
        click.echo(json.dumps(told))
