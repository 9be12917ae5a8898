"""The folders that the environment may name instead of the system's."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Final

from livecube.errors import UsageError

__all__ = ["check_named_folders"]

_NAMES: Final = ("LIVECUBE_CACHE", "LIVECUBE_CONFIG", "LIVECUBE_DATA", "LIVECUBE_STATE")


def check_named_folders() -> None:
    """Refuse the name of a file where that of a folder is wanted, whether it will be used or not.

    Without this one that is used late would end a session, and one that is only written to if
    it can be would never be noticed. Raises :class:`~livecube.errors.UsageError`.
    """
    for name in _NAMES:
        if named := os.environ.get(name):
            _check(name, Path(named))


def _check(name: str, folder: Path) -> None:
    """A folder need not be there yet, but nothing on the way to it may be a file."""
    for place in (folder, *folder.parents):
        try:
            if place.is_dir():
                return
            is_there = place.exists()
        except OSError:  # it cannot be looked at; whoever uses it says why
            return
        if is_there:
            raise UsageError(f"{place} is a file, and a folder is wanted there; see to {name}")
