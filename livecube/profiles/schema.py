"""Checks a table against a JSON Schema.

The schema is the only definition of the form. This module knows the part of JSON Schema that
``profile.schema.json`` uses. It returns the first fault with its path, for a message.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any, Final, NamedTuple, TypeAlias

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

__all__ = ["Fault", "Path", "first_fault"]

Path: TypeAlias = "tuple[str | int, ...]"
"""Keys and indices from the outermost table on."""


class Fault(NamedTuple):
    """An entry that breaks the schema."""

    path: Path
    """Path of the entry; for a missing entry, path of the table that lacks it."""
    reason: str


_TYPES: Final[dict[str, tuple[type, str]]] = {
    "object": (dict, "a table"),
    "array": (list, "a list"),
    "string": (str, "a text"),
    "integer": (int, "a whole number"),
    "boolean": (bool, "true or false"),
}


def first_fault(value: object, schema: Mapping[str, Any]) -> Fault | None:
    """The first fault of a value; None: the value follows the schema."""
    return next(_faults(value, schema, schema, ()), None)


def _faults(
    value: object, rule: Mapping[str, Any], root: Mapping[str, Any], path: Path
) -> Iterator[Fault]:
    if "$ref" in rule:
        yield from _faults(value, root["$defs"][rule["$ref"].rpartition("/")[2]], root, path)
    if "type" in rule:
        wanted, words = _TYPES[rule["type"]]
        if not isinstance(value, wanted) or (wanted is int and isinstance(value, bool)):
            yield Fault(path, f"must be {words}, not {_shown(value)}")
            return
    for keyword, judge in _JUDGES.items():
        if keyword in rule and (reason := judge(value, rule[keyword])):
            yield Fault(path, reason)
    if isinstance(value, dict) and "properties" in rule:
        yield from _in_table(value, rule, root, path)
    if isinstance(value, list) and "items" in rule:
        for index, item in enumerate(value):
            yield from _faults(item, rule["items"], root, (*path, index))


def _in_table(
    table: dict[str, Any], rule: Mapping[str, Any], root: Mapping[str, Any], path: Path
) -> Iterator[Fault]:
    known = rule["properties"]
    for key, item in table.items():
        if key in known:
            yield from _faults(item, known[key], root, (*path, key))
        else:
            yield Fault((*path, key), f"is unknown here; known are {', '.join(known)}")
    for key in rule.get("required", ()):
        if key not in table:
            yield Fault(path, f"lacks {key!r}")


def _shown(value: object) -> str:
    try:
        text = repr(value)
    except (ValueError, RecursionError):  # thousands of digits, or of nested tables
        return "the given value"
    return text if len(text) < 40 else text[:36] + "…"


def _same(value: object, other: object) -> bool:
    return type(value) is type(other) and value == other


_JUDGES: Final[dict[str, Callable[[Any, Any], str]]] = {
    "const": lambda v, c: "" if _same(v, c) else f"must be {c!r}, not {_shown(v)}",
    "enum": lambda v, options: (
        ""
        if any(_same(v, option) for option in options)
        else f"must be {' or '.join(map(repr, options))}, not {_shown(v)}"
    ),
    "minimum": lambda v, least: "" if v >= least else f"must be at least {least}, not {_shown(v)}",
    "maximum": lambda v, most: "" if v <= most else f"must be at most {most}, not {_shown(v)}",
    "minLength": lambda v, least: "" if len(v) >= least else "must not be empty",
    "pattern": lambda v, pattern: (
        ""
        if re.search(pattern.removesuffix("$") + r"\Z", v)
        else f"must look like {pattern}, not {_shown(v)}"
    ),
    "minItems": lambda v, least: "" if len(v) >= least else f"must have {least} entries or more",
    "maxItems": lambda v, most: "" if len(v) <= most else f"must have {most} entries or fewer",
    "minProperties": lambda v, least: "" if len(v) >= least else "must not be empty",
}
