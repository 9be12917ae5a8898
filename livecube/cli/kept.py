"""The person whose solves a command keeps, and whether it keeps any."""

from __future__ import annotations

from livecube.edges.configuration import read_configuration
from livecube.errors import UsageError

__all__ = ["is_kept", "person_named"]


def person_named(said: str | None) -> str:
    """The person of the solves: the option, else the configuration.

    Raises :class:`~livecube.errors.UsageError` for an empty name.
    """
    person = said if said is not None else str(read_configuration().table("practice")["person"])
    if not person.strip():
        raise UsageError("--person is empty; give a name")
    return person.strip()


def is_kept(said: str | None, *, no_history: bool, virtual: bool) -> bool:
    """Whether solves are kept; those of a virtual solver only for a named person."""
    return not no_history and (said is not None or not virtual)
