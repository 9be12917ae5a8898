"""Reading hands and eyes: the usual ones, their mirror image, or a person's own file."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Final

from livecube.edges.log_files import regular
from livecube.errors import UsageError
from livecube.hands.automaton import Automaton, make_automaton
from livecube.hands.features import Features, parse_features

__all__ = ["automaton_schema_text", "load_features", "load_hands", "usual_hands_text"]

_USUAL: Final = "usual.toml"
_SCHEMA: Final = "usual.schema.json"


def usual_hands_text() -> str:
    """The usual prices as a file with comments, to start one's own from."""
    return _shipped(_USUAL)


def automaton_schema_text() -> str:
    """The JSON Schema of such a file's table."""
    return _shipped(_SCHEMA)


def load_hands(name_or_path: str | Path = "right") -> Automaton:
    """The hands with this name (``right``, ``left``), or those in a file.

    Raises :class:`~livecube.errors.UsageError` with file and reason.
    """
    if name_or_path in ("right", "left"):
        return _usual_hands(str(name_or_path))
    return make_automaton(load_features(name_or_path), str(name_or_path))


@cache
def _usual_hands(name: str) -> Automaton:
    return make_automaton(load_features(name), _USUAL)


def load_features(name_or_path: str | Path = "right") -> Features:
    """The prices from which :func:`load_hands` makes its table.

    Raises :class:`~livecube.errors.UsageError` with file and reason.
    """
    if name_or_path in ("right", "left"):
        usual = parse_features(tomllib.loads(usual_hands_text()), _USUAL)
        return usual.mirrored() if name_or_path == "left" else usual
    path = Path(name_or_path)
    try:
        text = regular(path).read_text(encoding="utf-8-sig")
        return parse_features(tomllib.loads(text), str(path))
    except OSError as error:
        raise UsageError(
            f"{path} cannot be read: {error.strerror}; give right, left or a file"
        ) from None
    except ValueError as error:
        raise UsageError(f"{path} is not TOML: {error}") from None


def _shipped(name: str) -> str:
    return (files("livecube.hands") / name).read_text(encoding="utf-8")
