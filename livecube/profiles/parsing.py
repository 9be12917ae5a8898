"""From the text of a profile to its value; every error names file and line."""

from __future__ import annotations

import json
import re
import tomllib
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any, Final

from livecube.errors import ProfileError, UsageError
from livecube.profiles.building import WrongError, built
from livecube.profiles.lines import line_of
from livecube.profiles.schema import first_fault

if TYPE_CHECKING:
    from livecube.profiles.schema import Path
    from livecube.profiles.values import Profile

__all__ = ["MOST_BYTES", "check_name", "parse_profile", "profile_schema_text"]

_SCHEMA: Final = "profile.schema.json"
MOST_BYTES: Final = 1 << 16
"""A longer text is not accepted; learned profiles have about 3,000 bytes."""
_LONGEST_LINE: Final = 2048
"""In characters. ``tomllib`` parses a dotted key of this length in some milliseconds; one ten times
as long would take half a minute."""


def profile_schema_text() -> str:
    """The JSON Schema of profiles."""
    return (files("livecube.profiles") / _SCHEMA).read_text(encoding="utf-8")


@cache
def _schema() -> dict[str, Any]:
    schema: dict[str, Any] = json.loads(profile_schema_text())
    return schema


def parse_profile(text: str, source: str) -> Profile:
    """Read a profile; ``source`` is the file's name, for messages.

    Raises :class:`~livecube.errors.ProfileError`.
    """
    _check_size(text, source)
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        line = re.search(r"\(at line (\d+), column \d+\)", str(error))
        raise ProfileError(
            source, int(line[1]) if line else 0, f"this is not TOML: {error}"
        ) from None
    except RecursionError:
        raise ProfileError(source, 0, "this is nested too deeply for a profile") from None
    fault = first_fault(table, _schema())
    if fault is not None:
        raise ProfileError(source, line_of(text, fault.path), f"{_name(fault.path)} {fault.reason}")
    try:
        return built(table)
    except WrongError as error:
        where = line_of(text, error.path)
        raise ProfileError(source, where, f"{_name(error.path)} {error.reason}") from None


def _check_size(text: str, source: str) -> None:
    if len(text.encode()) > MOST_BYTES:
        raise ProfileError(source, 0, f"this is not a profile: it has more than {MOST_BYTES} bytes")
    for number, line in enumerate(text.split("\n"), start=1):
        if len(line) > _LONGEST_LINE:
            raise ProfileError(source, number, f"is longer than {_LONGEST_LINE} characters")


def check_name(name: str) -> None:
    """Raise :class:`~livecube.errors.UsageError` if this is not a valid name of a profile."""
    fault = first_fault(name, _schema()["properties"]["name"])
    if fault is not None:
        raise UsageError(
            f"the name of a profile has lower-case letters, digits and hyphens, at most 40, like "
            f"my-cube; this is {name[:60]!r}"
        )


def _name(path: Path) -> str:
    """A path in words: ``packet 2, turn, bits``; tables of a list count from 1."""
    words: list[str] = []
    for key in path:
        if isinstance(key, int) and words:
            words[-1] += f" {key + 1}"
        else:
            words.append(str(key))
    return ", ".join(words) or "the profile"
