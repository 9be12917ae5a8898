"""Trends as plain lines: tables, and rows of bars that need no colour."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Final

from livecube.trends.values import SPLITS
from livecube.views.table import table_lines
from livecube.views.trends_words import (
    REVIEW_FIRST,
    basis,
    change_text,
    figure_text,
    interval_text,
    span,
    verdict_text,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.trends.values import Period, Trends, Uptake

__all__ = ["sparkline", "trends_lines"]

_BARS: Final = "▁▂▃▄▅▆▇█"
_WIDE: Final = 40
_WIDTH: Final = 96


def sparkline(values: Sequence[float | None]) -> str:
    """Values as bars from the least to the greatest; a dot where there is none."""
    known = [value for value in values if value is not None]
    if not known:
        return "·" * len(values)
    low, width = min(known), max(known) - min(known)
    return "".join(
        "·" if value is None else _BARS[round((value - low) / width * 7) if width else 3]
        for value in values
    )


def trends_lines(trends: Trends) -> list[str]:
    """All of it, for a terminal."""
    return [
        f"{trends.solves} solves, {trends.times} with a time, {span(trends)}",
        "",
        *_figures(trends),
        "",
        *textwrap.wrap(basis(trends), _WIDTH),
        "",
        "Distribution of the times (seconds)",
        *_distribution(trends),
        "",
        *_over_time(trends.periods),
        "",
        *_chances(trends),
    ]


def _figures(trends: Trends) -> list[str]:
    rows = [("", "all", "95 % interval", "earlier", "later", "change", "")]
    for one in trends.figures:
        halves = ("–", "–")
        if one.change is not None:
            change = one.change
            halves = (figure_text(change.before, one.unit), figure_text(change.after, one.unit))
        whole = figure_text(one.whole.value, one.unit)
        rows.append(
            (one.name, whole, interval_text(one.whole, one.unit), *halves, change_text(one), "")
        )
    words = ["", *map(verdict_text, trends.figures)]
    return [
        f"{line}   {word}".rstrip() for line, word in zip(table_lines(rows), words, strict=True)
    ]


def _distribution(trends: Trends) -> list[str]:
    most = max(count for _, _, count in trends.counts)
    rows = [(f"{low:.1f} to {high:.1f}", str(count)) for low, high, count in trends.counts]
    bars = ["█" * round(_WIDE * count / most) or "▏" * bool(count) for *_, count in trends.counts]
    return [f"  {line}  {bar}".rstrip() for line, bar in zip(table_lines(rows), bars, strict=True)]


def _over_time(periods: Sequence[Period]) -> list[str]:
    names = ("mean time", *SPLITS, "pausing")
    columns: list[list[float | None]] = [
        [None if one.mean is None else one.mean.value for one in periods],
        *([one.splits[n] if one.splits else None for one in periods] for n in range(len(SPLITS))),
        [one.pause for one in periods],
    ]
    rows: list[tuple[str, ...]] = [
        ("", "solves", "mean", "95 % interval", "best", "deviation", "pausing")
    ]
    rows += [_period(one) for one in periods]
    lines = [f"Over time, from {periods[0].name} to {periods[-1].name}"]
    lines += [f"  {n:<12}{sparkline(c)}" for n, c in zip(names, columns, strict=True)]
    return [*lines, "", *table_lines(rows)]


def _period(one: Period) -> tuple[str, ...]:
    mean = ("–", "–")
    if one.mean is not None:
        mean = (figure_text(one.mean.value, "seconds"), interval_text(one.mean, "seconds"))
    seconds = ["–" if value is None else f"{value:.2f}" for value in (one.best, one.deviation)]
    pause = "–" if one.pause is None else figure_text(one.pause, "share")
    return one.name, str(one.solves), *mean, *seconds, pause


def _chances(trends: Trends) -> list[str]:
    if trends.left is None:
        return textwrap.wrap(REVIEW_FIRST, _WIDTH)
    left = figure_text(trends.left.value, "seconds")
    said = (
        f"Chances in {trends.reviewed} reviewed solves: the best missed one of each pair would "
        f"have saved {left} s a solve ({interval_text(trends.left, 'seconds')}; predicted). Of the "
        "chances of one pair only one can be taken, so the rows below do not add up."
    )
    return [
        *textwrap.wrap(said, _WIDTH),
        "",
        *_uptakes("technique", trends.techniques),
        "",
        *_uptakes("slot", trends.slots),
    ]


def _uptakes(head: str, uptakes: Sequence[Uptake]) -> list[str]:
    rows = [(head, "came", "taken", "share", "95 % interval", "s left a solve", "95 % interval")]
    rows += [
        (
            one.name or "–",
            str(one.came),
            str(one.taken),
            figure_text(one.share.value, "share"),
            interval_text(one.share, "share"),
            figure_text(one.left.value, "seconds"),
            interval_text(one.left, "seconds"),
        )
        for one in uptakes
    ]
    return table_lines(rows)
