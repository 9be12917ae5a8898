"""Opening the database: write-ahead log, foreign keys, migrations."""

from __future__ import annotations

import sqlite3
from typing import TYPE_CHECKING, Final

from livecube.edges.history.schema import MIGRATIONS
from livecube.errors import UsageError

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["open_database"]

_BUSY_S: Final = 10.0
"""How long is waited for another program that writes."""


def open_database(path: Path) -> sqlite3.Connection:
    """Open the database, made or brought to the present version if need be.

    Every statement commits by itself unless a transaction is begun. Raises
    :class:`~livecube.errors.UsageError` if it cannot be opened, or is of a newer version.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        # Sinks use it in threads, one after the other.
        database = sqlite3.connect(
            path, timeout=_BUSY_S, isolation_level=None, check_same_thread=False
        )
    except (OSError, sqlite3.Error) as error:
        raise UsageError(f"{path} cannot be opened: {error}; see to the folder") from None
    try:
        database.execute("PRAGMA journal_mode = WAL")
        database.execute("PRAGMA synchronous = FULL")  # what is committed survives a power cut
        database.execute("PRAGMA foreign_keys = ON")
        _migrate(database, path)
    except sqlite3.Error as error:
        database.close()
        raise UsageError(
            f"{path} is no history that can be used: {error}; move it away, and import the "
            "logs beside it anew"
        ) from None
    except BaseException:
        database.close()
        raise
    return database


def _migrate(database: sqlite3.Connection, path: Path) -> None:
    """Make the migrations that are missing, each wholly or not at all."""
    if _version(database) == len(MIGRATIONS):
        return
    database.execute("BEGIN IMMEDIATE")
    version = _version(database)  # another program may have been quicker
    if version > len(MIGRATIONS):
        database.execute("ROLLBACK")
        raise UsageError(
            f"{path} was written by a newer livecube (its version is {version}, this one knows "
            f"{len(MIGRATIONS)}); use that one"
        )
    for statements in MIGRATIONS[version:]:
        for statement in statements.split(";"):
            database.execute(statement)
    database.execute(f"PRAGMA user_version = {len(MIGRATIONS)}")
    database.execute("COMMIT")


def _version(database: sqlite3.Connection) -> int:
    version: int = database.execute("PRAGMA user_version").fetchone()[0]
    return version
