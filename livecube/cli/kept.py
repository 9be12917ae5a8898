"""What a command that follows a cube keeps: a session in the history of a person."""

from __future__ import annotations

from typing import TYPE_CHECKING

from livecube.edges.configuration import read_configuration
from livecube.edges.history.folder import data_folder
from livecube.edges.history.session import Session
from livecube.errors import KeepingError, UsageError

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = ["begun_session", "is_kept", "person_named"]


def begun_session(person: str, started: str, source: str, say: Callable[[str], None]) -> Session:
    """A session in the history, begun unless nothing can be written now, which is said.

    Raises :class:`~livecube.errors.UsageError` if the history is broken.
    """
    session = Session(data_folder(), person, started, source, say)
    try:
        session.begin()
    except (KeepingError, OSError) as error:
        say(f"this session cannot be kept now, which is tried again with each solve: {error}")
    return session


def person_named(said: str | None) -> str:
    """Whose solves these are: as it is said, else as the configuration has it.

    Raises :class:`~livecube.errors.UsageError` for an empty name.
    """
    person = said if said is not None else str(read_configuration().table("practice")["person"])
    if not person.strip():
        raise UsageError("--person is empty; give a name")
    return person.strip()


def is_kept(said: str | None, *, no_history: bool, virtual: bool) -> bool:
    """Whether anything is kept: what a virtual solver does is nobody's, unless it is said whose."""
    return not no_history and (said is not None or not virtual)
