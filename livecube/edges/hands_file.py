"""Reading a model of the hands from a TOML file."""

from __future__ import annotations

import tomllib
from importlib.resources import files
from typing import TYPE_CHECKING

from livecube.errors import UsageError
from livecube.hands.model import Hands, parse_hands

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["default_hands", "load_hands"]


def default_hands() -> Hands:
    """The model that comes with livecube."""
    text = (files("livecube.hands") / "default.toml").read_text(encoding="utf-8")
    return parse_hands(tomllib.loads(text), "default.toml")


def load_hands(path: Path) -> Hands:
    """The model in a file.

    Raises :class:`~livecube.errors.UsageError` with file and reason.
    """
    try:
        return parse_hands(tomllib.loads(path.read_text(encoding="utf-8")), str(path))
    except OSError as error:
        raise UsageError(f"{path} cannot be read: {error.strerror}") from None
    except ValueError as error:
        raise UsageError(f"{path} is not TOML: {error}") from None
