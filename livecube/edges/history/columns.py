"""Solves and chances of the history as columns of numbers, for what looks at many."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

from livecube.edges.history.rows import conditions_of
from livecube.solves.records import Wanted
from livecube.trends.values import ChanceColumns, SolveColumns

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Sequence

    from livecube.trends.values import Whole

__all__ = ["chance_columns", "solve_columns"]

_SPLITS: Final = ("place = 0", "place BETWEEN 1 AND 4", "place = 5", "place > 5")
"""Which of the eight stages belong to each split."""
_SPLIT_SUMS: Final = [f"coalesce(SUM(ms) FILTER (WHERE {condition}), 0)" for condition in _SPLITS]
_PLUS: Final = """
    SELECT solve, corrected, SUM(kind = '+2') AS plus, MAX(kind = 'DNF') AS is_dnf
    FROM penalty GROUP BY solve, corrected
"""


def _which(wanted: Wanted) -> tuple[str, list[Any]]:
    conditions, values = conditions_of(wanted)
    limit = "" if wanted.most is None else f"LIMIT {int(wanted.most)}"
    return f"FROM solve WHERE {conditions} ORDER BY started DESC, id DESC {limit}", values


def solve_columns(database: sqlite3.Connection, wanted: Wanted) -> SolveColumns:
    """The solves that are asked for, in the order in which they were made."""
    which, values = _which(wanted)
    rows = database.execute(
        f"SELECT id, started FROM (SELECT * {which}) ORDER BY started, id", values
    ).fetchall()
    number, started = zip(*rows, strict=True) if rows else ((), ())
    numbers = np.fromiter(number, dtype=np.int64, count=len(number))
    plain = _table(
        database,
        ("id", "coalesce(session, -1)", "ms", "turns", "coalesce(plus, 0)", "coalesce(is_dnf, 0)"),
        f"FROM (SELECT * {which}) AS one LEFT JOIN ({_PLUS}) AS penalties "
        "ON penalties.solve = one.id AND penalties.corrected = one.is_corrected",
        values,
    )
    narrow = "" if wanted == Wanted() else f"WHERE solve IN (SELECT id {which})"
    stages = _table(
        database,
        ("solve", *_SPLIT_SUMS, "SUM(pause_ms)", "COUNT(end_turn) = 8 AND NOT MAX(gap)"),
        f"FROM stage {narrow} GROUP BY solve",
        values if narrow else (),
    )
    session, ms, turns, plus, is_dnf = _rows_of(numbers, plain).T
    *splits, pause_ms, whole = _rows_of(numbers, stages).T
    return SolveColumns(
        number=numbers,
        started=started,
        session=session,
        ms=ms,
        turns=turns,
        plus=plus,
        is_dnf=is_dnf,
        splits_ms=np.stack(splits, axis=1),
        pause_ms=pause_ms,
        whole=whole,
    )


def chance_columns(database: sqlite3.Connection, wanted: Wanted) -> ChanceColumns:
    """The chances in these solves."""
    which, values = _which(wanted)
    techniques, slots = (_names(database, column) for column in ("technique", "slot"))
    narrow = "" if wanted == Wanted() else f"AND solve IN (SELECT id {which})"
    # One whole number says all of a chance but its worth: less to write and to read.
    packed, saved = _table(
        database,
        (
            f"(((solve * 8 + stage) * ? + {_numbered('technique', techniques)}) * ? + "
            f"{_numbered('slot', slots)}) * 2 + taken",
            "saved_ms",
        ),
        f"FROM chance WHERE solve NOT IN (SELECT id FROM solve WHERE deleted IS NOT NULL) {narrow}",
        [len(techniques), *techniques, len(slots), *slots, *(values if narrow else ())],
    ).T
    rest, taken = np.divmod(packed, 2)
    rest, slot = np.divmod(rest, max(len(slots), 1))
    rest, technique = np.divmod(rest, max(len(techniques), 1))
    solve, stage = np.divmod(rest, 8)
    return ChanceColumns(solve, stage, technique, slot, taken, saved, techniques, slots)


def _names(database: sqlite3.Connection, column: str) -> list[str]:
    rows = database.execute(f"SELECT DISTINCT {column} FROM chance ORDER BY 1")
    return [name for (name,) in rows]


def _numbered(column: str, names: Sequence[str]) -> str:
    """SQL that makes numbers of names, which are its values."""
    if not names:
        return "0"
    return f"CASE {column} " + " ".join(f"WHEN ? THEN {n}" for n in range(len(names))) + " END"


def _table(
    database: sqlite3.Connection, columns: Sequence[str], rest: str, values: Sequence[Any]
) -> Whole:
    """Whole numbers that SQL finds, shape (n, columns), in no order.

    SQLite writes them as one text, which numpy reads: no row becomes an object of Python, and
    another thread may go on meanwhile.
    """
    row = " || ',' || ".join(f"({column})" for column in columns)
    (text,) = database.execute(
        f"SELECT group_concat(numbers) FROM (SELECT {row} AS numbers {rest})", values
    ).fetchone()
    found = np.empty(0, dtype=np.int64) if text is None else np.fromstring(text, np.int64, sep=",")
    return found.reshape(-1, len(columns))


def _rows_of(numbers: Whole, table: Whole) -> Whole:
    """The rest of the rows that begin with these numbers, in their order; zeros where none does."""
    rows = np.zeros((len(numbers), table.shape[1] - 1), dtype=np.int64)
    if len(table):
        table = table[table[:, 0].argsort()]
        at = np.minimum(np.searchsorted(table[:, 0], numbers), len(table) - 1)
        has = table[at, 0] == numbers
        rows[has] = table[at[has], 1:]
    return rows
