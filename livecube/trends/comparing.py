"""Groups of solves side by side: people, periods, or both, figure by figure.

The groups stay in the order in which they were asked for. Of two groups a figure is called less or
more only if its two intervals do not overlap and the difference is significant, with all
comparisons of the page tested together.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from itertools import permutations
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from livecube.trends.figures import (
    block_sums,
    difference,
    drawn,
    interval,
    looks,
    results_ms,
    sums_of,
)
from livecube.trends.making import blocks_of, places_of
from livecube.trends.measures import SolveColumns
from livecube.trends.uptake import left_behind, share_taken, uptake_sums

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.trends.figures import Floats, Statistic
    from livecube.trends.measures import ChanceColumns, FocusColumns, Interval, Unit, Whole

__all__ = ["Cell", "Comparison", "Group", "GroupAbout", "Row", "compared"]


@dataclass(frozen=True, slots=True)
class Group:
    """The solves of one person, in one period, or both."""

    name: str
    columns: SolveColumns
    chances: ChanceColumns
    focus: FocusColumns | None


@dataclass(frozen=True, slots=True)
class GroupAbout:
    """Which solves a group has."""

    name: str
    solves: int
    times: int
    """Solves with a time, without DNF."""
    days: tuple[str, str]
    """Local dates of the first and the last solve; empty if unknown."""
    reviewed: int
    """Solves with known chances."""


@dataclass(frozen=True, slots=True)
class Cell:
    """A figure of one group."""

    value: Interval
    counted: int
    """Number of solves behind it, or of chances; see :class:`Row`."""


@dataclass(frozen=True, slots=True)
class Row:
    """One figure of all groups."""

    name: str
    unit: Unit
    counted: str
    """The things that the cells count: ``solves`` or ``chances``."""
    cells: tuple[Cell | None, ...]
    """In the order of the groups; None: unknown."""
    apart: tuple[tuple[int, int], ...]
    """Pairs of groups of which the first one certainly has less."""


@dataclass(frozen=True, slots=True)
class Comparison:
    """Groups of solves side by side."""

    groups: tuple[GroupAbout, ...]
    figures: tuple[Row, ...]
    """Times, splits and pauses."""
    techniques: tuple[tuple[str, Row, Row], ...]
    """Of each technique: the share of its chances that were taken, and the predicted seconds that
    missed ones would have saved, for each reviewed solve."""
    focus: tuple[Row, Row] | None
    """Within the focus: the share of chances taken, and what they cost more than the best plan."""
    compared: int
    """Number of comparisons tested together."""


class _Drawn(NamedTuple):
    """A group's sums over blocks, samples of them, and the number of things counted."""

    sums: Floats
    samples: Floats
    counted: int


class _Asked(NamedTuple):
    """A row before its groups are compared."""

    name: str
    unit: Unit
    counted: str
    statistic: Statistic
    groups: list[_Drawn | None]


def compared(groups: Sequence[Group], rng: np.random.Generator) -> Comparison:
    """Compare groups, each with at least one solve that has a time."""
    results = [results_ms(one.columns) for one in groups]
    blocks = [blocks_of(one.columns)[0] for one in groups]
    figures = _figures(groups, results, blocks, rng)
    techniques = _techniques(groups, blocks, rng)
    focus = _focus(groups, blocks, rng)
    asked = [*figures, *(row for rows in techniques for row in rows), *focus]
    count = len(asked) * len(groups) * (len(groups) - 1) // 2
    rows = [_row(one, max(1, count)) for one in asked]
    left = iter(rows[len(figures) :])
    return Comparison(
        groups=tuple(map(_about, groups, results)),
        figures=tuple(rows[: len(figures)]),
        techniques=tuple((share.name, next(left), next(left)) for share, _ in techniques),
        focus=(next(left), next(left)) if focus else None,
        compared=count,
    )


def _about(group: Group, results: Whole) -> GroupAbout:
    return GroupAbout(
        group.name,
        len(results),
        int((results >= 0).sum()),
        (str(group.columns.day[0]), str(group.columns.day[-1])),
        len(np.unique(group.chances.solve)),
    )


def _row(asked: _Asked, looked: int) -> Row:
    cells = [None if one is None else _cell(one, asked.statistic) for one in asked.groups]
    apart = []
    for a, b in permutations(range(len(cells)), 2):
        ours, theirs, one, other = cells[a], cells[b], asked.groups[a], asked.groups[b]
        if ours is None or theirs is None or one is None or other is None:
            continue
        if _lies_below(ours.value, theirs.value):
            before, after = (one.sums, one.samples), (other.sums, other.samples)
            more = difference(before, after, asked.statistic, looked).low
            if more is not None and more > 0:
                apart.append((a, b))
    return Row(asked.name, asked.unit, asked.counted, tuple(cells), tuple(apart))


def _cell(one: _Drawn, statistic: Statistic) -> Cell | None:
    value = interval(one.sums, one.samples, statistic)
    return Cell(value, one.counted) if np.isfinite(value.value) else None


def _lies_below(ours: Interval, theirs: Interval) -> bool:
    """Whether all of ours is less than all of theirs; not if either has no ends."""
    return ours.high is not None and theirs.low is not None and ours.high < theirs.low


def _figures(
    groups: Sequence[Group],
    results: Sequence[Whole],
    blocks: Sequence[Whole],
    rng: np.random.Generator,
) -> list[_Asked]:
    """Times, splits and pauses; all groups have the same bins, so that quantiles compare."""
    ends = np.cumsum([int(block[-1]) + 1 for block in blocks])
    shifted = [block + end - block[-1] - 1 for block, end in zip(blocks, ends, strict=True)]
    together = _joined([one.columns for one in groups])
    sums, edges = sums_of(together, np.concatenate(results), np.concatenate(shifted))
    parts = np.split(sums, ends[:-1])
    samples = [drawn(len(part), rng) @ part for part in parts]
    return [
        _Asked(
            look.name,
            look.unit,
            "solves",
            look.statistic,
            [
                _Drawn(part, sample, int(part[:, look.counted].sum()))
                for part, sample in zip(parts, samples, strict=True)
            ],
        )
        for look in looks(edges)
    ]


def _joined(columns: Sequence[SolveColumns]) -> SolveColumns:
    named: dict[str, Any] = {
        field.name: np.concatenate([getattr(one, field.name) for one in columns])
        for field in fields(SolveColumns)
        if field.name not in ("first", "last")  # no figure depends on them
    }
    return replace(columns[0], **named)


def _techniques(
    groups: Sequence[Group], blocks: Sequence[Whole], rng: np.random.Generator
) -> list[tuple[_Asked, _Asked]]:
    """Two rows for each technique with a chance in any group, in the order of their names."""
    names = sorted({name for one in groups for name in _came(one.chances)})
    found = [_of_chances(one, names, block, rng) for one, block in zip(groups, blocks, strict=True)]
    rows = []
    for at, name in enumerate(names):
        its = [None if one is None else one[at] for one in found]
        shares = [
            None if one is None or not one.sums[:, 0].any()
            else one._replace(counted=int(one.sums[:, 0].sum()))
            for one in its
        ]  # fmt: skip
        rows.append(
            (
                _Asked(name, "share", "chances", share_taken, shares),
                _Asked(name, "seconds", "solves", left_behind, its),
            )
        )
    return rows


def _came(chances: ChanceColumns) -> set[str]:
    return {chances.techniques[at] for at in np.unique(chances.technique)}


def _of_chances(
    group: Group, names: Sequence[str], block: Whole, rng: np.random.Generator
) -> list[_Drawn] | None:
    """For each technique; None if no solve of the group is reviewed."""
    chances = group.chances
    of = places_of(group.columns, chances.solve)
    reviewed, row = np.unique(of, return_inverse=True)
    if not len(reviewed):
        return None
    its = np.unique(block[reviewed], return_inverse=True)[1]
    known = list(chances.techniques)
    sums = uptake_sums(chances, len(known), chances.technique, row, its)
    weights = drawn(len(sums), rng)
    nothing = sums[:, 0] * (0, 0, 0, 1)  # reviewed solves without a chance of the technique
    tables = [sums[:, known.index(name)] if name in known else nothing for name in names]
    return [_Drawn(table, weights @ table, len(reviewed)) for table in tables]


def _focus(
    groups: Sequence[Group], blocks: Sequence[Whole], rng: np.random.Generator
) -> list[_Asked]:
    """The share of chances within the focus that were taken, and their price; empty without one."""
    if all(one.focus is None for one in groups):
        return []
    drawings: list[_Drawn | None] = []
    for group, block in zip(groups, blocks, strict=True):
        focus = group.focus
        if focus is None or not len(focus.solve):
            drawings.append(None)
            continue
        order = np.argsort(block[places_of(group.columns, focus.solve)], kind="stable")
        its = np.unique(block[places_of(group.columns, focus.solve)], return_inverse=True)[1]
        table = np.stack([focus.taken, focus.price_ms / 1000, np.ones(len(its))], axis=1)
        sums = block_sums(table[order], its[order])
        drawings.append(_Drawn(sums, drawn(len(sums), rng) @ sums, len(its)))
    return [
        _Asked("taken", "share", "chances", lambda s: s[..., 0] / s[..., 2], drawings),
        _Asked("price", "seconds", "chances", lambda s: s[..., 1] / s[..., 2], drawings),
    ]
