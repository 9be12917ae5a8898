"""A session in the history; it may have to wait until the history can be written."""

from __future__ import annotations

import sqlite3
from contextlib import suppress
from typing import TYPE_CHECKING

from livecube.errors import LivecubeError
from livecube.history.database import trouble_with
from livecube.history.importing import recover
from livecube.history.store import DATABASE, History

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path
    from typing import Self

    from livecube.solves.reading import FoundSolve, Told

__all__ = ["Session"]


class Session:
    """A session of a person. :meth:`begin` begins it, and may be repeated until it succeeds.

    ``say`` gets a sentence about solves that a crash left and that are kept now. Sinks use the
    session in threads, one after the other.
    """

    def __init__(
        self, folder: Path, person: str, started: str, source: str, say: Callable[[str], None]
    ) -> None:
        self.folder = folder
        self.person = person
        self.number: int | None = None
        """Number in the history; None until the session is begun."""
        self._started = started
        self._source = source
        self._say = say
        self._history: History | None = None
        self._hindsight: Callable[[], Told] | None = None
        self._take: Callable[[FoundSolve], str] | None = None
        self._learn: Callable[[History, Sequence[int]], None] | None = None

    @classmethod
    def begun(cls, history: History, number: int) -> Self:
        """A session that is already begun in an open history."""
        person = history.session_person(number) or ""
        session = cls(history.folder, person, "", "", lambda sentence: None)
        session._history, session.number = history, number
        return session

    @property
    def history(self) -> History:
        """The open history; only after the session is begun."""
        assert self._history is not None, "begin comes first"
        return self._history

    @property
    def hindsight(self) -> Callable[[], Told] | None:
        """As :attr:`.History.hindsight`; it may be given before the history is open."""
        return self._hindsight

    @hindsight.setter
    def hindsight(self, told: Callable[[], Told] | None) -> None:
        self._hindsight = told
        if self._history is not None:
            self._history.hindsight = told

    def begin_learning(
        self,
        take: Callable[[FoundSolve], str],
        learn: Callable[[History, Sequence[int]], None],
    ) -> None:
        """From now on, ``take`` from each kept solve what it says about hands, and ``learn``."""
        self._take, self._learn = take, learn
        if self._history is not None:
            self._history.take = take

    def learn_from(self, numbers: Sequence[int]) -> None:
        """Learn from solves that were just kept.

        If this fails they stay kept, and the next one learns everything anew.
        """
        if self._learn is not None and numbers:
            with suppress(sqlite3.Error, LivecubeError):
                self._learn(self.history, numbers)

    def begin(self) -> None:
        """Begin the session if needed; first keep solves that a crash left, and ``say`` so.

        Raises :class:`~livecube.errors.KeepingError` or ``OSError`` if the history cannot be
        written now, :class:`~livecube.errors.UsageError` if it is broken.
        """
        if self.number is not None:
            return
        history: History | None = None
        try:
            history = History(self.folder)
            history.hindsight, history.take = self._hindsight, self._take
            if sentence := recover(history).sentence:
                self._say(sentence)
            number = history.begin_session(self.person, self._started, self._source)
        except BaseException as error:
            if history is not None:
                history.close()
            if isinstance(error, sqlite3.Error):
                raise trouble_with(self.folder / DATABASE, error) from None
            raise
        self._history, self.number = history, number

    def close(self) -> None:
        """Close the history, if it was opened."""
        if self._history is not None:
            with suppress(sqlite3.Error):
                self._history.close()
