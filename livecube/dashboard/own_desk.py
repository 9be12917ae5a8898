"""The name of this livecube on a dashboard, and the place of its outbox: in the state folder."""

from __future__ import annotations

import hashlib
import os
import secrets
from pathlib import Path
from typing import TYPE_CHECKING, Final

import platformdirs

from livecube.dashboard.topics import desk_part
from livecube.errors import UsageError

if TYPE_CHECKING:
    from livecube.dashboard.settings import Address

__all__ = ["outbox_path", "own_desk", "state_folder"]

_FILE: Final = "desk"


def state_folder() -> Path:
    """``LIVECUBE_STATE``, or the system's folder for this user's program state."""
    named = os.environ.get("LIVECUBE_STATE")
    return Path(named) if named else Path(platformdirs.user_state_dir("livecube"))


def own_desk() -> str:
    """The name that was made up at the first start and is kept."""
    file = state_folder() / _FILE
    try:
        kept = file.read_text(encoding="utf-8").strip()
        desk_part(kept)
        return kept
    except (OSError, ValueError, UsageError):
        made = f"desk-{secrets.token_hex(4)}"
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(made + "\n", encoding="utf-8")
    except OSError:
        raise UsageError(
            f"{file} cannot be written, so the dashboard would see another desk at every start;"
            " name it yourself: --desk NAME"
        ) from None
    return made


def outbox_path(address: Address, desk: str) -> Path:
    """The file of messages for this broker; another broker has another file."""
    key = f"{address.place}/{address.prefix}/{desk}"
    return state_folder() / f"outbox-{hashlib.sha256(key.encode()).hexdigest()[:16]}.sqlite"
