"""Trends as a page."""

from __future__ import annotations

from typing import TYPE_CHECKING

from livecube.own.text import DEAREST, EACH_MOVE, price_rows, tempo_sentence, used_sentence
from livecube.trends.measures import SPLITS
from livecube.trends.plots import (
    distribution_plot,
    mean_plot,
    prices_plot,
    sides_plot,
    split_plot,
    uptake_plot,
)
from livecube.trends.text import (
    PRACTISING,
    REVIEW_FIRST,
    WORTH,
    about,
    basis,
    change_text,
    figure_text,
    focus_sentence,
    interval_text,
    loss_rows,
    loss_sentences,
    losses_sentence,
    short_verdict,
    too_few,
    uptake_rows,
    verdict_text,
    worth_rows,
)
from livecube.views.lines import counted
from livecube.views.page import (
    beside,
    details,
    figures_list,
    numbered,
    page,
    paragraph,
    table,
)

if TYPE_CHECKING:
    from livecube.own.figures import OwnFigures
    from livecube.trends.measures import Figure, Period, Trends, Uptake

__all__ = ["trends_page"]

_TOLD_FIRST = ("mean time", "median", "pausing, of the time", "spread (deviation / mean)")


def trends_page(trends: Trends, title: str, hands: tuple[str, OwnFigures] | None = None) -> str:
    """The page on many solves.

    ``hands``: a person's name, empty if there is only one, and what is known of their hands.
    """
    return page(
        title,
        about(trends),
        [
            ("change", "What has changed", _changes(trends)),
            ("times", "Times", _times(trends)),
            ("splits", "Splits and pauses", _splits(trends)),
            ("chances", "Chances", _chances(trends)),
            *_practising(trends),
            *([] if hands is None else [("hands", "Hands", _hands(*hands))]),
        ],
    )


def _changes(trends: Trends) -> str:
    told = [one for one in trends.figures if one.name in _TOLD_FIRST]
    few = too_few(trends)
    first = [(one.name, _with_unit(one), "" if few else verdict_text(one)) for one in told]
    rows = [("figure", "change is", "all", "95 % interval", "earlier", "later", "change")]
    rows += [_figure_row(one) for one in trends.figures]
    if few:  # one sentence instead of columns of dashes
        shown = [(name, whole, interval) for name, _, whole, interval, *_ in rows]
        figures = table("All figures (times in seconds)", shown)
        return figures_list(first) + paragraph(few) + figures
    caption = "All figures; earlier and later half of the solves (times in seconds)"
    figures = table(caption, rows, (1,), (3, 4, 5))
    return figures_list(first) + figures + paragraph(basis(trends), quiet=True)


def _with_unit(one: Figure) -> str:
    return figure_text(one.whole.value, one.unit) + (" s" if one.unit == "seconds" else "")


def _figure_row(one: Figure) -> tuple[str, str, str, str, str, str, str]:
    before = after = "–"
    if one.change is not None:
        before = figure_text(one.change.before, one.unit)
        after = figure_text(one.change.after, one.unit)
    return (
        one.name,
        short_verdict(one),
        figure_text(one.whole.value, one.unit),
        interval_text(one.whole, one.unit),
        before,
        after,
        change_text(one),
    )


def _times(trends: Trends) -> str:
    rows = [("when", "solves", "mean", "95 % interval", "best", "deviation")]
    rows += [_period_row(one) for one in trends.periods]
    counts = [("seconds", "solves")]
    counts += [(f"{low:.1f} to {high:.1f}", str(count)) for low, high, count in trends.counts]
    means = mean_plot(
        trends.periods, "Mean time of each period; the table below has its figures"
    ) + details("Means as a table", table("Times over the periods (seconds)", rows, (), (3, 5)))
    spread = distribution_plot(
        trends.counts, "Distribution of the times; the table below has its figures"
    ) + details("Distribution as a table", table("Distribution of the times", counts))
    return beside(means, spread)


def _period_row(one: Period) -> tuple[str, str, str, str, str, str]:
    mean = interval = "–"
    if one.mean is not None:
        mean, interval = figure_text(one.mean.value, "seconds"), interval_text(one.mean, "seconds")
    best, deviation = (_seconds(value) for value in (one.best, one.deviation))
    return one.name, str(one.solves), mean, interval, best, deviation


def _seconds(value: float | None) -> str:
    return "–" if value is None else f"{value:.2f}"


def _splits(trends: Trends) -> str:
    rows: list[tuple[str, ...]] = [("when", *SPLITS[:2], "OLL", "PLL", "pausing")]
    for one in trends.periods:
        pause = "–" if one.pause is None else figure_text(one.pause, "share")
        rows.append((one.name, *(_seconds(value) for value in one.splits or (None,) * 4), pause))
    title = "Mean seconds of each split over the periods; the table below has its figures"
    return beside(
        split_plot(SPLITS, trends.periods, title),
        details(
            "Splits as a table",
            table("Mean seconds of each split, share of pauses", rows, (), (5,)),
        ),
    )


def _chances(trends: Trends) -> str:
    if trends.left is None:
        return paragraph(REVIEW_FIRST)
    left = figure_text(trends.left.value, "seconds")
    said = (
        f"In {counted(trends.reviewed, 'reviewed solve')}, the best missed chance of each pair "
        f"would have saved {left} s a solve ({interval_text(trends.left, 'seconds')}; predicted). "
        "Of the chances of one pair only one can be taken, so the rows do not add up."
    )
    plot = uptake_plot(trends.techniques, "Chances taken, by technique; figures in the table below")
    focus = "" if trends.focus is None else paragraph(focus_sentence(trends.focus))
    if trends.worth:
        focus += table(WORTH, worth_rows(trends), (), (3, 4))
    return (
        paragraph(said)
        + plot
        + beside(_uptake_table("technique", trends.techniques), _uptake_table("slot", trends.slots))
        + focus
    )


def _practising(trends: Trends) -> list[tuple[str, str, str]]:
    """The section of what practising would bring, if that was asked for."""
    losses = trends.losses
    if losses is None or (losses.whole is None and trends.left is None):
        return []
    body = paragraph(losses_sentence(losses))
    if told := loss_sentences(losses):
        caption = "Seconds of a pair more than the best plan; shares of the parts that cost time"
        body += numbered(told) + table(caption, loss_rows(losses), (), (4,))
    return [("practising", PRACTISING, body)]


def _hands(name: str, own: OwnFigures) -> str:
    """What is measured of a person's moves, and the usual prices."""
    told = f"{used_sentence(name, own)} {tempo_sentence(own)}"
    note = (
        "An own price is learned from the measured times of all kept solves. A move that was never "
        "measured has no spot: its price follows from what is alike."
    )
    body = paragraph(told) + paragraph(note, quiet=True)
    each = "Price of each move; the table has its figures"
    drawn = prices_plot(own.moves, each, "moves") + sides_plot(
        own.sides, own.tempo, "The left hand against the right; the table has the figures"
    )
    caption = f"{EACH_MOVE} (milliseconds)"
    body += beside(drawn, table(caption, price_rows("move", own.moves), (3,)))
    if own.dearest:
        title = "Moves in a row that cost most; the table has the figures"
        rows = table(f"{DEAREST} (milliseconds)", price_rows("moves", own.dearest), (3,))
        body += beside(prices_plot(own.dearest, title, "dearest"), rows)
    return body


def _uptake_table(head: str, uptakes: tuple[Uptake, ...]) -> str:
    rows = uptake_rows(head, uptakes)
    return table(f"Chances by {head}; seconds are predicted", rows, (), (1, 4, 6))
