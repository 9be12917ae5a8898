"""Drills are stored at once, or later if the history cannot be written now."""

from __future__ import annotations

import sqlite3
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from livecube.drills.history import DrillBook
from livecube.errors import LivecubeError
from livecube.history.database import trouble_with
from livecube.history.store import DATABASE, History

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from pathlib import Path

    from livecube.drills.judging import DrillJudged

__all__ = ["DrillKeeper"]


class DrillKeeper:
    """The drills of one person in a history that may be full, locked or read-only now.

    Drills that cannot be stored wait in memory. The next drill and :meth:`close` try to store them
    again. ``complain`` gets one message when storing first fails, and one when all drills are
    stored. After a failure only :meth:`close` waits for other programs that write: the solver is
    drilling.

    Raises :class:`~livecube.errors.UsageError` if the history is broken, and
    :class:`~livecube.errors.KeepingError` if it cannot even be read.
    """

    def __init__(self, folder: Path, person: str, complain: Callable[[str], None]) -> None:
        self.complain = complain
        self._folder = folder
        self._person = person
        self._waiting: list[Callable[[DrillBook], None]] = []
        self._why = ""
        """Why drills cannot be stored now; empty if they can."""
        self._readable = History(folder, reading=True)
        self.book = DrillBook(self._readable, person)
        """For reading only; while nothing can be written, it stays as it was at first."""
        self._history: History | None = None
        self._writing: DrillBook | None = None
        """Of the open history; it goes on with the same person if their name changes."""
        self._store(patient=True)

    def keep(self, judged: DrillJudged, seed: int | None) -> DrillJudged:
        """Keep a try, now or later; if kept now, the result has its ``next_in`` set."""
        at, told = datetime.now(UTC), [judged]
        self.add(lambda book: told.append(book.keep(judged, seed, at)))
        return told[-1]

    def keep_round(self, kind: str, figures: Mapping[str, Any]) -> None:
        """Keep the figures of rounds of one kind, now or later."""
        at = datetime.now(UTC)
        self.add(lambda book: book.keep_round(kind, figures, at))

    def add(self, what: Callable[[DrillBook], None]) -> None:
        """Keep something else, now or later."""
        self._waiting.append(what)
        self._store(patient=not self._why)

    def _store(self, *, patient: bool) -> None:
        try:
            self._store_all(patient)
        except (OSError, LivecubeError, sqlite3.Error) as caught:
            error: Exception = caught
            if isinstance(error, sqlite3.Error):
                error = trouble_with(self._folder / DATABASE, error)
            if not self._why:
                self.complain(f"Drills cannot be kept now; each new drill tries again: {error}")
            self._why = str(error)
        else:
            if self._why:
                self.complain("All drills are kept now.")
            self._why = ""

    def _store_all(self, patient: bool) -> None:
        history = self._history or History(self._folder)
        try:
            history.wait_for_others(patient)
            book = self._writing
            if book is None:
                book = DrillBook(history, self._person)
                book.enter()
            while self._waiting:
                self._waiting[0](book)
                del self._waiting[0]
        except BaseException:
            if self._history is None:
                history.close()
            raise
        self._history, self._writing = history, book

    def close(self, complain: Callable[[str], None]) -> None:
        """Try once more to store waiting drills, report the failure, and close the history."""
        self.complain = complain
        if self._waiting:
            self._store(patient=True)
        if self._waiting:
            count = len(self._waiting)
            complain(f"{count} drill{'s are' if count > 1 else ' is'} not kept ({self._why})")
        self._readable.close()
        if self._history is not None:
            self._history.close()
