"""Whose solves a command reads or keeps.

The option says it, else the cube's owner, else the configuration, else the roster if it has only
one person.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from livecube.edges.configuration import read_configuration
from livecube.history.folder import data_folder
from livecube.history.store import DATABASE, History
from livecube.solves.people import Asked, Whose, person_kept, persons_read

if TYPE_CHECKING:
    from livecube.solves.people import Person

__all__ = ["asked_for", "is_kept", "keeper", "read_roster", "whose_in"]


_WAIT_S: Final = 0.5
"""Seconds to wait for another program that writes, before a cube is followed."""


def asked_for(said: str | None, cube: tuple[str, ...] = ()) -> Asked:
    """The option ``--person``, the names of the followed cube, and the configuration's person."""
    configured = read_configuration().table("practice")["person"]
    return Asked(said, cube, None if configured is None else str(configured))


def read_roster() -> tuple[Person, ...]:
    """All people; none if nothing was ever kept. It makes no file."""
    folder = data_folder()
    if not (folder / DATABASE).exists():
        return ()
    with History(folder, reading=True, wait_s=_WAIT_S) as history:
        return history.roster()


def keeper(said: str | None, cube: str | None = None) -> str:
    """The person whose solves a command keeps; ``cube``: the name or address of their cube.

    Raises :class:`~livecube.errors.UsageError` if there are several and nothing says who.
    """
    return person_kept(read_roster(), asked_for(said, () if cube is None else (cube,)))


def whose_in(history: History, said: str | None, session: int | None = None) -> Whose:
    """Whose solves a command reads; a session says whose it is, if no option does.

    Raises :class:`~livecube.errors.UsageError` for an unknown name, and if there are several people
    and nothing says who.
    """
    if said is None and session is not None:
        said = history.session_person(session)
    return persons_read(history.roster(), asked_for(said))


def is_kept(said: str | None, *, no_history: bool, virtual: bool) -> bool:
    """Whether solves are kept; those of a virtual solver only for a named person."""
    return not no_history and (said is not None or not virtual)
