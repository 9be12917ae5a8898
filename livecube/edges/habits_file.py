"""Habits of holding that were learned: as text, and the file that an older livecube wrote."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import platformdirs

from livecube.errors import UsageError

__all__ = ["Habits", "account_habits", "forget_account_habits"]

_OWN: Final = "holding.json"


def _file() -> Path:
    """In ``LIVECUBE_STATE``, or the system's folder for this user's program state."""
    named = os.environ.get("LIVECUBE_STATE")
    folder = Path(named) if named else Path(platformdirs.user_state_dir("livecube"))
    return folder / _OWN


@dataclass(frozen=True, slots=True)
class Habits:
    """Learned counts of one person, as text."""

    text: str
    where: str
    """Where they are, for errors."""
    way_out: str
    """The command that removes them."""


def account_habits() -> Habits | None:
    """Habits that an older livecube learned, for whoever used this account; None: none."""
    file = _file()
    try:
        return Habits(file.read_text(encoding="utf-8"), str(file), "livecube adapt --forget")
    except OSError:
        return None


def forget_account_habits() -> bool:
    """Remove habits that an older livecube learned; returns whether there were any."""
    file = _file()
    try:
        file.unlink()
    except FileNotFoundError:
        return False
    except OSError as error:
        raise UsageError(f"{file} cannot be removed: {error.strerror}") from None
    return True
