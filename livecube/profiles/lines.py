"""The line of an entry in a TOML text, for messages.

``tomllib`` gives no line numbers. So it parses the text up to each line: the entry is in the
statement with which it first appears. That is right for all TOML, since no grammar is repeated
here.
"""

from __future__ import annotations

import tomllib
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from livecube.profiles.schema import Path

__all__ = ["line_of"]

_LONGEST: Final = 100
"""Longest statement in lines; in a longer one the search stops."""


def line_of(text: str, path: Path) -> int:
    """The line (from 1) of an entry; if there is no such entry, of the nearest table around it."""
    lines, table = text.split("\n"), _parsed(text)
    for depth in range(len(path), 0, -1):
        if _has(table, path[:depth]):
            return _first_statement(lines, _lines_without(lines, path[:depth]))
    return 1


def _lines_without(lines: list[str], path: Path) -> int:
    """The number of first lines that are whole statements without the entry.

    All lines together have the entry. Halving works, since more lines never lose it.
    """
    without, holding = 0, len(lines)
    while without + 1 < holding:
        middle = (without + holding) // 2
        counts = [*range(middle, holding), *range(middle - 1, without, -1)]
        for count in counts[:_LONGEST]:
            table = _parsed("\n".join(lines[:count]) + "\n")
            if table is not None:
                break
        else:
            return without  # within one statement of many lines
        if _has(table, path):
            holding = count
        else:
            without = count
    return without


def _parsed(text: str) -> dict[str, Any] | None:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return None


def _has(value: Any, path: Path) -> bool:
    for key in path:
        if isinstance(key, int):
            found = isinstance(value, list) and key < len(value)
        else:
            found = isinstance(value, dict) and key in value
        if not found:
            return False
        value = value[key]
    return True


def _first_statement(lines: list[str], start: int) -> int:
    """The first line from ``start`` (from 0) that is neither empty nor a comment; from 1."""
    while start + 1 < len(lines) and lines[start].strip()[:1] in ("", "#"):
        start += 1
    return start + 1
