"""Whose solves a command keeps, and whether it keeps any."""

from __future__ import annotations

from livecube.edges.configuration import read_configuration
from livecube.errors import UsageError

__all__ = ["is_kept", "person_named"]


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
