"""From the text of a profile to its value, with file and line in every complaint."""

from __future__ import annotations

import json
import re
import tomllib
from importlib.resources import files
from typing import TYPE_CHECKING, Final

from livecube.errors import ProfileError
from livecube.profiles.building import WrongError, built
from livecube.profiles.lines import line_of
from livecube.profiles.schema import first_fault

if TYPE_CHECKING:
    from livecube.profiles.schema import Path
    from livecube.profiles.values import Profile

__all__ = ["parse_profile", "profile_schema_text"]

_SCHEMA: Final = "profile.schema.json"


def profile_schema_text() -> str:
    """The JSON Schema of profiles."""
    return (files("livecube.profiles") / _SCHEMA).read_text(encoding="utf-8")


def parse_profile(text: str, source: str) -> Profile:
    """Read a profile; ``source`` is the file's name, for complaints.

    Raises :class:`~livecube.errors.ProfileError`.
    """
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        line = re.search(r"\(at line (\d+), column \d+\)", str(error))
        raise ProfileError(
            source, int(line[1]) if line else 0, f"this is not TOML: {error}"
        ) from None
    fault = first_fault(table, json.loads(profile_schema_text()))
    if fault is not None:
        raise ProfileError(source, line_of(text, fault.path), f"{_name(fault.path)} {fault.reason}")
    try:
        return built(table)
    except WrongError as error:
        where = line_of(text, error.path)
        raise ProfileError(source, where, f"{_name(error.path)} {error.reason}") from None


def _name(path: Path) -> str:
    """A path as people write it: ``packet 2, turn, bits``; tables of a list count from 1."""
    words: list[str] = []
    for key in path:
        if isinstance(key, int) and words:
            words[-1] += f" {key + 1}"
        else:
            words.append(str(key))
    return ", ".join(words) or "the profile"
