"""Makes a new history from the readable parts of a broken one and from the logs beside it."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Final

from livecube.edges.log_files import LogReader
from livecube.errors import KeepingError, LogError, UsageError
from livecube.history.database import check_nobody_has, open_database
from livecube.history.rows import insert_stages
from livecube.history.store import DATABASE, History
from livecube.solves.reading import solves_in
from livecube.solves.records import Wanted

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

__all__ = ["Rescued", "rescue"]

_TABLES: Final = (
    "person", "session", "solve", "stage", "split", "penalty", "tag", "chance", "price", "plan",
    "reviewed", "chance_card", "imported", "change", "drill_try", "drill_card", "drill_round",
    "owned_cube", "learned", "used_number", "taken", "lesson_step", "lesson_stop", "task",
)  # fmt: skip
"""Tables that others refer to come first."""
_ENDS: Final = ("", "-wal", "-shm")


@dataclass(frozen=True, slots=True)
class Rescued:
    """The result of a rescue."""

    solves: int
    """Number of solves in the new history."""
    from_logs: int
    """How many of them, or of their stages, came from the logs."""
    aside: Path
    """The present place of the broken file."""


def rescue(folder: Path) -> Rescued:
    """Put a new history in the place of a broken one, which is moved aside.

    Readable rows are taken over with their numbers; missing rows are read from the solves' logs.
    Raises :class:`~livecube.errors.UsageError` if there is no history, and
    :class:`~livecube.errors.KeepingError` if it cannot be written, or if another program has it
    open: new solves of that program would be lost with the broken file.
    """
    old = folder / DATABASE
    if not old.exists():
        raise UsageError(f"{old} does not exist; there is nothing to rescue")
    check_nobody_has(old)
    aside = _free_name(folder)
    try:
        with TemporaryDirectory(dir=folder) as place:
            _copy_rows(old, Path(place) / DATABASE)
            for end in _ENDS:
                with suppress(FileNotFoundError):
                    (folder / f"{DATABASE}{end}").rename(folder / f"{aside.name}{end}")
            (Path(place) / DATABASE).rename(old)
    except OSError as error:
        raise KeepingError(f"{folder} cannot be written: {error.strerror}") from None
    with History(folder) as history:
        from_logs = _take_from_logs(history)
        return Rescued(len(history.list(Wanted())), from_logs, aside)


def _free_name(folder: Path) -> Path:
    stamp = datetime.now(UTC).strftime("%Y%m%d-%H%M%S")
    names = (folder / f"history.broken-{stamp}{end}.sqlite" for end in ("", *range(1, 1000)))
    return next(name for name in names if not name.exists())


def _copy_rows(old: Path, new: Path) -> None:
    """Make a new database from the readable rows of an old one."""
    work = new.with_name("old.sqlite")
    for end in _ENDS[:2]:
        with suppress(FileNotFoundError):
            shutil.copyfile(f"{old}{end}", f"{work}{end}")
    with closing(open_database(new)) as made:
        made.execute("PRAGMA foreign_keys = OFF")
        # Rows whose owner is lost are dropped; on closing the database becomes a single file.
        with closing(sqlite3.connect(work, isolation_level=None)) as broken:
            for table in _TABLES:
                _copy_table(broken, made, table)
        for table in _TABLES:
            rows = made.execute(f"PRAGMA foreign_key_check({table})").fetchall()
            for _, rowid, _, _ in rows:
                if rowid is not None:
                    made.execute(f"DELETE FROM {table} WHERE rowid = ?", (rowid,))
        for table in ("stage", "penalty", "tag", "price", "plan", "chance_card"):
            made.execute(f"DELETE FROM {table} WHERE solve NOT IN (SELECT id FROM solve)")
        for table in ("drill_card", "owned_cube", "learned"):
            made.execute(f"DELETE FROM {table} WHERE person NOT IN (SELECT id FROM person)")
        made.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        made.execute("PRAGMA journal_mode = DELETE")


def _copy_table(broken: sqlite3.Connection, made: sqlite3.Connection, table: str) -> None:
    there = _columns(broken, table)
    described = made.execute(f"PRAGMA table_info({table})").fetchall()
    described = [column for column in described if column[1] in there]
    if not described:
        return
    columns = ", ".join(name for _, name, *_ in described)
    key = ", ".join(f"{name}" for _, name, _, _, _, is_key in described if is_key)
    back = ", ".join(f"{name} DESC" for name in key.split(", "))
    marks = ", ".join("?" * len(described))
    made.execute("BEGIN")
    # From both ends: an unreadable page stops each of them.
    for order in (key, back):
        for row in _readable(broken, f"SELECT {columns} FROM {table} ORDER BY {order}"):
            with suppress(sqlite3.IntegrityError, OverflowError):
                made.execute(f"INSERT OR IGNORE INTO {table} ({columns}) VALUES ({marks})", row)
    made.execute("COMMIT")


def _columns(broken: sqlite3.Connection, table: str) -> set[str]:
    """The columns that a table has in the broken file, which an older livecube may have made."""
    return {str(name) for _, name, *_ in _readable(broken, f"PRAGMA table_info({table})")}


def _readable(broken: sqlite3.Connection, query: str) -> Iterator[Sequence[object]]:
    """The rows up to the first that cannot be read."""
    try:
        yield from broken.execute(query)
    except (sqlite3.Error, UnicodeDecodeError):
        return


def _take_from_logs(history: History) -> int:
    """Add missing rows from the solves' own logs; returns how many solves gained some."""
    helped = 0
    for path in sorted((history.folder / "solves").glob("*/*.jsonl")):
        try:
            with LogReader(path) as reader:
                found = list(solves_in(reader.header, reader))
        except (LogError, OSError):
            continue
        for one in found:
            number = history.number_of(one.kept.listed.identity)
            if number is None:
                helped += history.keep(one, history.unnamed()) is not None
            elif not history.stages(number):
                with history.together():
                    insert_stages(history.database, number, one.kept.stages)
                helped += 1
    return helped
