"""The tables of the history, and the migrations from one version to the next.

``user_version`` of the file is the number of :data:`MIGRATIONS` already made. Never change a
released one: add another.
"""

from __future__ import annotations

from typing import Final

__all__ = ["MIGRATIONS", "SPLITS", "next_number"]

_FIRST: Final = """
CREATE TABLE person (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE
) STRICT;

CREATE TABLE session (
    id INTEGER PRIMARY KEY,
    person INTEGER NOT NULL REFERENCES person,
    started TEXT NOT NULL,
    source TEXT NOT NULL
) STRICT;

CREATE TABLE solve (
    id INTEGER PRIMARY KEY,
    identity TEXT NOT NULL UNIQUE,
    person INTEGER NOT NULL REFERENCES person,
    session INTEGER REFERENCES session,
    started TEXT NOT NULL,
    cross_colour TEXT,
    ms INTEGER NOT NULL,
    turns INTEGER NOT NULL,
    solved INTEGER NOT NULL,
    gap INTEGER NOT NULL,
    scramble TEXT,
    inspection_ms INTEGER,
    is_corrected INTEGER NOT NULL DEFAULT 0,
    deleted TEXT,
    log TEXT NOT NULL
) STRICT;
CREATE INDEX solve_by_time ON solve (started, id);
CREATE INDEX solve_by_person ON solve (person, started, id);
CREATE INDEX solve_by_session ON solve (session, id);
CREATE INDEX solve_by_cross ON solve (cross_colour, started, id);

CREATE TABLE stage (
    solve INTEGER NOT NULL REFERENCES solve ON DELETE CASCADE,
    place INTEGER NOT NULL,
    stage TEXT NOT NULL,
    slots TEXT NOT NULL,
    end_turn INTEGER,
    turns INTEGER NOT NULL,
    ms INTEGER NOT NULL,
    pause_ms INTEGER NOT NULL,
    technique TEXT,
    case_name TEXT,
    layer_offset INTEGER NOT NULL,
    shared INTEGER NOT NULL,
    inferred INTEGER NOT NULL,
    gap INTEGER NOT NULL,
    holding TEXT,
    PRIMARY KEY (solve, place)
) STRICT, WITHOUT ROWID;
CREATE INDEX stage_by_technique ON stage (technique, solve) WHERE technique IS NOT NULL;

CREATE TABLE penalty (
    solve INTEGER NOT NULL REFERENCES solve ON DELETE CASCADE,
    corrected INTEGER NOT NULL,
    place INTEGER NOT NULL,
    kind TEXT NOT NULL,
    reason TEXT NOT NULL,
    PRIMARY KEY (solve, corrected, place)
) STRICT, WITHOUT ROWID;

CREATE TABLE tag (
    name TEXT NOT NULL,
    solve INTEGER NOT NULL REFERENCES solve ON DELETE CASCADE,
    PRIMARY KEY (name, solve)
) STRICT, WITHOUT ROWID;
CREATE INDEX tag_by_solve ON tag (solve);

CREATE TABLE chance (
    id INTEGER PRIMARY KEY,
    solve INTEGER NOT NULL REFERENCES solve ON DELETE CASCADE,
    stage INTEGER NOT NULL,
    technique TEXT NOT NULL,
    slot TEXT NOT NULL,
    taken INTEGER NOT NULL,
    saved_ms INTEGER NOT NULL
) STRICT;
CREATE INDEX chance_by_solve ON chance (solve);
CREATE INDEX chance_by_technique ON chance (technique, solve);

CREATE TABLE imported (
    digest TEXT PRIMARY KEY,
    name TEXT NOT NULL,
    imported TEXT NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TABLE change (
    id INTEGER PRIMARY KEY,
    made TEXT NOT NULL,
    kind TEXT NOT NULL,
    before TEXT NOT NULL
) STRICT;
"""

_DRILLS: Final = """
CREATE TABLE drill_try (
    id INTEGER PRIMARY KEY,
    person INTEGER NOT NULL REFERENCES person,
    tried TEXT NOT NULL,
    technique TEXT NOT NULL,
    case_name TEXT NOT NULL,
    grade TEXT NOT NULL,
    place TEXT NOT NULL,
    done TEXT NOT NULL,
    slots TEXT NOT NULL,
    how_well TEXT NOT NULL,
    turns INTEGER NOT NULL,
    fewest INTEGER NOT NULL,
    ms INTEGER NOT NULL,
    look_ms INTEGER NOT NULL,
    pause_ms INTEGER NOT NULL,
    seed INTEGER
) STRICT;
CREATE INDEX drill_try_by_place ON drill_try (person, place);
CREATE INDEX drill_try_by_technique ON drill_try (person, technique, tried);

CREATE TABLE drill_card (
    person INTEGER NOT NULL REFERENCES person,
    technique TEXT NOT NULL,
    case_name TEXT NOT NULL,
    due TEXT NOT NULL,
    state TEXT NOT NULL,
    PRIMARY KEY (person, technique, case_name)
) STRICT, WITHOUT ROWID;
CREATE INDEX drill_card_by_due ON drill_card (person, due);

CREATE TABLE drill_round (
    id INTEGER PRIMARY KEY,
    person INTEGER NOT NULL REFERENCES person,
    tried TEXT NOT NULL,
    kind TEXT NOT NULL,
    figures TEXT NOT NULL
) STRICT;
CREATE INDEX drill_round_by_person ON drill_round (person, kind, tried);
"""

SPLITS: Final = """
INSERT INTO split
SELECT
    solve,
    coalesce(SUM(ms) FILTER (WHERE place = 0), 0),
    coalesce(SUM(ms) FILTER (WHERE place BETWEEN 1 AND 4), 0),
    coalesce(SUM(ms) FILTER (WHERE place = 5), 0),
    coalesce(SUM(ms) FILTER (WHERE place > 5), 0),
    SUM(pause_ms),
    COUNT(end_turn) = 8 AND NOT MAX(gap)
FROM stage
"""
"""Sums of the eight stages of each solve; ``GROUP BY solve`` must follow."""

_SPLITS: Final = f"""
CREATE TABLE split (
    solve INTEGER PRIMARY KEY REFERENCES solve ON DELETE CASCADE,
    cross_ms INTEGER NOT NULL,
    pairs_ms INTEGER NOT NULL,
    orient_ms INTEGER NOT NULL,
    permute_ms INTEGER NOT NULL,
    pause_ms INTEGER NOT NULL,
    whole INTEGER NOT NULL
) STRICT;
{SPLITS} GROUP BY solve;
CREATE INDEX chance_by_slot ON chance (slot);
"""

_GRADES: Final = """
UPDATE drill_try SET grade = CASE grade
    WHEN 'open' THEN 'easy' WHEN 'veiled' THEN 'medium' WHEN 'hidden' THEN 'hard' ELSE grade
END;
"""
"""Grades have other names now."""

_ROSTER: Final = """
INSERT OR IGNORE INTO person (id, name)
SELECT DISTINCT person, 'person ' || person FROM (
    SELECT person FROM solve UNION SELECT person FROM session UNION SELECT person FROM drill_try
    UNION SELECT person FROM drill_card UNION SELECT person FROM drill_round
) WHERE person NOT IN (SELECT id FROM person);
UPDATE OR IGNORE person SET name = name || '-' || id WHERE lower(name) = 'any';
ALTER TABLE person ADD COLUMN settings TEXT NOT NULL DEFAULT '{}';
ALTER TABLE imported ADD COLUMN person INTEGER REFERENCES person;

CREATE TABLE owned_cube (
    cube TEXT PRIMARY KEY,
    person INTEGER NOT NULL REFERENCES person
) STRICT, WITHOUT ROWID;

CREATE TABLE learned (
    person INTEGER NOT NULL REFERENCES person,
    kind TEXT NOT NULL,
    made TEXT NOT NULL,
    solves INTEGER NOT NULL,
    content TEXT NOT NULL,
    PRIMARY KEY (person, kind)
) STRICT, WITHOUT ROWID;

CREATE TABLE used_number (
    what TEXT PRIMARY KEY,
    number INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
"""
"""The roster of people. ``used_number`` holds the last numbers of people, sessions and solves that
were forgotten: they are not given again."""

_PRICES: Final = """
CREATE TABLE price (
    solve INTEGER NOT NULL REFERENCES solve ON DELETE CASCADE,
    stage INTEGER NOT NULL,
    technique TEXT NOT NULL,
    price_ms INTEGER NOT NULL,
    taken INTEGER NOT NULL,
    PRIMARY KEY (solve, stage, technique)
) STRICT, WITHOUT ROWID;
CREATE INDEX price_by_technique ON price (technique, price_ms);
"""

_TAKEN: Final = """
CREATE TABLE taken (
    solve INTEGER PRIMARY KEY REFERENCES solve ON DELETE CASCADE,
    content TEXT NOT NULL
) STRICT;
"""
"""What a solve says about hands and eyes (``livecube/own``)."""

_REVIEWED: Final = """
CREATE TABLE reviewed (
    solve INTEGER PRIMARY KEY REFERENCES solve ON DELETE CASCADE,
    made TEXT NOT NULL
) STRICT;
INSERT INTO reviewed SELECT solve, '' FROM price UNION SELECT solve, '' FROM chance;

CREATE TABLE chance_card (
    solve INTEGER NOT NULL REFERENCES solve ON DELETE CASCADE,
    stage INTEGER NOT NULL,
    technique TEXT NOT NULL,
    due TEXT NOT NULL,
    state TEXT NOT NULL,
    PRIMARY KEY (solve, stage, technique)
) STRICT, WITHOUT ROWID;
"""
"""Which solves have a review, also if it found nothing; missed chances that were tried again."""

_LESSONS: Final = """
CREATE TABLE lesson_step (
    id INTEGER PRIMARY KEY,
    person INTEGER NOT NULL REFERENCES person,
    done TEXT NOT NULL,
    lesson TEXT NOT NULL,
    step INTEGER NOT NULL,
    kind TEXT NOT NULL,
    passed INTEGER NOT NULL,
    made INTEGER NOT NULL,
    good INTEGER NOT NULL
) STRICT;
CREATE INDEX lesson_step_by_lesson ON lesson_step (person, lesson, step);

CREATE TABLE lesson_stop (
    person INTEGER NOT NULL REFERENCES person,
    lesson TEXT NOT NULL,
    stopped TEXT NOT NULL,
    step INTEGER NOT NULL,
    steps INTEGER NOT NULL,
    PRIMARY KEY (person, lesson)
) STRICT, WITHOUT ROWID;

CREATE TABLE task (
    id INTEGER PRIMARY KEY,
    person INTEGER NOT NULL REFERENCES person,
    taken TEXT NOT NULL,
    identity TEXT NOT NULL,
    content TEXT NOT NULL,
    UNIQUE (person, identity)
) STRICT;
"""

_PLANS: Final = """
CREATE TABLE plan (
    solve INTEGER NOT NULL REFERENCES solve ON DELETE CASCADE,
    stage INTEGER NOT NULL,
    plan_ms INTEGER NOT NULL,
    own_ms INTEGER NOT NULL,
    slow_ms INTEGER NOT NULL,
    turning_ms INTEGER NOT NULL,
    pause_ms INTEGER NOT NULL,
    PRIMARY KEY (solve, stage)
) STRICT, WITHOUT ROWID;
ALTER TABLE reviewed ADD COLUMN own_hands INTEGER;
"""
"""How each pair compares with the best plan. ``own_hands``: the number of solves that the hands of
a review were learned from, 0 if they were not the person's own; NULL: the review of an older
livecube, which kept no plans."""

MIGRATIONS: Final[tuple[str, ...]] = (
    _FIRST, _DRILLS, _SPLITS, _GRADES, _ROSTER, _PRICES, _TAKEN, _REVIEWED, _LESSONS, _PLANS,
)  # fmt: skip


def next_number(table: str) -> str:
    """SQL for the next number of a person, session or solve; no number is given twice."""
    return (
        f"(SELECT 1 + max(coalesce((SELECT max(id) FROM {table}), 0), coalesce((SELECT number "
        f"FROM used_number WHERE what = '{table}'), 0)))"
    )
