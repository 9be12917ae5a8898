"""Opening the database: write-ahead log, foreign keys, migrations; and its errors in words."""

from __future__ import annotations

import os
import shutil
import sqlite3
from contextlib import closing, suppress
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final

from livecube.errors import KeepingError, UsageError
from livecube.history.schema import MIGRATIONS

__all__ = [
    "busy_s",
    "check_nobody_has",
    "emptied",
    "open_database",
    "read_database",
    "trouble_with",
]

_BUSY_S: Final = 10.0
"""Seconds to wait for another program that writes."""
_BROKEN: Final = (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)
_LOCKED: Final = (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)


def busy_s() -> float:
    """Seconds to wait for another program that writes."""
    return _BUSY_S


def open_database(path: Path, wait_s: float = _BUSY_S) -> sqlite3.Connection:
    """Open the database; make it, or bring it to the present version, if needed.

    Every statement commits by itself unless a transaction is begun. Raises
    :class:`~livecube.errors.UsageError` if it is broken or of a newer version, and
    :class:`~livecube.errors.KeepingError` if it cannot be written now. ``wait_s``: seconds to wait
    for another program that writes.
    """
    folder = path.parent
    if folder.exists() and not folder.is_dir():
        raise UsageError(
            f"{folder} is a file, but livecube needs a folder there; check LIVECUBE_DATA"
        )
    try:
        folder.mkdir(parents=True, exist_ok=True)
        _check_rights(path)
        # Sinks use it in threads, one after the other.
        database = sqlite3.connect(
            path, timeout=wait_s, isolation_level=None, check_same_thread=False
        )
    except OSError as error:
        raise KeepingError(f"{path} cannot be written: {error.strerror}") from None
    except sqlite3.Error as error:
        raise trouble_with(path, error) from None
    try:
        database.execute("PRAGMA journal_mode = WAL")
        database.execute("PRAGMA synchronous = FULL")  # committed changes survive a power cut
        database.execute("PRAGMA foreign_keys = ON")
        database.execute("PRAGMA secure_delete = ON")  # what is forgotten leaves no bytes
        _migrate(database, path)
    except sqlite3.Error as error:
        database.close()
        raise trouble_with(path, error) from None
    except BaseException:
        database.close()
        raise
    return database


def check_nobody_has(path: Path) -> None:
    """Raise ``KeepingError`` if another program has the database open, as far as it shows."""
    try:
        with closing(sqlite3.connect(path, timeout=_BUSY_S, isolation_level=None)) as database:
            database.execute("PRAGMA locking_mode = EXCLUSIVE")
            database.execute("BEGIN EXCLUSIVE")
            database.execute("ROLLBACK")
    except sqlite3.Error as error:
        if _code(error) in _LOCKED:  # other errors are expected: the database is broken
            raise trouble_with(path, error) from None


def _check_rights(path: Path) -> None:
    """Raise ``KeepingError`` if a file of the database may not be written.

    SQLite would open it anyway, and give its own files beside it the same rights. Then writing
    would still fail after the database becomes writable again.
    """
    by_whom = os.access in os.supports_effective_ids
    for file in (path, *(path.with_name(path.name + end) for end in ("-wal", "-shm"))):
        if file.exists() and not os.access(file, os.W_OK, effective_ids=by_whom):
            raise KeepingError(f"{file} cannot be written; check its rights")


def read_database(path: Path, wait_s: float = _BUSY_S) -> sqlite3.Connection:
    """Open the database for reading; if it cannot be written, as it stands or as a copy in memory.

    A missing database is an empty one. Raises the errors of :func:`open_database`, but
    :class:`~livecube.errors.KeepingError` only if it cannot be read either.
    """
    try:
        return open_database(path, wait_s)
    except KeepingError:
        return _as_it_stands(path) or _copied_to_memory(path)


def _as_it_stands(path: Path) -> sqlite3.Connection | None:
    """The file alone, if it is complete; with a log beside it, reading would also write."""
    log = path.with_name(f"{path.name}-wal")
    try:
        if not path.exists() or (log.exists() and log.stat().st_size):
            return None
        address = f"{path.absolute().as_uri()}?mode=ro&immutable=1"
        database = sqlite3.connect(address, uri=True, isolation_level=None)
        if _version(database) == len(MIGRATIONS):
            return database
        database.close()
    except (OSError, sqlite3.Error):
        pass
    return None


def _copied_to_memory(path: Path) -> sqlite3.Connection:
    memory = sqlite3.connect(":memory:", isolation_level=None)
    try:
        if not path.exists() or not path.stat().st_size:  # then no file is needed
            _migrate(memory, path)
            return memory
        with TemporaryDirectory() as folder:
            copy = Path(folder) / path.name
            for end in ("", "-wal"):
                with suppress(FileNotFoundError, NotADirectoryError):
                    shutil.copyfile(path.with_name(path.name + end), f"{copy}{end}")
            with closing(open_database(copy)) as opened:
                opened.backup(memory)
            return memory
    except OSError as error:
        raise KeepingError(f"{path} cannot be read: {error.strerror}") from None


def _code(error: sqlite3.Error) -> int:
    code: int = getattr(error, "sqlite_errorcode", 0)
    return code & 0xFF


def emptied(database: sqlite3.Connection) -> bool:
    """Rewrite the file without what was deleted; False if another program has it open."""
    try:
        database.execute("VACUUM")
        busy, _, _ = database.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
    except sqlite3.OperationalError as error:
        if _code(error) in _LOCKED:
            return False
        raise
    return not busy


def trouble_with(path: Path, error: sqlite3.Error) -> KeepingError | UsageError:
    """An error of the database as an error for the user, to be raised."""
    code = _code(error)
    if code in _BROKEN:
        return UsageError(
            f"{path} is not a usable history: {error}; livecube history rescue makes a new one of "
            "its readable parts (solves, tags, corrections, cards) and of the logs beside it"
        )
    if code in _LOCKED:
        return KeepingError(f"{path} is locked by another program; end that program, or try again")
    return KeepingError(f"{path} cannot be written: {error}; check the disk and its rights")


def _migrate(database: sqlite3.Connection, path: Path) -> None:
    """Make the missing migrations, each wholly or not at all."""
    if _version(database) == len(MIGRATIONS):
        return
    database.execute("BEGIN IMMEDIATE")
    version = _version(database)  # another program may have been faster
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
