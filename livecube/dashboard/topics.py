"""The tree of topics: ``prefix/desk/name``. A desk is one installation of livecube.

``topics.md`` beside this module lists the messages on each topic.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

from livecube.errors import UsageError

__all__ = [
    "AVAILABILITY",
    "BATTERY",
    "BEAT",
    "CHECK",
    "CORRECTION",
    "DRILL",
    "DRILL_LATEST",
    "FIGURES",
    "FINGERS",
    "HELP",
    "LATEST",
    "LINK",
    "MARK",
    "NAMES",
    "OUTBOX",
    "POSITION",
    "RECENT",
    "SESSION",
    "SOLVE",
    "STAGE",
    "STAGES",
    "Tree",
    "check_prefix",
    "clean",
    "desk_name",
    "desk_part",
]

AVAILABILITY: Final = "availability"
HELP: Final = "help"
POSITION: Final = "position"
LINK: Final = "link"
BATTERY: Final = "battery"
SESSION: Final = "session"
STAGE: Final = "stage"
SOLVE: Final = "solve"
LATEST: Final = "solve/latest"
STAGES: Final = "solve/stages"
RECENT: Final = "solve/recent"
OUTBOX: Final = "outbox"
CORRECTION: Final = "correction"
DRILL: Final = "drill"
DRILL_LATEST: Final = "drill/latest"
FINGERS: Final = "fingers"
BEAT: Final = "beat"
FIGURES: Final = "figures/"
"""Topic above the figures; a listener ignores names that it does not know."""
CHECK: Final = "check"
"""Topic on which ``livecube mqtt check`` publishes and reads back; it leaves no message."""
MARK: Final = "mark"
"""Retained: the last ``seq`` that the broker has received from the desk. After a crash of the
broker it shows which messages it lost; only the desk uses it."""
NAMES: Final = (
    AVAILABILITY,
    LINK,
    HELP,
    POSITION,
    BATTERY,
    SESSION,
    STAGE,
    SOLVE,
    LATEST,
    STAGES,
    RECENT,
    CORRECTION,
    DRILL,
    DRILL_LATEST,
    FINGERS,
    BEAT,
    OUTBOX,
)

_PLAIN: Final = re.compile(r"[A-Za-z0-9-]")
_ESCAPED: Final = re.compile(r"(?:_[0-9A-F]{2})+")
_LONGEST_NAME: Final = 40
_LONGEST_PREFIX: Final = 200


def desk_part(name: str) -> str:
    """A desk's name as one level of a topic and as part of an id, of ``[A-Za-z0-9_-]`` only.

    Every other character becomes ``_`` and two hexadecimal digits for each byte of its UTF-8, so
    that different names stay different. Raises :class:`~livecube.errors.UsageError` for a name that
    is empty, too long or not printable.
    """
    if not 0 < len(name) <= _LONGEST_NAME:
        raise UsageError(f"a desk's name has 1 to {_LONGEST_NAME} characters, not {len(name)}")
    if not name.isprintable():
        raise UsageError(f"the desk's name {name!r} holds a character that cannot be shown")
    return "".join(
        char if _PLAIN.fullmatch(char) else "".join(f"_{byte:02X}" for byte in char.encode())
        for char in name
    )


def desk_name(part: str) -> str:
    """The name from which :func:`desk_part` made this; the part itself if it did not make it."""
    try:
        return _ESCAPED.sub(lambda m: bytes.fromhex(m[0].replace("_", "")).decode(), part)
    except UnicodeDecodeError:
        return part


def clean(text: str, longest: int) -> str:
    """A text of others, at most ``longest`` characters of it, as it can be shown."""
    return "".join(
        char if char.isprintable() else "\N{REPLACEMENT CHARACTER}" for char in text[:longest]
    )


def check_prefix(prefix: str) -> str:
    """The prefix, if topics can begin with it: levels with ``/`` between, no wildcards.

    Raises :class:`~livecube.errors.UsageError` with the reason.
    """
    levels = prefix.split("/")
    if not all(levels) or len(prefix.encode()) > _LONGEST_PREFIX:
        raise UsageError(
            f"the prefix {prefix!r} must be names with / between, {_LONGEST_PREFIX} bytes at most"
        )
    if any(char in "+#" or not char.isprintable() for char in prefix) or prefix.startswith("$"):
        raise UsageError(
            f"the prefix {prefix!r} must not hold +, # or what cannot be shown, nor begin with $"
        )
    return prefix


@dataclass(frozen=True, slots=True)
class Tree:
    """The topics of one desk."""

    prefix: str
    desk: str
    """The desk's name from :func:`desk_part`."""

    def topic(self, name: str) -> str:
        """The full topic of one of :data:`NAMES`, or of another name below the desk."""
        return f"{self.prefix}/{self.desk}/{name}"
