"""Deleting a person with everything that is kept of them."""

from __future__ import annotations

import json
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

from livecube.errors import KeepingError
from livecube.history.database import emptied
from livecube.history.logs import logs_of_sessions, logs_of_solves
from livecube.history.people import DRILLED, LESSONS, People
from livecube.solves.people import known_person

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Sequence
    from pathlib import Path

    from livecube.history.store import History

__all__ = ["Forgotten", "forget_person"]

_THEIR_ROWS: Final = ("solve", "session", *DRILLED, *LESSONS, "learned", "owned_cube")


@dataclass(frozen=True, slots=True)
class Forgotten:
    """What was deleted with a person."""

    name: str
    solves: int
    drills: int
    cubes: tuple[str, ...]
    whole: bool
    """False: another program has the history open, and old bytes stay until it ends."""


def forget_person(history: History, name: str) -> Forgotten:
    """Delete a person with everything that is kept of them, also from the file's free space.

    The logs go first. If it breaks off after that, the person is still there, and it can be
    repeated. Raises :class:`~livecube.errors.KeepingError` if one of their sessions is under way,
    or if a log cannot be deleted.
    """
    database = history.database
    with history.together():
        person = known_person(history.roster(), name)
        rows = database.execute("SELECT id, log FROM solve WHERE person = ?", (person.number,))
        logs = dict(rows.fetchall())
        drills = People(history).one(person.name).drills
        found = Forgotten(person.name, len(logs), drills, person.cubes, whole=False)
        rows = database.execute("SELECT id FROM session WHERE person = ?", (person.number,))
        sessions = {number for (number,) in rows}
        under_way = logs_of_sessions(history.folder, sessions)
        _delete([*under_way, *logs_of_solves(history.folder, logs.values())])
        _delete_changes(database, {*logs})
        _delete_rows(database, person.number)
    return replace(found, whole=emptied(database))


def _delete(logs: Sequence[Path]) -> None:
    for path in logs:
        try:
            path.unlink(missing_ok=True)
        except OSError as error:
            raise KeepingError(f"{path} cannot be deleted: {error.strerror}") from None
    for month in {path.parent for path in logs}:
        with suppress(OSError):  # others' logs are there
            month.rmdir()


def _delete_changes(database: sqlite3.Connection, solves: set[int]) -> None:
    """Take the solves out of the record of changes that can be undone."""
    for change, text in database.execute("SELECT id, before FROM change").fetchall():
        before = json.loads(text)
        left = _without(before, solves)
        if left is None:
            database.execute("DELETE FROM change WHERE id = ?", (change,))
        elif left != before:
            database.execute(
                "UPDATE change SET before = ? WHERE id = ?", (json.dumps(left), change)
            )


def _without(before: dict[str, Any], solves: set[int]) -> dict[str, Any] | None:
    """The record of a change without these solves; None if nothing is left of it."""
    if "number" in before:
        return None if before["number"] in solves else before
    left = [number for number in before["numbers"] if number not in solves]
    return before | {"numbers": left} if left or not before["numbers"] else None


def _delete_rows(database: sqlite3.Connection, person: int) -> None:
    for table in ("solve", "session"):
        query = f"SELECT max(id) FROM {table} WHERE person = ?"
        (last,) = database.execute(query, (person,)).fetchone()
        if last is not None:
            _use_up(database, table, last)
    _use_up(database, "person", person)
    # Of older imports nobody knows whose they were. A file without a row is only read again.
    database.execute("DELETE FROM imported WHERE person = ? OR person IS NULL", (person,))
    for table in _THEIR_ROWS:
        database.execute(f"DELETE FROM {table} WHERE person = ?", (person,))
    database.execute("DELETE FROM person WHERE id = ?", (person,))


def _use_up(database: sqlite3.Connection, table: str, number: int) -> None:
    """Note that numbers up to this one are not given again."""
    database.execute(
        "INSERT INTO used_number (what, number) VALUES (?, ?) "
        "ON CONFLICT (what) DO UPDATE SET number = max(number, excluded.number)",
        (table, number),
    )
