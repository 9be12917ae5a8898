"""The folders that the environment may set instead of the system's."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Final

from livecube.errors import UsageError

__all__ = ["check_named_folders"]

_NAMES: Final = ("LIVECUBE_CACHE", "LIVECUBE_CONFIG", "LIVECUBE_DATA", "LIVECUBE_STATE")


def check_named_folders() -> None:
    """Refuse the name of a file where a folder is needed, also if it is not used in this run.

    Otherwise a folder that is used late would end a session, and one whose write errors are
    ignored would never be noticed. Raises :class:`~livecube.errors.UsageError`.
    """
    for name in _NAMES:
        if named := os.environ.get(name):
            _check(name, Path(named))


def _check(name: str, folder: Path) -> None:
    """A folder need not exist yet, but no part of its path may be a file."""
    for place in (folder, *folder.parents):
        try:
            if place.is_dir():
                return
            is_there = place.exists()
        except OSError:  # it cannot be read; using it gives the reason
            return
        if is_there:
            raise UsageError(f"{place} is a file, but livecube needs a folder there; check {name}")
