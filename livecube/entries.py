"""The entries that a table of the configuration may hold, as data, and their check.

A room that can be configured lists its entries; ``edges/configuration.py`` reads the file.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, TypeAlias

from livecube.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

__all__ = ["Entry", "Kind", "Value", "checked_table", "with_defaults"]

Kind: TypeAlias = Literal["text", "file", "flag", "number", "choice"]
"""``file``: a path, relative to the folder of the configuration."""
Value: TypeAlias = str | bool | int | float | None

_WANTED: dict[Kind, str] = {
    "text": 'a text in quotes, like "text"',
    "file": 'a path in quotes, like "folder/file"',
    "flag": "true or false",
    "number": "a number",
    "choice": "a text in quotes",
}


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry: its name, its kind, and its purpose."""

    name: str
    kind: Kind
    about: str
    """A sentence for people who edit the file."""
    default: Value = None
    choices: Sequence[str] = ()
    """Values of a ``choice``."""
    least: float = 0
    most: float = 0
    """Limits of a ``number``, both included."""
    check: Callable[[str], object] | None = None
    """Check of a ``text``: raises :class:`~livecube.errors.UsageError` if it is wrong."""


def checked_table(table: object, entries: Sequence[Entry], where: str) -> dict[str, Value]:
    """The checked values in a table, without defaults.

    Raises :class:`~livecube.errors.UsageError`, which gives ``where`` and the entry.
    """
    if not isinstance(table, dict):
        raise UsageError(f"{where} must be a section with entries below it")
    known = {entry.name: entry for entry in entries}
    for name in table:
        if name not in known:
            raise UsageError(f"{where} {name}: unknown; it may have {', '.join(known)}")
    return {name: _checked(value, known[name], f"{where} {name}") for name, value in table.items()}


def _checked(value: object, entry: Entry, where: str) -> Value:
    if not isinstance(value, str | bool | int | float) or not _fits(value, entry):
        raise UsageError(f"{where} must be {_WANTED[entry.kind]}{_limits(entry)}")
    if isinstance(value, str) and entry.check is not None:
        try:
            entry.check(value)
        except UsageError as error:
            raise UsageError(f"{where}: {error}") from None
    return value


def _fits(value: str | bool | float, entry: Entry) -> bool:
    match entry.kind:
        case "flag":
            return isinstance(value, bool)
        case "number":
            number = isinstance(value, int | float) and not isinstance(value, bool)
            return number and entry.least <= value <= entry.most  # type: ignore[operator]
        case "choice":
            return value in entry.choices
        case "text" | "file":
            return isinstance(value, str) and value != ""


def _limits(entry: Entry) -> str:
    if entry.kind == "number":
        return f" from {entry.least:g} to {entry.most:g}"
    if entry.kind == "choice":
        return ": " + ", ".join(f'"{choice}"' for choice in entry.choices)
    return ""


def with_defaults(table: Mapping[str, Value], entries: Sequence[Entry]) -> dict[str, Value]:
    """All entries: the value in the table, else the default."""
    return {entry.name: table.get(entry.name, entry.default) for entry in entries}
