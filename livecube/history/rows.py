"""Conversion between rows of the database and values."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from livecube.history.schema import SPLITS, next_number
from livecube.solves.records import Chance, KeptStage, Listed, Price
from livecube.timing.results import Penalty

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterable, Sequence

    from livecube.solves.records import KeptSolve, Wanted

__all__ = [
    "chances_of",
    "conditions_of",
    "insert_penalties",
    "insert_solve",
    "insert_stages",
    "listed",
    "listed_numbers",
    "prices_of",
    "stages_of",
    "stages_of_many",
]

_COLUMNS: Final = """
    solve.id, solve.identity, person.name, solve.started, solve.session, solve.cross_colour,
    solve.ms, solve.turns, solve.solved, solve.gap, solve.scramble, solve.inspection_ms,
    solve.is_corrected
"""
_STAGE_COLUMNS: Final = (
    "stage, slots, end_turn, turns, ms, pause_ms, technique, case_name, layer_offset, shared, "
    "inferred, gap, holding"
)


def conditions_of(wanted: Wanted, *, deleted: bool = False) -> tuple[str, list[Any]]:
    """The conditions of a choice as SQL, and their parameters; with ``deleted``, of all solves."""
    asked: list[tuple[str, Any]] = [
        ("solve.started >= ?", wanted.since),
        # A day sorts before all its times; a tilde sorts after every character of a time.
        ("solve.started <= ? || '~'", wanted.until),
        ("solve.cross_colour = ?", wanted.cross),
        ("solve.person = (SELECT id FROM person WHERE name = ?)", wanted.person),
        ("solve.session = ?", wanted.session),
        ("solve.id IN (SELECT solve FROM tag WHERE name = ?)", wanted.tag),
        ("solve.id IN (SELECT solve FROM stage WHERE technique = ?)", wanted.technique),
    ]
    given = [(condition, value) for condition, value in asked if value is not None]
    first = "1" if deleted else "solve.deleted IS NULL"
    conditions = " AND ".join([first, *(condition for condition, _ in given)])
    return conditions, [value for _, value in given]


def listed(database: sqlite3.Connection, wanted: Wanted) -> list[Listed]:
    """The wanted solves, in the order in which they were made."""
    conditions, values = conditions_of(wanted)
    return _listed(database, conditions, values, wanted.most)


def listed_numbers(database: sqlite3.Connection, numbers: Sequence[int]) -> list[Listed]:
    """The solves with these numbers, except deleted ones."""
    marks = ", ".join("?" * len(numbers))
    condition = f"solve.deleted IS NULL AND solve.id IN ({marks})"
    return _listed(database, condition, list(numbers), None)


def _listed(
    database: sqlite3.Connection, conditions: str, values: list[Any], most: int | None
) -> list[Listed]:
    limit = "" if most is None else f"LIMIT {int(most)}"
    which = f"FROM solve WHERE {conditions} ORDER BY started DESC, id DESC {limit}"
    rows = database.execute(
        f"SELECT {_COLUMNS} FROM (SELECT * {which}) AS solve "
        "JOIN person ON person.id = solve.person ORDER BY solve.started, solve.id",
        values,
    ).fetchall()
    ids = f"(SELECT id {which})"
    penalties = _penalties(
        database.execute(
            f"SELECT solve, corrected, kind, reason FROM penalty WHERE solve IN {ids} "
            "ORDER BY solve, corrected, place",
            values,
        )
    )
    tags: dict[int, list[str]] = {}
    for solve, name in database.execute(
        f"SELECT solve, name FROM tag WHERE solve IN {ids} ORDER BY name", values
    ):
        tags.setdefault(solve, []).append(name)
    return [_listed_row(row, penalties, tags.get(row[0], ())) for row in rows]


def _penalties(rows: Iterable[Sequence[Any]]) -> dict[tuple[int, int], tuple[Penalty, ...]]:
    found: dict[tuple[int, int], tuple[Penalty, ...]] = {}
    for solve, corrected, kind, reason in rows:
        known = found.get((solve, corrected), ())
        found[solve, corrected] = (*known, Penalty(kind, reason))
    return found


def _listed_row(
    row: Sequence[Any],
    penalties: dict[tuple[int, int], tuple[Penalty, ...]],
    tags: Iterable[str],
) -> Listed:
    number, identity, person, started, session, cross, ms, turns, *rest = row
    solved, gap, scramble, inspection_ms, is_corrected = rest
    return Listed(
        number=number,
        identity=identity,
        person=person,
        started=started,
        session=session,
        cross=cross,
        ms=ms,
        turns=turns,
        solved=bool(solved),
        gap=bool(gap),
        scramble=scramble,
        inspection_ms=inspection_ms,
        measured=penalties.get((number, 0), ()),
        corrected=penalties.get((number, 1), ()) if is_corrected else None,
        tags=tuple(tags),
    )


def stages_of(database: sqlite3.Connection, number: int) -> tuple[KeptStage, ...]:
    """The stages of one solve."""
    rows = database.execute(
        f"SELECT {_STAGE_COLUMNS} FROM stage WHERE solve = ? ORDER BY place", (number,)
    )
    return tuple(_stage(row) for row in rows)


def _stage(row: Sequence[Any]) -> KeptStage:
    stage, slots, end_turn, turns, ms, pause_ms, technique, case, offset, *marks, holding = row
    shared, inferred, gap = map(bool, marks)
    return KeptStage(
        stage=stage,
        slots=tuple(slots.split()),
        end_turn=end_turn,
        turns=turns,
        ms=ms,
        pause_ms=pause_ms,
        technique=technique,
        case=case,
        offset=offset,
        shared=shared,
        inferred=inferred,
        gap=gap,
        holding=holding,
    )


def stages_of_many(
    database: sqlite3.Connection, wanted: Wanted
) -> dict[int, tuple[tuple[KeptStage, ...], str]]:
    """Stages and log path of all wanted solves, by number."""
    conditions, values = conditions_of(wanted)
    limit = "" if wanted.most is None else f"LIMIT {int(wanted.most)}"
    which = f"FROM solve WHERE {conditions} ORDER BY started DESC, id DESC {limit}"
    logs = database.execute(f"SELECT id, log {which}", values).fetchall()
    stages: dict[int, list[KeptStage]] = {number: [] for number, _ in logs}
    for number, *row in database.execute(
        f"SELECT solve, {_STAGE_COLUMNS} FROM stage WHERE solve IN (SELECT id {which}) "
        "ORDER BY solve, place",
        values,
    ):
        stages[number].append(_stage(row))
    return {number: (tuple(stages[number]), log) for number, log in logs}


def chances_of(database: sqlite3.Connection, number: int) -> tuple[Chance, ...]:
    """The chances that a review found in a solve; empty without a review."""
    rows = database.execute(
        "SELECT stage, technique, slot, taken, saved_ms FROM chance WHERE solve = ? ORDER BY id",
        (number,),
    )
    return tuple(
        Chance(stage, technique, slot, bool(taken), saved_ms)
        for stage, technique, slot, taken, saved_ms in rows
    )


def prices_of(database: sqlite3.Connection, number: int) -> tuple[Price, ...]:
    """The prices of techniques that a review found in a solve; empty without a review."""
    rows = database.execute(
        "SELECT stage, technique, price_ms, taken FROM price WHERE solve = ? "
        "ORDER BY stage, technique",
        (number,),
    )
    return tuple(
        Price(stage, technique, price_ms, bool(taken)) for stage, technique, price_ms, taken in rows
    )


def insert_solve(
    database: sqlite3.Connection, solve: KeptSolve, person: int, session: int | None
) -> int | None:
    """Insert a solve; returns its number, None if it is already there."""
    one = solve.listed
    cursor = database.execute(
        "INSERT INTO solve (id, identity, person, session, started, cross_colour, ms, turns, "
        "solved, gap, scramble, inspection_ms, log) "
        f"VALUES ({next_number('solve')}, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?) "
        "ON CONFLICT (identity) DO NOTHING",
        (one.identity, person, session, one.started, one.cross, one.ms, one.turns, one.solved,
         one.gap, one.scramble, one.inspection_ms, solve.log),
    )  # fmt: skip
    if not cursor.rowcount:
        return None
    number = cursor.lastrowid
    assert number is not None
    insert_stages(database, number, solve.stages)
    insert_penalties(database, number, one.measured, corrected=False)
    return number


def insert_stages(database: sqlite3.Connection, number: int, stages: Iterable[KeptStage]) -> None:
    """Insert the stages of a solve without stages, and their sums."""
    database.executemany(
        f"INSERT INTO stage (solve, place, {_STAGE_COLUMNS}) "
        "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        [
            (number, place, stage.stage, " ".join(stage.slots), stage.end_turn, stage.turns,
             stage.ms, stage.pause_ms, stage.technique, stage.case, stage.offset, stage.shared,
             stage.inferred, stage.gap, stage.holding)
            for place, stage in enumerate(stages)
        ],
    )  # fmt: skip
    database.execute("DELETE FROM split WHERE solve = ?", (number,))
    database.execute(f"{SPLITS} WHERE solve = ? GROUP BY solve", (number,))


def insert_penalties(
    database: sqlite3.Connection, number: int, penalties: Iterable[Penalty], *, corrected: bool
) -> None:
    """Replace the penalties of a solve."""
    database.execute("DELETE FROM penalty WHERE solve = ? AND corrected = ?", (number, corrected))
    database.executemany(
        "INSERT INTO penalty (solve, corrected, place, kind, reason) VALUES (?, ?, ?, ?, ?)",
        [
            (number, corrected, place, penalty.kind, penalty.reason)
            for place, penalty in enumerate(penalties)
        ],
    )
