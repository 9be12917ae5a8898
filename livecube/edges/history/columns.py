"""Solves and chances of the history as columns of numbers, for what looks at many."""

from __future__ import annotations

from itertools import chain
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from livecube.edges.history.rows import conditions_of
from livecube.solves.records import Wanted
from livecube.trends.values import SPLITS, ChanceColumns, SolveColumns

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterable, Sequence

    from livecube.trends.values import Whole

__all__ = ["chance_columns", "solve_columns"]

_SPLITS: Final = ("place = 0", "place BETWEEN 1 AND 4", "place = 5", "place > 5")
"""Which of the eight stages belong to each split."""
_SPLIT_SUMS: Final = ", ".join(
    f"coalesce(SUM(ms) FILTER (WHERE {condition}), 0)" for condition in _SPLITS
)
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
        "SELECT id, started, coalesce(session, -1), ms, turns, coalesce(plus, 0), "
        f"coalesce(is_dnf, 0) FROM (SELECT * {which}) AS one LEFT JOIN ({_PLUS}) AS penalties "
        "ON penalties.solve = one.id AND penalties.corrected = one.is_corrected "
        "ORDER BY started, id",
        values,
    ).fetchall()
    number, started, *rest = zip(*rows, strict=True) if rows else ((),) * 7
    numbers = _whole(number)
    session, ms, turns, plus, is_dnf = map(_whole, rest)
    narrow = "" if wanted == Wanted() else f"WHERE solve IN (SELECT id {which})"
    # One sum for each solve: the many stages never become Python's objects.
    stages = _table(
        database.execute(
            f"SELECT solve, {_SPLIT_SUMS}, SUM(pause_ms), COUNT(end_turn) = 8 AND NOT MAX(gap) "
            f"FROM stage {narrow} GROUP BY solve ORDER BY solve",
            values if narrow else (),
        ),
        len(SPLITS) + 3,
    )
    of = np.zeros((len(numbers), stages.shape[1]), dtype=np.int64)
    if len(stages):
        at = np.minimum(np.searchsorted(stages[:, 0], numbers), len(stages) - 1)
        has = stages[at, 0] == numbers
        of[has] = stages[at[has]]
    return SolveColumns(
        number=numbers,
        started=started,
        session=session,
        ms=ms,
        turns=turns,
        plus=plus,
        is_dnf=is_dnf,
        splits_ms=of[:, 1 : 1 + len(SPLITS)],
        pause_ms=of[:, -2],
        whole=of[:, -1],
    )


def chance_columns(database: sqlite3.Connection, wanted: Wanted) -> ChanceColumns:
    """The chances in these solves."""
    which, values = _which(wanted)
    techniques, slots = (_names(database, column) for column in ("technique", "slot"))
    narrow = "" if wanted == Wanted() else f"AND solve IN (SELECT id {which})"
    # One whole number says all of a chance but its worth: few objects of Python for many rows.
    packed, saved = _table(
        database.execute(
            f"SELECT (((solve * 8 + stage) * ? + {_numbered('technique', techniques)}) * ? + "
            f"{_numbered('slot', slots)}) * 2 + taken, saved_ms FROM chance "
            f"WHERE solve NOT IN (SELECT id FROM solve WHERE deleted IS NOT NULL) {narrow}",
            [len(techniques), *techniques, len(slots), *slots, *(values if narrow else ())],
        ),
        2,
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


def _whole(values: Sequence[int]) -> Whole:
    return np.fromiter(values, dtype=np.int64, count=len(values))


def _table(rows: Iterable[Sequence[int]], width: int) -> Whole:
    return np.fromiter(chain.from_iterable(rows), dtype=np.int64).reshape(-1, width)
