"""The tables of a data set as Arrow schemas; ``livecube/formats/data-set.md`` describes them.

Times are whole milliseconds. ``solve`` is the same number in all tables. Person and month are
in the names of the folders, not in the files.
"""

from __future__ import annotations

from typing import Final

import pyarrow as pa

__all__ = ["FOLDERS", "TABLES", "VERSION"]

VERSION: Final = 1
"""Version of the data set's form."""
_NAME: Final = pa.dictionary(pa.int32(), pa.string())
"""Texts that occur again and again."""


def _table(*columns: tuple[str, pa.DataType, str]) -> pa.Schema:
    """A schema from names, types and what the column says; a unit is in brackets."""
    return pa.schema(
        [pa.field(name, kind, metadata={"about": about}) for name, kind, about in columns],
        {"livecube_archive": str(VERSION)},
    )


_SOLVE: Final = ("solve", pa.int64(), "the solve's number: the first 63 bits of its identity")
_STAGE: Final = ("stage", pa.int8(), "number of the stage among the eight, from 0")
_TECHNIQUE: Final = ("technique", _NAME, "as livecube explain names it")

TABLES: Final = {
    "solves": _table(
        _SOLVE,
        ("identity", pa.string(), "equal for the same solve, read from any log"),
        ("started", pa.timestamp("ms", "UTC"), "time of the first turn; null: unknown"),
        ("session", pa.string(), "when its session began, ISO 8601 in UTC; null: no session"),
        ("cross", _NAME, "colour of the cross"),
        ("ms", pa.int32(), "from the first turn to the last, without penalties [ms]"),
        ("plus", pa.int8(), "number of +2 penalties"),
        ("is_dnf", pa.bool_(), "the result is DNF"),
        ("turns", pa.int32(), "turns [HTM]"),
        ("solved", pa.bool_(), "the cube was solved at the end"),
        ("gap", pa.bool_(), "turns were lost"),
        ("scramble", pa.string(), "the turns from solved to its start; null: unknown"),
        ("inspection_ms", pa.int32(), "inspection; null: not timed [ms]"),
        ("tags", pa.list_(pa.string()), "words that a person gave it"),
        ("cross_ms", pa.int32(), "split of the cross, pauses included [ms]"),
        ("pairs_ms", pa.int32(), "split of the four pairs [ms]"),
        ("orient_ms", pa.int32(), "split of the orientation [ms]"),
        ("permute_ms", pa.int32(), "split of the permutation and the closing turn [ms]"),
        ("pause_ms", pa.int32(), "all pauses before stages [ms]"),
        ("whole", pa.bool_(), "all stages were measured; only then do splits and pauses count"),
    ),
    "stages": _table(
        _SOLVE,
        _STAGE,
        ("kind", _NAME, "cross, pair, orient, permute or auf"),
        ("slots", pa.list_(pa.string()), "slots that it filled, by colours"),
        ("end_turn", pa.int32(), "turns of the solve made at its end; null: never done"),
        ("turns", pa.int32(), "turns [HTM]"),
        ("ms", pa.int32(), "from the end of the stage before [ms]"),
        ("pause_ms", pa.int32(), "from the end of the stage before to its first turn [ms]"),
        _TECHNIQUE,
        ("case", _NAME, "case of the last layer"),
        ("offset", pa.int8(), "quarter turns by which the cross layer was turned aside"),
        ("shared", pa.bool_(), "done by the same turn as the stage before"),
        ("inferred", pa.bool_(), "turns were worked out, not reported"),
        ("gap", pa.bool_(), "turns were lost: nothing here is measured"),
        ("holding", _NAME, "colours up and in front"),
    ),
    "turns": _table(
        _SOLVE,
        ("place", pa.int32(), "from 0"),
        ("ms", pa.int32(), "since the first turn [ms]"),
        ("turn", _NAME, "as cubers write it; the faces are those of white up, green in front"),
    ),
    "chances": _table(
        _SOLVE,
        _STAGE,
        _TECHNIQUE,
        ("slot", _NAME, "by colours"),
        ("taken", pa.bool_(), "the pair was done by it"),
        ("saved_ms", pa.int32(), "predicted, against the turns that were made [ms]"),
    ),
    "prices": _table(
        _SOLVE,
        _STAGE,
        _TECHNIQUE,
        ("price_ms", pa.int32(), "predicted: by how much the best plan with it is slower [ms]"),
        ("taken", pa.bool_(), "the pair was done by it"),
    ),
    "plans": _table(
        _SOLVE,
        _STAGE,
        ("plan_ms", pa.int32(), "predicted: the best plan for all free slots [ms]"),
        ("own_ms", pa.int32(), "predicted: the best plan that begins with the pair made [ms]"),
        ("slow_ms", pa.int32(), "predicted: the pair's turns less the plan's for it [ms]"),
        ("turning_ms", pa.int32(), "predicted: the pair's turns after the first [ms]"),
        ("pause_ms", pa.int32(), "predicted: the pause before the pair, first turn included [ms]"),
        ("technique", _NAME, "of the best plan's first step"),
        ("slots", pa.list_(pa.string()), "that this step fills, by colours"),
        ("moves", pa.string(), "this step in the hands, holding unsaid"),
    ),
}
"""All tables by name. ``solves`` is written last: a solve that is there has all its rows."""
FOLDERS: Final = pa.schema([("person", pa.string()), ("month", pa.string())])
"""The parts of a table: ``person=NAME/month=2026-03``, names quoted as in a URL."""
