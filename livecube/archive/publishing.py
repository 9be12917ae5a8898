"""A data set for others: numbers instead of people, weeks instead of days.

That is pseudonymous, not anonymous: somebody who knows some of a person's times or scrambles can
find that person again.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from livecube.archive.folder import people_of, read_making, read_rows, write_making, write_parts
from livecube.archive.rows import UNDATED
from livecube.archive.schema import FOLDERS, TABLES
from livecube.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

__all__ = ["publish"]


def publish(folder: Path, to: Path, rng: np.random.Generator, step: Callable[[], None]) -> int:
    """Write the solves of a data set to a new folder, without names; returns how many there are.

    People get numbers at random. Solves get numbers in the order in which they were made, and so
    do a person's sessions. Identities, scrambles and tags are left out. A start is the Monday of
    its week (UTC). Turns and their times stay. ``step`` is called for each person.

    Raises :class:`~livecube.errors.UsageError` if ``folder`` holds no data set, or ``to`` holds
    anything.
    """
    making = read_making(folder)
    if to.exists() and (not to.is_dir() or any(to.iterdir())):
        raise UsageError(f"{to} is not empty; name a new folder")
    people = people_of(folder)
    done = 0
    for number, at in enumerate(rng.permutation(len(people)), start=1):
        tables = {name: read_rows(folder, name, _columns_of(name), people[at]) for name in TABLES}
        write_parts(to, _without_names(tables, str(number), done))
        done += len(tables["solves"])
        step()
    # Last, since it makes the folder a data set.
    write_making(to, replace(making, names=False))
    return done


def _columns_of(name: str) -> list[str]:
    return [*TABLES[name].names, *(FOLDERS.names if name == "solves" else ())]


def _without_names(tables: dict[str, pa.Table], person: str, first: int) -> dict[str, pa.Table]:
    """All rows of a person whose solves are numbered from ``first`` on."""
    solves = tables["solves"].sort_by([("started", "ascending"), ("solve", "ascending")])
    old = solves["solve"].to_numpy()
    order = old.argsort()
    number = first + order  # of the solves in the order of their old numbers

    def renumbered(table: pa.Table) -> pa.Table:
        new = number[np.searchsorted(old[order], table["solve"].to_numpy())]
        return table.set_column(0, table.schema.field("solve"), pa.array(new, pa.int64()))

    changed = {name: renumbered(table) for name, table in (tables | {"solves": solves}).items()}
    solves, count = changed["solves"], len(solves)
    week = pc.floor_temporal(solves["started"], unit="week")
    months = pc.fill_null(pc.strftime(week, "%Y-%m"), UNDATED)
    sessions = solves["session"].combine_chunks().dictionary_encode().indices
    for name, values in {
        "identity": pa.nulls(count, pa.string()),
        "started": week,
        "session": sessions.cast(pa.string()),
        "scramble": pa.nulls(count, pa.string()),
        "tags": pa.array([[]] * count, pa.list_(pa.string())),
        "person": pa.array([person] * count),
        "month": months,
    }.items():
        at = solves.schema.get_field_index(name)
        solves = solves.set_column(at, solves.schema.field(name), values)
    return changed | {"solves": solves}
