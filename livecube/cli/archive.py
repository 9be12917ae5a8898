"""``livecube archive``: years of solves, reviewed on many cores, as a data set of Parquet files."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

import click

from livecube.cli.bars import progress_bar
from livecube.cli.options import advisor_with_progress, holdings_with_progress, level_option
from livecube.edges.saying import say
from livecube.errors import UsageError
from livecube.solves.people import parse_person
from livecube.solves.records import NOBODY
from livecube.views.lines import counted

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.archive.folder import DataSet
    from livecube.archive.logs import Log

__all__ = ["archive"]

_TO = click.option(
    "--to", "to", required=True, type=click.Path(path_type=Path), help="The data set's folder."
)


@click.group()
def archive() -> None:
    """Review years of solves on many cores, and keep the results as Parquet files."""
    for module in ("pyarrow", "distributed"):
        if find_spec(module) is None:
            raise UsageError(
                f"an archive needs {module}; install it: pip install 'livecube[archive]'"
            )


@archive.command()
@click.argument("logs", nargs=-1, required=True, type=click.Path(path_type=Path))
@_TO
@click.option("--person", metavar="NAME", help="Whose the logs are that are in no history.")
@click.option(
    "--by-folder", is_flag=True, help="Each log is of the person that its folder is named after."
)
@level_option
@click.option("--workers", type=click.IntRange(1), help="Processes on this machine; else a core's.")
@click.option("--scheduler", metavar="ADDRESS", help="A Dask scheduler whose workers do the work.")
def review(
    logs: tuple[Path, ...],
    to: Path,
    person: str | None,
    by_folder: bool,
    level: str | None,
    workers: int | None,
    scheduler: str | None,
) -> None:
    """Review LOGS (logs, folders with logs, folders of histories) and add them to a data set.

    Logs that were added before are left out. A log that cannot be read is set aside with its
    reason. Ctrl-C ends it; the same command goes on later.
    """
    from livecube import __version__
    from livecube.archive.folder import Making, opened
    from livecube.archive.logs import batches_of, found_logs
    from livecube.composition.archiving import add_batches, cluster
    from livecube.edges.automaton_file import load_hands

    if person is not None and by_folder:
        raise UsageError("--person and --by-folder exclude each other")
    if workers is not None and scheduler is not None:
        raise UsageError("--workers goes with this machine's cores, not with --scheduler")
    whose = parse_person(person or NOBODY)
    level = level or "calm"
    with opened(to, Making(level, load_hands().fingerprint, __version__)) as data:
        with progress_bar("finding logs") as bar:
            task = bar.add_task("", total=None)
            found = found_logs(
                logs,
                lambda path: parse_person(path.absolute().parent.name) if by_folder else whose,
                lambda logs: bar.advance(task, logs),
            )
        for path in found.passed_over:
            say(f"livecube: {path}: passed over, since it is not a regular file", err=True)
        batches = [*batches_of(found.logs, data.logs)]
        data.forget_waiting({batch.key for batch in batches})
        if batches and scheduler is None:  # made once, not by every worker
            advisor_with_progress(level)
            holdings_with_progress()
        new = known = 0
        if batches:
            with (
                cluster(scheduler, workers) as client,
                progress_bar("reviewing", with_time_left=True) as bar,
            ):
                task = bar.add_task("", total=sum(one.size for b in batches for one in b.logs))

                def step(done: Sequence[Log]) -> None:
                    bar.advance(task, sum(one.size for one in done))

                new, known = add_batches(data, batches, client, level, step)
        _tell(data, found.logs, {log.digest for b in batches for log in b.logs}, new, known)


def _tell(data: DataSet, logs: Sequence[Log], fresh: set[str], new: int, known: int) -> None:
    broken = [data.logs[digest] for digest in sorted(fresh) if data.logs[digest].broken]
    for note in broken:
        say(f"livecube: {note.log}: {note.broken}", err=True)
    say(
        f"{counted(len(logs), 'log')}: {counted(new, 'new solve')}, {known} known before; added "
        f"before: {counted(len(logs) - len(fresh), 'log')}; set aside: {len(broken)}"
    )


@archive.command("publish")
@click.argument("folder", type=click.Path(path_type=Path))
@_TO
def published(folder: Path, to: Path) -> None:
    """Write the data set in FOLDER once more without names, for studies.

    People are numbers, and dates are weeks. Turns and times stay, so somebody who knows some of
    a person's solves can find that person: it is pseudonymous, not anonymous.
    """
    import numpy as np

    from livecube.archive.folder import people_of
    from livecube.archive.publishing import publish

    with progress_bar("publishing", with_time_left=True) as bar:
        task = bar.add_task("", total=len(people_of(folder)))
        # Nobody can draw the same numbers again.
        solves = publish(folder, to, np.random.default_rng(), lambda: bar.advance(task, 1))
    say(f"{to}: {counted(solves, 'solve')}, pseudonymous, not anonymous")
