"""Acknowledged messages that the broker may forget: kept for a while, to be sent again.

A killed broker loses messages that it has not written to disk; mosquitto writes every half hour by
default. Lately acknowledged messages can be sent once more, oldest first, with the same ids and
marked ``again``. A consumer that drops repetitions sees everything once and in order; one that
keeps no ids can ignore marked messages.

Functions on an outbox's database, for within its transactions.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterable

__all__ = ["TOLD_TABLES", "Letter", "lately_told", "note_told", "take_over_states", "told_states"]

TOLD_TABLES: Final = """
CREATE TABLE IF NOT EXISTS told (
    seq INTEGER PRIMARY KEY, name TEXT NOT NULL, payload TEXT NOT NULL,
    detail INTEGER NOT NULL, at REAL NOT NULL
) STRICT;
CREATE TABLE IF NOT EXISTS said (name TEXT PRIMARY KEY, payload TEXT NOT NULL) STRICT;
"""
"""``told``: acknowledged messages with times; ``said``: the last message of each state."""
_KEPT: Final = (
    # detail, seconds, at least, at most
    (False, 1800.0, 12, 100),
    (True, 30.0, 0, 300),
)
"""For each name: solves and the like of half an hour, details of half a minute. The minimum covers
all solves in ``solve/recent``: it is sent later, and must not be the first to hold a solve."""
_LET_GO: Final = """
DELETE FROM told WHERE detail = ? AND seq IN (
    SELECT seq FROM (
        SELECT seq, at, row_number() OVER (PARTITION BY name ORDER BY seq DESC) AS place FROM told
    ) WHERE place > ? OR (at < ? AND place > ?)
)
"""


@dataclass(frozen=True, slots=True)
class Letter:
    """A message as it is sent; ``name`` is its place below the desk."""

    seq: int
    name: str
    payload: str
    retain: bool
    detail: bool = False


def note_told(db: sqlite3.Connection, letters: Iterable[Letter], now: float) -> None:
    """Note that the broker acknowledged these at ``now``; drop those that are too old or too many.

    Ages count back from now, not from the time of sending again: a broker that dies long after the
    last message has forgotten as much.
    """
    for one in letters:
        if one.retain:
            db.execute("INSERT OR REPLACE INTO said VALUES (?, ?)", (one.name, one.payload))
        else:
            row = (one.seq, one.name, one.payload, one.detail, now)
            db.execute("INSERT OR REPLACE INTO told VALUES (?, ?, ?, ?, ?)", row)
    for detail, seconds, least, most in _KEPT:
        db.execute(_LET_GO, (detail, most, now - seconds, least))


def lately_told(db: sqlite3.Connection) -> list[Letter]:
    """The messages to send again, in order."""
    rows = db.execute("SELECT seq, name, payload, detail FROM told ORDER BY seq")
    return [
        Letter(seq, name, _again(payload), retain=False, detail=bool(detail))
        for seq, name, payload, detail in rows
    ]


def told_states(db: sqlite3.Connection) -> list[Letter]:
    """The last acknowledged message of each retained name; a newer one may wait."""
    rows = db.execute("SELECT name, payload FROM said ORDER BY name")
    return [Letter(0, name, payload, retain=True) for name, payload in rows]


def take_over_states(db: sqlite3.Connection) -> None:
    """Fill the table of an older file: states that do not wait have been sent."""
    db.execute(
        "INSERT OR IGNORE INTO said SELECT name, payload FROM latest"
        " WHERE name NOT IN (SELECT name FROM waiting WHERE retain)"
    )


def _again(payload: str) -> str:
    """The same object, marked ``again``."""
    return f'{payload.removesuffix("}")},"again":true}}'
