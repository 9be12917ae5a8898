"""The cube that was followed last, remembered for the next time."""

from __future__ import annotations

import json
import os
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Final

import platformdirs

__all__ = ["RememberedCube", "forget_cube", "remember_cube", "remembered_cube"]

_FILE: Final = "cube.json"


@dataclass(frozen=True, slots=True)
class RememberedCube:
    """The kept data; the address is this machine's name for the cube."""

    address: str
    name: str | None
    decoder: str


def _file() -> Path:
    """In ``LIVECUBE_STATE``, or the system's folder for this user's program state."""
    named = os.environ.get("LIVECUBE_STATE")
    folder = Path(named) if named else Path(platformdirs.user_state_dir("livecube"))
    return folder / _FILE


def remembered_cube() -> RememberedCube | None:
    """The cube of the last time; None if there is none, or if the file is damaged."""
    try:
        kept = json.loads(_file().read_text(encoding="utf-8"))
        name = kept["name"]
        return RememberedCube(
            str(kept["address"]), None if name is None else str(name), str(kept["decoder"])
        )
    except (OSError, ValueError, KeyError, TypeError):
        return None


def remember_cube(cube: RememberedCube) -> None:
    """Remember a cube; write errors are ignored."""
    file = _file()
    partial = file.with_suffix(".new")
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        partial.write_text(json.dumps(asdict(cube)) + "\n", encoding="utf-8")
        partial.replace(file)
    except OSError:
        return


def forget_cube() -> None:
    """Forget the cube; that there is none is no error."""
    with suppress(OSError):
        _file().unlink(missing_ok=True)
