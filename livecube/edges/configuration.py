"""The configuration: one TOML file in the user's configuration folder, checked strictly.

Each room that can be configured lists its entries; ``TABLES`` puts them together. Add a new table
there.
"""

from __future__ import annotations

import os
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

import platformdirs

from livecube.advice.settings import HINT_ENTRIES
from livecube.dashboard.settings import GROUP_ENTRIES, MQTT_ENTRIES, OFFER_ENTRIES
from livecube.entries import checked_table, with_defaults
from livecube.errors import UsageError
from livecube.practice.settings import PRACTICE_ENTRIES

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from livecube.entries import Entry, Value

__all__ = ["TABLES", "Configuration", "configuration_file", "example", "read_configuration"]

TABLES: Final[dict[str, Sequence[Entry]]] = {
    "hints": HINT_ENTRIES,
    "practice": PRACTICE_ENTRIES,
    "mqtt": MQTT_ENTRIES,
    "group": GROUP_ENTRIES,
    "offers": OFFER_ENTRIES,
}
"""The tables that the file may have, with their entries."""

_FILE: Final = "config.toml"


def configuration_file() -> Path:
    """In ``LIVECUBE_CONFIG``, or the system's folder for this user's configuration."""
    named = os.environ.get("LIVECUBE_CONFIG")
    return (Path(named) if named else Path(platformdirs.user_config_dir("livecube"))) / _FILE


@dataclass(frozen=True, slots=True)
class Configuration:
    """The content of the file."""

    file: Path
    exists: bool
    tables: Mapping[str, Mapping[str, Value]]
    """Only the entries in the file."""

    def table(self, name: str) -> dict[str, Value]:
        """All entries of a table: the value in the file, else the default."""
        return with_defaults(self.tables.get(name, {}), TABLES[name])

    def path(self, table: str, entry: str) -> Path | None:
        """An entry that names a file; relative paths begin at the configuration's folder."""
        value = self.table(table)[entry]
        return None if value is None else self.file.parent / str(value)

    def is_said(self, table: str, entry: str) -> bool:
        """Whether the entry is in the file."""
        return entry in self.tables.get(table, {})


def read_configuration() -> Configuration:
    """The configuration of this user; without a file, an empty one.

    Raises :class:`~livecube.errors.UsageError` that names file, table and entry.
    """
    file = configuration_file()
    try:
        text = file.read_text(encoding="utf-8-sig")  # some editors put a byte-order mark first
    except FileNotFoundError:
        return Configuration(file, exists=False, tables={})
    except NotADirectoryError:
        raise UsageError(
            f"{file.parent} is a file, but livecube needs a folder there, with {_FILE} in it; "
            "check LIVECUBE_CONFIG"
        ) from None
    except (OSError, UnicodeDecodeError) as error:
        raise UsageError(f"{file} cannot be read: {error}") from None
    try:
        whole = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise UsageError(f"{file} is not TOML: {error}") from None
    return Configuration(file, exists=True, tables=_checked(whole, file))


def _checked(whole: Mapping[str, object], file: Path) -> dict[str, dict[str, Value]]:
    for name in whole:
        if name not in TABLES:
            known = ", ".join(f"[{table}]" for table in TABLES)
            raise UsageError(f"{file}: {name!r} is unknown; the sections are {known}")
    return {
        name: checked_table(table, TABLES[name], f"{file}: [{name}]")
        for name, table in whole.items()
    }


def example() -> str:
    """A file to start one's own from: every entry, commented out, with its purpose."""
    return "\n".join(
        f"[{name}]\n" + "\n".join(_example_entry(entry) for entry in entries)
        for name, entries in TABLES.items()
    )


def _example_entry(entry: Entry) -> str:
    return f"# {entry.about}\n# {entry.name} = {_as_toml(entry.default)}\n"


def _as_toml(value: Value) -> str:
    if value is None:
        return '""'
    if isinstance(value, bool):
        return str(value).lower()
    return f'"{value}"' if isinstance(value, str) else str(value)
