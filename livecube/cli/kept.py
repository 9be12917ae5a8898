"""What a command that follows a cube keeps: a session in the history of a person."""

from __future__ import annotations

import sqlite3
from typing import TYPE_CHECKING

from livecube.edges.configuration import read_configuration
from livecube.edges.history.database import trouble_with
from livecube.edges.history.folder import data_folder
from livecube.edges.history.importing import recover
from livecube.edges.history.store import DATABASE, History
from livecube.errors import KeepingError, UsageError

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = ["begun_session", "person_named"]


def begun_session(
    person: str, started: str, source: str, say: Callable[[str], None]
) -> tuple[History, int] | None:
    """The history, and the number of the session that is begun in it.

    What a crash left is kept first, and that is said. None, and that is said, if nothing can be
    written now. Raises :class:`~livecube.errors.UsageError` if the history is broken.
    """
    folder = data_folder()
    history: History | None = None
    try:
        history = History(folder)
        if sentence := recover(history).sentence:
            say(sentence)
        return history, history.begin_session(person, started, source)
    except (KeepingError, OSError, sqlite3.Error) as caught:
        error: Exception = caught
        if history is not None:
            history.close()
        if isinstance(error, sqlite3.Error):
            told = trouble_with(folder / DATABASE, error)
            if isinstance(told, UsageError):
                raise told from None
            error = told
        say(f"nothing of this session is kept: {error}")
        return None


def person_named(said: str | None) -> str:
    """Whose solves these are: as it is said, else as the configuration has it.

    Raises :class:`~livecube.errors.UsageError` for an empty name.
    """
    person = said if said is not None else str(read_configuration().table("practice")["person"])
    if not person.strip():
        raise UsageError("--person is empty; give a name")
    return person.strip()
