"""The folder of the history."""

from __future__ import annotations

import os
from pathlib import Path

import platformdirs

__all__ = ["data_folder"]


def data_folder() -> Path:
    """``LIVECUBE_DATA``, or the system's folder for this user's data."""
    named = os.environ.get("LIVECUBE_DATA")
    return Path(named) if named else Path(platformdirs.user_data_dir("livecube"))
