"""Which line of a TOML text an entry stands in.

``tomllib`` does not say. So it is asked about the text up to each line: the entry stands in the
statement with which it first appears. That is right for whatever TOML allows, since nothing of
its grammar is repeated here; it is slow, and only needed for a message.
"""

from __future__ import annotations

import tomllib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from livecube.profiles.schema import Path

__all__ = ["line_of"]


def line_of(text: str, path: Path) -> int:
    """The line (from 1) of an entry; of the nearest table around it, if it has none."""
    lines = text.split("\n")
    for depth in range(len(path), 0, -1):
        whole = 0  # so many lines are whole statements without the entry
        for count in range(1, len(lines) + 1):
            table = _parsed("\n".join(lines[:count]) + "\n")
            if table is None:
                continue
            if _has(table, path[:depth]):
                return _first_statement(lines, whole)
            whole = count
    return 1


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
