"""Reading a model of the hands from a TOML file."""

from __future__ import annotations

import tomllib
from importlib.resources import files
from typing import TYPE_CHECKING, Final

from livecube.edges.new_files import regular
from livecube.errors import UsageError
from livecube.hands.model import Hands, parse_hands

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["default_hands", "default_hands_text", "hands_schema_text", "load_hands"]

_DEFAULT: Final = "default.toml"
_SCHEMA: Final = "hands.schema.json"


def default_hands() -> Hands:
    """The model that comes with livecube."""
    return parse_hands(tomllib.loads(default_hands_text()), _DEFAULT)


def default_hands_text() -> str:
    """The same as a file to begin one's own from, with its comments."""
    return _shipped(_DEFAULT)


def hands_schema_text() -> str:
    """The JSON Schema of a model's table."""
    return _shipped(_SCHEMA)


def _shipped(name: str) -> str:
    return (files("livecube.hands") / name).read_text(encoding="utf-8")


def load_hands(path: Path) -> Hands:
    """The model in a file.

    Raises :class:`~livecube.errors.UsageError` with file and reason.
    """
    try:
        return parse_hands(tomllib.loads(regular(path).read_text(encoding="utf-8-sig")), str(path))
    except OSError as error:
        raise UsageError(f"{path} cannot be read: {error.strerror}") from None
    except ValueError as error:
        raise UsageError(f"{path} is not TOML: {error}") from None
