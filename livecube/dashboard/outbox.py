"""Messages wait here until the broker has them: one SQLite file for a desk and its broker.

The file survives a crash of this program and of the machine. Its size is limited: without room the
oldest details are dropped first, then the oldest of the rest, and both are counted. One process at
a time holds the file; the system releases it when the process ends, however it ends.
"""

from __future__ import annotations

import contextlib
import json
import sqlite3
import time
from typing import TYPE_CHECKING, Any, Final

from livecube.dashboard.told import (
    TOLD_TABLES,
    Letter,
    lately_told,
    note_told,
    take_over_states,
    told_states,
)
from livecube.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from livecube.dashboard.messages import Message

__all__ = ["Letter", "Outbox", "emptied_outboxes"]

_MOST: Final = 20_000
"""Most waiting messages: about 2,000 solves, 12 MB."""
_MOST_BYTES: Final = 64 * 1024 * 1024
_PAGE: Final = 4096
_SPARE: Final = 100
"""Fewest messages that are dropped at once for lack of room."""
_TABLES: Final = """
CREATE TABLE IF NOT EXISTS waiting (
    seq INTEGER PRIMARY KEY, name TEXT NOT NULL, payload TEXT NOT NULL,
    retain INTEGER NOT NULL, detail INTEGER NOT NULL
) STRICT;
CREATE INDEX IF NOT EXISTS by_worth ON waiting (detail DESC, seq);
CREATE TABLE IF NOT EXISTS latest (name TEXT PRIMARY KEY, payload TEXT NOT NULL) STRICT;
CREATE TABLE IF NOT EXISTS counted (what TEXT PRIMARY KEY, number INTEGER NOT NULL) STRICT;
"""
_NOT_A_DATABASE: Final = (sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_CORRUPT)


def emptied_outboxes(folder: Path) -> tuple[int, list[Path]]:
    """Empty the outboxes in a folder, whose messages name nobody; numbers of messages stay.

    Returns how many messages no broker has got, and the files that could not be emptied now.
    """
    waiting, left = 0, []
    for path in sorted(folder.glob("outbox-*.sqlite")):
        try:
            with contextlib.closing(sqlite3.connect(path, timeout=0.2)) as db:
                db.execute("PRAGMA secure_delete = ON")
                with db:
                    db.executescript(_TABLES + TOLD_TABLES)
                    waiting += db.execute("DELETE FROM waiting").rowcount
                    for table in ("latest", "told", "said"):
                        db.execute(f"DELETE FROM {table}")
                db.execute("VACUUM")
                db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        except sqlite3.Error:
            left.append(path)
    return waiting, [*left, *sorted(folder.glob("outbox-*.broken"))]


class Outbox:
    """Not for two threads at once. ``complain`` gets a sentence when the file fails.

    Then the outbox goes on in memory: messages are kept as long as the program runs.
    """

    def __init__(
        self,
        path: Path | None,
        complain: Callable[[str], None],
        most: int = _MOST,
        most_bytes: int = _MOST_BYTES,
        now: Callable[[], float] = time.time,
    ) -> None:
        """Raises :class:`~livecube.errors.UsageError` if another process holds the file."""
        self._complain = complain
        self._most = most
        self._most_bytes = most_bytes
        self._now = now
        self._in_memory = path is None
        self._path = path
        self._held: sqlite3.Connection | None = None
        """The failed file; it stays locked against other processes."""
        self._db = self._memory() if path is None else self._opened(path)

    def close(self) -> None:
        """Release the file."""
        for db in (self._db, self._held):
            if db is not None:
                with contextlib.suppress(sqlite3.Error):
                    db.close()

    def add(self, messages: Sequence[Message]) -> None:
        """Keep messages: all of them, or none if the program dies meanwhile."""
        if messages:
            self._written(lambda: self._add(messages))

    def oldest(self, most: int) -> list[Letter]:
        """The next messages to send, in order."""
        rows = self._db.execute(
            "SELECT seq, name, payload, retain, detail FROM waiting ORDER BY seq LIMIT ?", (most,)
        )
        return [
            Letter(seq, name, payload, bool(retain), bool(detail))
            for seq, name, payload, retain, detail in rows
        ]

    def sent(self, letters: Sequence[Letter]) -> None:
        """Note that the broker has these."""

        def work() -> None:
            rows = [(letter.seq,) for letter in letters]
            self._db.executemany("DELETE FROM waiting WHERE seq = ?", rows)
            note_told(self._db, letters, self._now())

        self._written(work)

    def again(self) -> list[Letter]:
        """Lately acknowledged messages that the broker may have forgotten, oldest first."""
        return lately_told(self._db)

    def states(self) -> list[Letter]:
        """The last acknowledged message of each retained name: to be sent again.

        A newer one may wait. It must be sent after these.
        """
        return told_states(self._db)

    def state(self, name: str) -> dict[str, Any] | None:
        """The last retained message of this name."""
        row = self._db.execute("SELECT payload FROM latest WHERE name = ?", (name,)).fetchone()
        return None if row is None else json.loads(row[0])

    def all_states(self) -> list[tuple[str, dict[str, Any]]]:
        """The last retained message of every name."""
        rows = self._db.execute("SELECT name, payload FROM latest ORDER BY name")
        return [(name, json.loads(payload)) for name, payload in rows]

    @property
    def seq(self) -> int:
        """Number of the last kept message."""
        return self._counted("seq")

    @property
    def dropped(self) -> tuple[int, int]:
        """How many details, and how many others, were ever dropped for lack of room."""
        return self._counted("dropped details"), self._counted("dropped others")

    @property
    def form(self) -> int:
        """The number of the form in which the desk last introduced itself; 0: unknown."""
        return self._counted("form")

    @form.setter
    def form(self, number: int) -> None:
        self._written(lambda: self._count("form", number - self.form))

    @property
    def waiting(self) -> int:
        """How many messages wait."""
        (waiting,) = self._db.execute("SELECT count(*) FROM waiting").fetchone()
        return int(waiting)

    def _add(self, messages: Sequence[Message]) -> None:
        for message in messages:
            if message.retain:  # only the last state is of use
                self._db.execute("DELETE FROM waiting WHERE retain AND name = ?", (message.name,))
                latest = (message.name, message.payload)
                self._db.execute("INSERT OR REPLACE INTO latest VALUES (?, ?)", latest)
            row = (message.seq, message.name, message.payload, message.retain, message.detail)
            self._db.execute("INSERT OR REPLACE INTO waiting VALUES (?, ?, ?, ?, ?)", row)
        self._count("seq", messages[-1].seq - self.seq)
        if (over := self.waiting - self._most) > 0:
            self._drop(over)

    def _drop(self, number: int) -> None:
        """Drop details first, then the rest, oldest first; states stay, one of each kind."""
        rows = self._db.execute(
            "SELECT seq, detail FROM waiting WHERE NOT retain ORDER BY detail DESC, seq LIMIT ?",
            (number,),
        ).fetchall()
        self._db.executemany("DELETE FROM waiting WHERE seq = ?", [(seq,) for seq, _ in rows])
        details = sum(detail for _, detail in rows)
        self._count("dropped details", details)
        self._count("dropped others", len(rows) - details)

    def _written(self, work: Callable[[], object]) -> None:
        """Do the work in one transaction; if the file is full, make room or go on in memory."""
        try:
            with self._db:
                work()
            return
        except sqlite3.Error as error:
            if self._in_memory:
                raise
            reason = error
        with contextlib.suppress(sqlite3.Error):
            with self._db:
                self._drop(_SPARE)
            with self._db:
                work()
            return
        self._retreat(reason)
        with self._db:
            work()

    def _retreat(self, reason: sqlite3.Error) -> None:
        """Copy everything into memory. The file keeps its messages; ids reveal repeats later."""
        memory = self._memory()
        with contextlib.suppress(sqlite3.Error):
            self._db.backup(memory)
        self._held, self._db = self._db, memory
        self._in_memory = True
        self._complain(
            f"the outbox {self._path} cannot be written ({reason}); messages for the dashboard are"
            " kept in memory until livecube ends"
        )

    def _memory(self) -> sqlite3.Connection:
        db = sqlite3.connect(":memory:", check_same_thread=False)
        db.executescript(_TABLES + TOLD_TABLES)
        return db

    def _opened(self, path: Path) -> sqlite3.Connection:
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            try:
                return self._database(path)
            except sqlite3.DatabaseError as error:
                if getattr(error, "sqlite_errorcode", 0) & 0xFF not in _NOT_A_DATABASE:
                    raise
                self._set_aside(path)
                return self._database(path)
        except (OSError, sqlite3.Error) as error:
            if getattr(error, "sqlite_errorcode", 0) & 0xFF == sqlite3.SQLITE_BUSY:
                raise UsageError(
                    "another livecube publishes for this desk; give this one a desk of its own:"
                    " --desk NAME"
                ) from None
            self._in_memory = True
            self._complain(
                f"the outbox {path} cannot be used ({error}); messages for the dashboard are kept"
                " in memory until livecube ends"
            )
            return self._memory()

    def _database(self, path: Path) -> sqlite3.Connection:
        db = sqlite3.connect(path, timeout=0.2, check_same_thread=False)
        try:
            db.execute("PRAGMA locking_mode = EXCLUSIVE")
            db.execute("PRAGMA journal_mode = WAL")
            db.execute("PRAGMA synchronous = FULL")
            db.execute(f"PRAGMA max_page_count = {self._most_bytes // _PAGE}")
            db.executescript(_TABLES + TOLD_TABLES)
            with db:  # takes the lock and keeps it
                db.execute("INSERT OR IGNORE INTO counted VALUES ('seq', 0)")
                db.execute("UPDATE counted SET number = number WHERE what = 'seq'")
                take_over_states(db)
            db.execute("SELECT count(*), max(seq) FROM waiting").fetchone()
        except BaseException:
            db.close()
            raise
        path.chmod(0o600)
        return db

    def _set_aside(self, path: Path) -> None:
        broken = path.with_suffix(".broken")
        path.replace(broken)
        for rest in ("-wal", "-shm"):
            path.with_name(path.name + rest).unlink(missing_ok=True)
        self._complain(f"the outbox {path} was damaged and is now {broken}; a new one is begun")

    def _counted(self, what: str) -> int:
        row = self._db.execute("SELECT number FROM counted WHERE what = ?", (what,)).fetchone()
        return 0 if row is None else int(row[0])

    def _count(self, what: str, number: int) -> None:
        self._db.execute(
            "INSERT INTO counted VALUES (?, ?)"
            " ON CONFLICT (what) DO UPDATE SET number = number + excluded.number",
            (what, number),
        )
