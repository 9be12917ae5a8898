"""Solves and chances of the history as columns of numbers, for code that reads many solves."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

from livecube.history.rows import conditions_of
from livecube.solves.records import Wanted
from livecube.trends.measures import (
    ChanceColumns,
    FocusColumns,
    LossColumns,
    SolveColumns,
    WorthColumns,
)
from livecube.trends.worth import PLAINLY, comparable

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Collection, Sequence

    import numpy.typing as npt

    from livecube.trends.measures import Whole

__all__ = ["chance_columns", "focus_columns", "loss_columns", "solve_columns", "worth_columns"]

_PLUS: Final = """
    SELECT solve, corrected, SUM(kind = '+2') AS plus, MAX(kind = 'DNF') AS is_dnf
    FROM penalty GROUP BY solve, corrected
"""


def _which(wanted: Wanted) -> tuple[str, list[Any]]:
    conditions, values = conditions_of(wanted)
    last = ""
    if wanted.most is not None:
        last = f"ORDER BY started DESC, id DESC LIMIT {int(wanted.most)}"
    return f"FROM solve WHERE {conditions} {last}", values


def solve_columns(database: sqlite3.Connection, wanted: Wanted) -> SolveColumns:
    """The wanted solves as columns, in the order in which they were made."""
    which, values = _which(wanted)
    numbers, started, day = _in_order(database, which, values)
    plain = _table(
        database,
        ("id", "coalesce(session, -1)", "ms", "turns", "coalesce(plus, 0)", "coalesce(is_dnf, 0)"),
        f"FROM (SELECT * {which}) AS one LEFT JOIN ({_PLUS}) AS penalties "
        "ON penalties.solve = one.id AND penalties.corrected = one.is_corrected",
        values,
    )
    narrow = "" if wanted == Wanted() else f"WHERE solve IN (SELECT id {which})"
    splits = _table(
        database,
        ("solve", "cross_ms", "pairs_ms", "orient_ms", "permute_ms", "pause_ms", "whole"),
        f"FROM split {narrow}",
        values if narrow else (),
    )
    session, ms, turns, plus, is_dnf = _rows_of(numbers, plain).T
    *splits_ms, pause_ms, whole = _rows_of(numbers, splits).T
    return SolveColumns(
        number=numbers,
        first=str(started[0]) if len(started) else "",
        last=str(started[-1]) if len(started) else "",
        day=day,
        session=session,
        ms=ms,
        turns=turns,
        plus=plus,
        is_dnf=is_dnf,
        splits_ms=np.stack(splits_ms, axis=1),
        pause_ms=pause_ms,
        whole=whole,
    )


def _in_order(
    database: sqlite3.Connection, which: str, values: Sequence[Any]
) -> tuple[Whole, npt.NDArray[np.str_], npt.NDArray[np.str_]]:
    """Numbers of the solves, their start times and local days, in the order of making."""
    number, began, here = database.execute(
        "SELECT group_concat(id), group_concat(started, char(10)), "
        "group_concat(coalesce(date(nullif(started, ''), 'localtime'), ''), char(10)) "
        f"FROM (SELECT * {which})",
        values,
    ).fetchone()
    if number is None:
        return np.empty(0, dtype=np.int64), np.empty(0, dtype=np.str_), np.empty(0, dtype=np.str_)
    numbers = np.fromstring(number, np.int64, sep=",")
    started, day = np.array(began.split("\n")), np.array(here.split("\n"))
    order = numbers.argsort(kind="stable")
    order = order[started[order].argsort(kind="stable")]
    return numbers[order], started[order], day[order]


def chance_columns(database: sqlite3.Connection, wanted: Wanted) -> ChanceColumns:
    """The chances in these solves."""
    which, values = _which(wanted)
    techniques, slots = (_names(database, column) for column in ("technique", "slot"))
    narrow = "" if wanted == Wanted() else f"AND solve IN (SELECT id {which})"
    solve, stage, technique, slot, taken, saved = _table(
        database,
        (
            "solve",
            "stage",
            _numbered("technique", techniques),
            _numbered("slot", slots),
            "taken",
            "saved_ms",
        ),
        f"FROM chance WHERE solve NOT IN (SELECT id FROM solve WHERE deleted IS NOT NULL) {narrow}",
        [*techniques, *slots, *(values if narrow else ())],
    ).T
    return ChanceColumns(solve, stage, technique, slot, taken, saved, techniques, slots)


def focus_columns(
    database: sqlite3.Connection, wanted: Wanted, techniques: Collection[str], within_s: float
) -> FocusColumns:
    """The chances within a focus in these solves.

    A chance is a pair before which a technique of the focus cost at most ``within_s``. Its price is
    that of the cheapest one. It is taken if the pair was done by any technique of the focus.
    """
    which, values = _which(wanted)
    names = sorted(techniques)
    solve, price_ms, taken = _table(
        database,
        ("solve", "min(price_ms)", "max(taken)"),
        f"FROM price WHERE technique IN ({', '.join('?' * len(names))}) "
        f"AND solve IN (SELECT id {which}) "
        "GROUP BY solve, stage HAVING min(price_ms) <= ?",
        [*names, *values, round(1000 * within_s)],
    ).T
    return FocusColumns(tuple(names), within_s, solve, price_ms, taken)


def worth_columns(database: sqlite3.Connection, wanted: Wanted) -> WorthColumns:
    """Pairs of these solves at whose beginning a review found a technique possible."""
    which, values = _which(wanted)
    names = [
        name
        for (name,) in database.execute("SELECT DISTINCT technique FROM price ORDER BY 1")
        if name not in PLAINLY
    ]
    plainly = ", ".join("?" * len(PLAINLY))
    solve, technique, place, ms, price_ms, taken, next_ms, together = _table(
        database,
        (
            "price.solve",
            _numbered("price.technique", names),
            "price.stage",
            "stage.ms",
            "price_ms",
            "taken",
            "next.ms",
            "next.shared AND next.stage = 'pair'",
        ),
        "FROM price JOIN stage ON stage.solve = price.solve AND stage.place = price.stage "
        "JOIN stage AS next ON next.solve = price.solve AND next.place = price.stage + 1 "
        f"WHERE price.technique NOT IN ({plainly}) AND NOT stage.shared AND NOT stage.gap "
        f"AND NOT next.gap AND (taken OR stage.technique IN ({plainly})) "
        f"AND price.stage BETWEEN 1 AND 4 AND price.solve IN (SELECT id {which})",
        [*names, *PLAINLY, *PLAINLY, *values],
    ).T
    pairs = WorthColumns(tuple(names), solve, technique, place, ms, price_ms, taken)
    return comparable(pairs, next_ms, together)


def loss_columns(database: sqlite3.Connection, wanted: Wanted) -> LossColumns:
    """Reviewed pairs of these solves against the best plan from their beginning.

    Pairs that were done by the same turn are left out, and pairs with lost turns or with turns that
    were worked out: what they took cannot be told apart, or was not measured.
    """
    which, values = _which(wanted)
    solve, looks, turning, way, order, own = _table(
        database,
        (
            "plan.solve",
            "stage.pause_ms - plan.pause_ms",
            "stage.ms - stage.pause_ms - turning_ms",
            "slow_ms",
            "own_ms - plan_ms",
            "reviewed.own_hands > 0",
        ),
        "FROM plan JOIN stage ON stage.solve = plan.solve AND stage.place = plan.stage "
        "JOIN stage AS next ON next.solve = plan.solve AND next.place = plan.stage + 1 "
        "JOIN reviewed ON reviewed.solve = plan.solve "
        "WHERE NOT stage.shared AND NOT stage.gap AND NOT stage.inferred "
        f"AND NOT (next.shared AND next.stage = 'pair') AND plan.solve IN (SELECT id {which})",
        values,
    ).T
    return LossColumns(solve, np.stack([looks, turning, way, order], axis=1), own)


def _names(database: sqlite3.Connection, column: str) -> list[str]:
    """All different values of an indexed column, found one after the other."""
    rows = database.execute(
        f"WITH RECURSIVE known (name) AS (SELECT min({column}) FROM chance UNION ALL "
        f"SELECT (SELECT min({column}) FROM chance WHERE {column} > name) FROM known "
        "WHERE name IS NOT NULL) SELECT name FROM known WHERE name IS NOT NULL"
    )
    return [name for (name,) in rows]


def _numbered(column: str, names: Sequence[str]) -> str:
    """SQL that turns names into numbers; its parameters are the names."""
    if not names:
        return "0"
    return f"CASE {column} " + " ".join(f"WHEN ? THEN {n}" for n in range(len(names))) + " END"


def _table(
    database: sqlite3.Connection, columns: Sequence[str], rest: str, values: Sequence[Any]
) -> Whole:
    """Whole numbers from SQL, shape (n, columns), in no order.

    SQLite writes each column as one text, which numpy reads. So rows do not become Python
    objects, and another thread can go on meanwhile. (Rows would make it wait again and again.)
    """
    named = ", ".join(f"{column} AS c{n}" for n, column in enumerate(columns))
    joined = ", ".join(f"group_concat(c{n})" for n in range(len(columns)))
    texts = database.execute(f"SELECT {joined} FROM (SELECT {named} {rest})", values).fetchone()
    if texts[0] is None:
        return np.empty((0, len(columns)), dtype=np.int64)
    return np.stack([np.fromstring(text, np.int64, sep=",") for text in texts], axis=1)


def _rows_of(numbers: Whole, table: Whole) -> Whole:
    """The rest of the rows that begin with these numbers, in this order; zeros for missing rows."""
    rows = np.zeros((len(numbers), table.shape[1] - 1), dtype=np.int64)
    if len(table):
        table = table[table[:, 0].argsort()]
        at = np.minimum(np.searchsorted(table[:, 0], numbers), len(table) - 1)
        has = table[at, 0] == numbers
        rows[has] = table[at[has], 1:]
    return rows
