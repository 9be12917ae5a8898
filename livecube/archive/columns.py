"""A data set read as the history is: the same columns, for the same figures of trends."""

from __future__ import annotations

import time
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import reduce
from operator import and_
from typing import TYPE_CHECKING, Final

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from livecube.archive.folder import people_of, read_making, read_rows
from livecube.archive.schema import TABLES
from livecube.solves.people import Person
from livecube.trends.measures import (
    ChanceColumns,
    FocusColumns,
    LossColumns,
    SolveColumns,
    WorthColumns,
)
from livecube.trends.worth import PLAINLY, comparable

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence
    from pathlib import Path

    import numpy.typing as npt

    from livecube.solves.records import Wanted
    from livecube.trends.measures import Whole

__all__ = ["Archive"]

_SPLITS: Final = ("cross_ms", "pairs_ms", "orient_ms", "permute_ms")
_READ: Final = ("ms", "turns", "plus", "is_dnf", *_SPLITS, "pause_ms", "whole")
_PRICES: Final = ("solve", "stage", "technique", "price_ms", "taken")
_STAGES: Final = ("solve", "stage", "kind", "technique", "ms", "shared", "gap")
_PLANS: Final = ("solve", "stage", "plan_ms", "own_ms", "slow_ms", "turning_ms", "pause_ms")
_MEASURED: Final = ("solve", "stage", "kind", "ms", "pause_ms", "shared", "inferred", "gap")
_NEEDED: Final = ("solve", "person", "started", "session", "cross", *_READ)


@dataclass(frozen=True, slots=True)
class _Solves:
    """The wanted solves in the order in which they were made."""

    columns: SolveColumns
    numbers: npt.NDArray[np.int64]
    """Their numbers in the data set, sorted."""
    rows: Whole
    """The row of each of these."""

    def rows_of(self, numbers: pa.ChunkedArray) -> Whole:
        """The rows of solves by their numbers; -1 for solves that are not wanted."""
        sought = numbers.to_numpy()
        if not len(self.numbers):
            return np.full(len(sought), -1)
        at = np.minimum(np.searchsorted(self.numbers, sought), len(self.numbers) - 1)
        return np.where(self.numbers[at] == sought, self.rows[at], np.int32(-1))


class _Cells:
    """A cell for each of the eight stages of every wanted solve, and one behind them."""

    def __init__(self, solves: _Solves, stages: pa.Table) -> None:
        self._stages = stages
        of = solves.rows_of(stages["solve"])
        self._its = of >= 0
        self._cell = 8 * of[self._its].astype(np.int64) + _whole(stages["stage"])[self._its]
        self._count = 8 * len(solves.numbers) + 1

    @property
    def there(self) -> Whole:
        """1 where a stage is."""
        return self.spread(pa.chunked_array([pa.repeat(1, len(self._its))]))

    def spread(self, column: pa.ChunkedArray) -> Whole:
        """A column of the stages by cell; 0 where no stage is."""
        found = np.zeros(self._count, dtype=np.int64)
        found[self._cell] = _whole(column)[self._its]
        return found

    def named(self, name: str, words: Sequence[str]) -> Whole:
        """1 where a column of the stages is one of these words."""
        found = pc.is_in(self._stages[name], pa.array([*words]))
        return self.spread(pc.fill_null(found, False))


class Archive:
    """A data set for reading."""

    def __init__(self, folder: Path) -> None:
        """Raises :class:`~livecube.errors.UsageError` if the folder holds no data set."""
        read_making(folder)
        self._folder = folder
        self._last: tuple[Wanted, _Solves] | None = None

    def roster(self) -> tuple[Person, ...]:
        """Everybody who has solves here, numbered in order."""
        return tuple(Person(n, name) for n, name in enumerate(people_of(self._folder), start=1))

    def columns(self, wanted: Wanted) -> tuple[SolveColumns, ChanceColumns]:
        """The wanted solves, and the chances in them."""
        solves = self._solves(wanted)
        return solves.columns, self._chances(solves, wanted.person)

    def _chances(self, solves: _Solves, person: str | None) -> ChanceColumns:
        table = read_rows(self._folder, "chances", TABLES["chances"].names, person)
        row = solves.rows_of(table["solve"])
        if (row < 0).any():
            table, row = table.filter(pa.array(row >= 0)), row[row >= 0]
        technique, techniques = _numbered(table["technique"])
        slot, slots = _numbered(table["slot"])
        stage, taken, saved_ms = (_whole(table[name]) for name in ("stage", "taken", "saved_ms"))
        del table
        pa.default_memory_pool().release_unused()  # a million solves need the room
        return ChanceColumns(row, stage, technique, slot, taken, saved_ms, techniques, slots)

    def practised(
        self, wanted: Wanted, techniques: Collection[str], within_s: float
    ) -> FocusColumns:
        """The chances within a focus; as in :func:`livecube.history.columns.focus_columns`."""
        names = sorted(techniques)
        table = read_rows(self._folder, "prices", _PRICES, wanted.person)
        table = table.filter(pc.field("technique").isin(names))
        pairs = table.group_by(["solve", "stage"]).aggregate(
            [("price_ms", "min"), ("taken", "max")]
        )
        pairs = pairs.filter(pc.less_equal(pairs["price_ms_min"], round(1000 * within_s)))
        row = self._solves(wanted).rows_of(pairs["solve"])
        has = row >= 0
        del table
        pa.default_memory_pool().release_unused()
        price_ms, taken = (_whole(pairs[name])[has] for name in ("price_ms_min", "taken_max"))
        return FocusColumns(tuple(names), within_s, row[has], price_ms, taken)

    def worth(self, wanted: Wanted) -> WorthColumns:
        """Pairs at whose beginning a technique was possible; as the history has them."""
        solves = self._solves(wanted)
        prices = read_rows(self._folder, "prices", _PRICES, wanted.person)
        prices = prices.filter(~pc.field("technique").isin(PLAINLY))
        stages = read_rows(self._folder, "stages", _STAGES, wanted.person)
        technique, names = _numbered(prices["technique"])
        place, price_ms, taken = (_whole(prices[one]) for one in ("stage", "price_ms", "taken"))

        row, cells = solves.rows_of(prices["solve"]), _Cells(solves, stages)
        ms, shared, gap = (cells.spread(stages[one]) for one in ("ms", "shared", "gap"))
        there = cells.there
        plainly, pair = cells.named("technique", PLAINLY), cells.named("kind", ["pair"])
        at = 8 * row.astype(np.int64) + place
        kept = (row >= 0) & (place >= 1) & (place <= 4)
        at = np.where(kept, at, 0)
        after = at + 1
        kept &= (there[at] & there[after]) != 0
        kept &= (shared[at] | gap[at] | gap[after]) == 0
        kept &= (taken | plainly[at]) != 0
        at, after = at[kept], after[kept]
        pairs = WorthColumns(
            tuple(names), row[kept], technique[kept], place[kept], ms[at], price_ms[kept],
            taken[kept],
        )  # fmt: skip
        return comparable(pairs, ms[after], shared[after] & pair[after])

    def losses(self, wanted: Wanted) -> LossColumns:
        """Pairs against the best plan; as the history has them."""
        solves = self._solves(wanted)
        plans = read_rows(self._folder, "plans", _PLANS, wanted.person)
        stages = read_rows(self._folder, "stages", _MEASURED, wanted.person)
        row, cells = solves.rows_of(plans["solve"]), _Cells(solves, stages)
        kept = (row >= 0) & plans["pause_ms"].is_valid().to_numpy()  # older data sets have none
        plans, row = plans.filter(pa.array(kept)), row[kept]
        at = 8 * row.astype(np.int64) + _whole(plans["stage"])
        after = at + 1
        shared = cells.spread(stages["shared"])
        left_out = shared[at] | (shared & cells.named("kind", ["pair"]))[after]
        for name in ("gap", "inferred"):
            left_out |= cells.spread(stages[name])[at]
        ms, pause_ms = (cells.spread(stages[name])[at] for name in ("ms", "pause_ms"))
        said = {name: _whole(plans[name]).astype(np.int64) for name in _PLANS[2:]}
        parts = (
            pause_ms - said["pause_ms"],
            ms - pause_ms - said["turning_ms"],
            said["slow_ms"],
            said["own_ms"] - said["plan_ms"],
        )
        has = (left_out == 0) & (cells.there[at] & cells.there[after] != 0)
        # The hands of a data set are the usual ones.
        return LossColumns(row[has], np.stack(parts, axis=1)[has], np.zeros(has.sum(), dtype=int))

    def _solves(self, wanted: Wanted) -> _Solves:
        """The wanted solves; the last choice is remembered."""
        if self._last is None or self._last[0] != wanted:
            self._last = wanted, self._read_solves(wanted)
        return self._last[1]

    def _read_solves(self, wanted: Wanted) -> _Solves:
        read = [*_NEEDED, *(["tags"] if wanted.tag is not None else ())]
        table = read_rows(self._folder, "solves", read, wanted.person)
        if (condition := _condition(wanted)) is not None:
            table = table.filter(condition)
        if wanted.tag is not None:
            table = table.filter(_has_tag(table["tags"], wanted.tag))
        if wanted.technique is not None:
            stages = read_rows(self._folder, "stages", ["solve", "technique"], wanted.person)
            its = stages.filter(pc.field("technique").isin([wanted.technique]))["solve"]
            table = table.filter(pc.is_in(table["solve"], its))
        order = pc.sort_indices(
            table,
            [("started", "ascending", "at_start"), ("solve", "ascending", "at_start")],
        )
        if wanted.most is not None:
            order = order[-wanted.most :]
        table = table.take(order)
        values = {name: _whole(table[name]) for name in _READ}
        number = table["solve"].to_numpy()
        started = table["started"].to_numpy().astype("datetime64[s]")
        columns = SolveColumns(
            number=np.arange(len(number)),
            first=_time(started[:1]),
            last=_time(started[-1:]),
            day=_days(_local(started)),
            session=_sessions(table),
            splits_ms=np.stack([values.pop(name) for name in _SPLITS], axis=1),
            **values,
        )
        by_number = number.argsort()
        return _Solves(columns, number[by_number], by_number.astype(np.int32))


def _condition(wanted: Wanted) -> pc.Expression | None:
    """What a solve must fulfil; as :func:`livecube.history.rows.conditions_of` has it."""
    started = pc.field("started")
    conditions = []
    if wanted.since is not None:
        conditions.append(started >= _moment(wanted.since))
    if wanted.until is not None:
        is_day = len(wanted.until) == len("2026-03-01")
        after = _moment(wanted.until) + (timedelta(days=1) if is_day else timedelta(seconds=1))
        conditions.append((started < after) | started.is_null())
    if wanted.cross is not None:
        conditions.append(pc.field("cross").isin([wanted.cross]))
    return reduce(and_, conditions) if conditions else None


def _moment(day: str) -> datetime:
    return datetime.fromisoformat(day).replace(tzinfo=UTC)


def _has_tag(tags: pa.ChunkedArray, tag: str) -> pa.Array:
    whole = tags.combine_chunks()
    with_it = pc.filter(pc.list_parent_indices(whole), pc.equal(pc.list_flatten(whole), tag))
    return pc.is_in(pa.array(np.arange(len(whole))), with_it)


def _whole(column: pa.ChunkedArray) -> Whole:
    """Numbers in 32 bits, which hold the milliseconds of 24 days: half the memory."""
    values: Whole = column.cast(pa.int32()).to_numpy()
    return values


def _time(moments: npt.NDArray[np.datetime64]) -> str:
    """The only moment of these, ISO 8601 in UTC; empty if unknown, or if there is none."""
    known = moments[~np.isnat(moments)]
    return str(np.datetime_as_string(known[0], timezone="UTC")) if len(known) else ""


def _days(moments: npt.NDArray[np.datetime64]) -> npt.NDArray[np.str_]:
    """Dates; empty where a moment is unknown."""
    days, of = np.unique(moments.astype("datetime64[D]"), return_inverse=True)
    return np.where(np.isnat(days), "", days.astype("U10"))[of]


_HOUR_S: Final = 3600


def _local(moments: npt.NDArray[np.datetime64]) -> npt.NDArray[np.datetime64]:
    """The reader's local time. The system is asked once an hour: clocks change at whole hours."""
    known = ~np.isnat(moments)
    hours, of = np.unique(moments[known].astype(np.int64) // _HOUR_S, return_inverse=True)
    ahead = [time.localtime(hour * _HOUR_S).tm_gmtoff for hour in hours.tolist()]
    here = moments.copy()
    here[known] += np.array(ahead, dtype="timedelta64[s]")[of]
    return here


def _sessions(table: pa.Table) -> Whole:
    """A number for each person's session; -1: none."""
    names = pc.binary_join_element_wise(table["person"], table["session"], "\n")
    return _numbered(names)[0]


def _numbered(names: pa.ChunkedArray) -> tuple[Whole, list[str]]:
    """Texts as numbers, -1 where there is none; and the texts, sorted."""
    whole = names.combine_chunks()
    if not pa.types.is_dictionary(names.type):
        whole = whole.dictionary_encode()
    words = whole.dictionary.to_pylist()
    ordered = sorted(words)
    place = {word: number for number, word in enumerate(ordered)}
    number = np.array([*(place[word] for word in words), -1], dtype=np.int32)
    return number[whole.indices.fill_null(len(words)).to_numpy(zero_copy_only=False)], ordered
