"""Figures of trends in words, as plain lines and as JSON."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Any, Final

from livecube.trends.measures import SPLITS
from livecube.views.lines import counted, folded, table_lines

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.trends.measures import (
        Figure,
        FocusUptake,
        Interval,
        Losses,
        LossPart,
        Period,
        Trends,
        Unit,
        Uptake,
    )

__all__ = [
    "PRACTISING",
    "REVIEW_FIRST",
    "WORTH",
    "about",
    "basis",
    "change_text",
    "figure_text",
    "focus_sentence",
    "interval_text",
    "loss_rows",
    "loss_sentences",
    "losses_sentence",
    "short_verdict",
    "sparkline",
    "too_few",
    "trends_json",
    "trends_lines",
    "uptake_rows",
    "verdict_text",
    "worth_rows",
]

REVIEW_FIRST: Final = "No chances of these solves are known; livecube review --missing finds them."
WORTH: Final = (
    "Techniques, measured: seconds saved for each pair done by one, against pairs for which it was "
    "possible and that were done plainly, in the same sessions."
)
_VERDICTS: Final = {
    "better": "better",
    "worse": "worse",
    "changed": "changed",
    "noise": "no significant change",
    "too few": "too few solves to tell",
}


def figure_text(value: float, unit: Unit) -> str:
    """One figure: ``12.34``, ``25.0 %``."""
    match unit:
        case "seconds":
            return f"{value:.2f}"
        case "share":
            return f"{100 * value:.1f} %"
        case "number":
            return f"{value:.1f}"


def interval_text(interval: Interval, unit: Unit) -> str:
    """A 95 % interval; a dash if there is none."""
    if interval.low is None or interval.high is None:
        return "–"
    return f"{figure_text(interval.low, unit)} to {figure_text(interval.high, unit)}"


def change_text(figure: Figure) -> str:
    """Later half less earlier half: ``-0.42``."""
    if figure.change is None:
        return "–"
    text = figure_text(figure.change.difference.value, figure.unit).replace("%", "points")
    if not any(digit in text for digit in "123456789"):
        return text.removeprefix("-")
    return text if text.startswith("-") else f"+{text}"


def verdict_text(figure: Figure) -> str:
    """Whether the change is significant, in words."""
    return "–" if figure.change is None else _VERDICTS[figure.change.verdict]


def basis(trends: Trends) -> str:
    """How the intervals are made, in words."""
    return (
        f"Intervals: 95 % of samples in which whole {trends.resampled} were drawn again "
        "(bootstrap). A change, later half less earlier half, counts only if it is "
        "significant with all figures tested together."
    )


def short_verdict(figure: Figure) -> str:
    """The verdict, shorter where noise is possible."""
    is_noise = figure.change is not None and figure.change.verdict == "noise"
    return "could be noise" if is_noise else verdict_text(figure)


def about(trends: Trends) -> str:
    """Which solves they are, in words."""
    return f"{counted(trends.solves, 'solve')}, {trends.times} with a time, {_span(trends)}"


def _span(trends: Trends) -> str:
    """The first and the last day, in words."""
    first, last = trends.days
    if first == last:
        return f"of {first}" if first else "undated"
    return f"from {first or 'undated'} to {last or 'undated'}"


# Trends as plain lines: tables, and rows of bars that need no colour.


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


def trends_lines(trends: Trends, width: int | None = None, title: str | None = None) -> list[str]:
    """The trends as lines, folded at ``width`` columns; None: not folded.

    ``title``: whose they are, if there are several people.
    """
    whose = "" if title is None else f"{title}: "
    return [
        *folded([f"{whose}{about(trends)}"], width),
        "",
        *_figures(trends, width),
        "",
        *_wrapped(basis(trends), width),
        "",
        "Distribution of the times (seconds)",
        *_distribution(trends, width),
        "",
        *_over_time(trends.periods, width),
        "",
        *_chances(trends, width),
        *_losses(trends, width),
    ]


def _wrapped(text: str, width: int | None) -> list[str]:
    return textwrap.wrap(text, min(width or _WIDTH, _WIDTH), break_on_hyphens=False)


def too_few(trends: Trends) -> str:
    """The sentence that no figure has enough solves for a verdict; empty if one has."""
    told = any(one.change is not None and one.change.verdict != "too few" for one in trends.figures)
    return "" if told else "Too few solves to tell what has changed."


def _figures(trends: Trends, width: int | None) -> list[str]:
    rows = [("", "all", "95 % interval", "earlier", "later", "change", "")]
    for one in trends.figures:
        halves = ("–", "–")
        if one.change is not None:
            change = one.change
            halves = (figure_text(change.before, one.unit), figure_text(change.after, one.unit))
        whole = figure_text(one.whole.value, one.unit)
        rows.append(
            (
                one.name,
                whole,
                interval_text(one.whole, one.unit),
                *halves,
                change_text(one),
                verdict_text(one),
            )
        )
    if said := too_few(trends):
        return [*table_lines([row[:3] for row in rows], width, (2,)), "", said]
    return table_lines(rows, width, (3, 4, 2), words=True, left=(0, 6))


def _distribution(trends: Trends, width: int | None) -> list[str]:
    most = max(count for _, _, count in trends.counts)
    rows = [(f"{low:.1f} to {high:.1f}", str(count)) for low, high, count in trends.counts]
    lines = table_lines(rows)
    wide = _WIDE if width is None else min(_WIDE, width - len(lines[0]) - 4)
    bars = ["█" * round(wide * count / most) or "▏" * bool(count) for *_, count in trends.counts]
    return [f"  {line}  {bar}".rstrip() for line, bar in zip(lines, bars, strict=True)]


def _over_time(periods: Sequence[Period], width: int | None) -> list[str]:
    names = ("mean time", *SPLITS, "pausing")
    columns: list[list[float | None]] = [
        [None if one.mean is None else one.mean.value for one in periods],
        *([one.splits[n] if one.splits else None for one in periods] for n in range(len(SPLITS))),
        [one.pause for one in periods],
    ]
    rows: list[tuple[str, ...]] = [
        ("", "solves", "mean", "95 % interval", "best", "deviation", "pausing")
    ]
    rows += [_period_cells(one) for one in periods]
    lines = [f"Over time, from {periods[0].name} to {periods[-1].name}"]
    lines += [f"  {n:<12}{sparkline(c)}" for n, c in zip(names, columns, strict=True)]
    bars = lines if len(periods) > 1 else lines[:1]  # one period has no course
    return [*folded(bars, width), "", *table_lines(rows, width, (5, 4, 6))]


def _period_cells(one: Period) -> tuple[str, ...]:
    mean = ("–", "–")
    if one.mean is not None:
        mean = (figure_text(one.mean.value, "seconds"), interval_text(one.mean, "seconds"))
    seconds = ["–" if value is None else f"{value:.2f}" for value in (one.best, one.deviation)]
    pause = "–" if one.pause is None else figure_text(one.pause, "share")
    return one.name, str(one.solves), *mean, *seconds, pause


def _chances(trends: Trends, width: int | None) -> list[str]:
    if trends.left is None:
        return _wrapped(REVIEW_FIRST, width)
    left = figure_text(trends.left.value, "seconds")
    focus = [] if trends.focus is None else ["", *_wrapped(focus_sentence(trends.focus), width)]
    if trends.worth:
        focus += ["", *_wrapped(WORTH, width), "", *table_lines(worth_rows(trends), width, (3, 2))]
    said = (
        f"Chances in {counted(trends.reviewed, 'reviewed solve')}: the best missed one of each "
        f"pair would have saved {left} s a solve ({interval_text(trends.left, 'seconds')}; "
        "predicted). Of the chances of one pair only one can be taken, so the rows below do not "
        "add up."
    )
    return [
        *_wrapped(said, width),
        "",
        *_uptakes("technique", trends.techniques, width),
        "",
        *_uptakes("slot", trends.slots, width),
        *focus,
    ]


def focus_sentence(focus: FocusUptake) -> str:
    """The chances within a focus, in words."""
    names = f"Focus on {', '.join(focus.techniques)}"
    chance = (
        "A chance is a pair for which one of these techniques costs at most "
        f"{focus.within_s:.2f} s more than the best plan"
    )
    if focus.share is None or focus.price is None:
        return f"{names}: the reviews found no chance. {chance}."
    came = counted(focus.came, "chance")
    share, price = figure_text(focus.share.value, "share"), f"{focus.price.value:.2f}"
    return (
        f"{names}: {came}, {focus.taken} taken, {share} ({interval_text(focus.share, 'share')}). "
        f"{chance}; on average it cost {price} s more ({interval_text(focus.price, 'seconds')}; "
        "predicted)."
    )


def worth_rows(trends: Trends) -> list[tuple[str, ...]]:
    """Rows of what techniques are worth, the headings first."""
    rows: list[tuple[str, ...]] = [("technique", "used", "plainly", "s saved", "95 % interval")]
    for one in trends.worth:
        saved = ("too few to tell", "–")
        if one.saved is not None:
            saved = (f"{one.saved.value:+.2f}", interval_text(one.saved, "seconds"))
        rows.append((one.name, str(one.used), str(one.plain), *saved))
    return rows


PRACTISING: Final = "What practising would bring"

_PARTS: Final = {
    "looking": (
        "Looking",
        "the pause, which is measured, less the looking that the plan expects and the price of the "
        "first turn, which are predicted",
    ),
    "turning": (
        "Turning",
        "the turns after the first one, which are measured, less their price, which is predicted",
    ),
    "way": (
        "The way into the slot",
        "the price of the turns less that of the plan's way into the same slot, both predicted",
    ),
    "pair": (
        "The choice of pair",
        "the best plan that begins with the same pair less the best plan of all, both predicted",
    ),
}


def losses_sentence(losses: Losses) -> str:
    """By how much pairs took longer than the best plan, or why that is not told."""
    if losses.whole is None:
        return "No review has compared these pairs with plans; livecube review --missing does."
    pairs = counted(losses.pairs, "reviewed pair")
    if losses.whole.low is None:
        return f"Too few to tell ({pairs})."
    lost = losses.whole.value
    hands = "the usual hands"
    if losses.own == losses.pairs:
        hands = "the solver's own hands, so looking and turning count from their own usual times"
    elif losses.own:
        hands = f"the solver's own hands in {losses.own} of them, for the usual hands in the others"
    return (
        f"{pairs} took {abs(lost):.2f} s {'more' if lost >= 0 else 'less'} each than the "
        f"best plan from their beginning ({interval_text(losses.whole, 'seconds')} s). Plans are "
        f"predicted for {hands}. Each part is the most that practising it alone could bring."
    )


def loss_sentences(losses: Losses) -> list[str]:
    """A sentence for each part, the greatest first; none if there are too few pairs."""
    if losses.whole is None or losses.whole.low is None:
        return []
    parts = sorted(losses.parts, key=lambda part: -part.seconds.value)
    return [_loss_sentence(part) for part in parts]


def _loss_sentence(part: LossPart) -> str:
    name, basis = _PARTS[part.name]
    value, low, high = part.seconds.value, part.seconds.low, part.seconds.high
    between = f"({interval_text(part.seconds, 'seconds')} s)"
    if low is None or high is None or low <= 0 <= high:
        return f"{name} costs nothing significant {between}: {basis}."
    if high < 0:
        return f"{name} takes {-value:.2f} s a pair less than predicted {between}: {basis}."
    share = "" if part.share is None else f", {100 * part.share.value:.0f} % of all that is lost"
    return f"{name} costs {value:.2f} s a pair{share} {between}: {basis}."


def loss_rows(losses: Losses) -> list[tuple[str, ...]]:
    """Rows of the parts, the headings first."""
    rows: list[tuple[str, ...]] = [("part", "s a pair", "95 % interval", "share", "95 % interval")]
    for one in losses.parts:
        share = ("–", "–")
        if one.share is not None:
            share = (figure_text(one.share.value, "share"), interval_text(one.share, "share"))
        seconds = f"{one.seconds.value:+.2f}"
        rows.append((_PARTS[one.name][0], seconds, interval_text(one.seconds, "seconds"), *share))
    return rows


def _losses(trends: Trends, width: int | None) -> list[str]:
    losses = trends.losses
    if losses is None or (losses.whole is None and trends.left is None):
        return []
    told = ["", f"{PRACTISING}:", *_wrapped(losses_sentence(losses), width)]
    for sentence in loss_sentences(losses):
        told += _wrapped(sentence, width)
    return told


def _uptakes(head: str, uptakes: Sequence[Uptake], width: int | None) -> list[str]:
    return table_lines(uptake_rows(head, uptakes), width, (6, 4, 1))


def uptake_rows(head: str, uptakes: Sequence[Uptake]) -> list[tuple[str, ...]]:
    """Rows of a table of chances, the headings first."""
    headings = ("came", "taken", "share", "95 % interval", "s left a solve", "95 % interval")
    rows: list[tuple[str, ...]] = [(head, *headings)]
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
    return rows


# Trends as one JSON object. Keys are stable.


def trends_json(trends: Trends) -> dict[str, Any]:
    """The JSON object of trends; times in seconds."""
    return {
        "solves": trends.solves,
        "times": trends.times,
        "first": trends.first,
        "last": trends.last,
        "resampled": trends.resampled,
        "figures": [_figure(one) for one in trends.figures],
        "distribution": [
            {"from": low, "to": high, "solves": count} for low, high, count in trends.counts
        ],
        "periods": [_period_json(one) for one in trends.periods],
        "reviewed": trends.reviewed,
        "left": None if trends.left is None else _interval(trends.left),
        "techniques": [_uptake(one) for one in trends.techniques],
        "slots": [_uptake(one) for one in trends.slots],
        "focus": None if trends.focus is None else _focus_json(trends.focus),
        "worth": [
            {
                "name": one.name,
                "used": one.used,
                "plain": one.plain,
                "saved": None if one.saved is None else _interval(one.saved),
            }
            for one in trends.worth
        ],
        "losses": None if trends.losses is None else _losses_json(trends.losses),
    }


def _losses_json(losses: Losses) -> dict[str, Any]:
    return {
        "pairs": losses.pairs,
        "own_hands": losses.own,
        "seconds": None if losses.whole is None else _interval(losses.whole),
        "parts": [
            {
                "name": one.name,
                "seconds": _interval(one.seconds),
                "share": None if one.share is None else _interval(one.share),
            }
            for one in losses.parts
        ],
    }


def _focus_json(one: FocusUptake) -> dict[str, Any]:
    return {
        "techniques": list(one.techniques),
        "within": one.within_s,
        "came": one.came,
        "taken": one.taken,
        "share": None if one.share is None else _interval(one.share),
        "price": None if one.price is None else _interval(one.price),
    }


def _interval(one: Interval) -> dict[str, float | None]:
    return {"value": _rounded(one.value), "low": _rounded(one.low), "high": _rounded(one.high)}


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 6)


def _figure(one: Figure) -> dict[str, Any]:
    change = None
    if one.change is not None:
        change = {
            "before": _rounded(one.change.before),
            "after": _rounded(one.change.after),
            "difference": _interval(one.change.difference),
            "verdict": one.change.verdict,
        }
    return {"name": one.name, "unit": one.unit, **_interval(one.whole), "change": change}


def _period_json(one: Period) -> dict[str, Any]:
    return {
        "name": one.name,
        "solves": one.solves,
        "times": one.times,
        "mean": None if one.mean is None else _interval(one.mean),
        "best": one.best,
        "deviation": _rounded(one.deviation),
        "splits": None
        if one.splits is None
        else {name: _rounded(value) for name, value in zip(SPLITS, one.splits, strict=True)},
        "pause": _rounded(one.pause),
    }


def _uptake(one: Uptake) -> dict[str, Any]:
    return {
        "name": one.name,
        "came": one.came,
        "taken": one.taken,
        "share": _interval(one.share),
        "left": _interval(one.left),
    }
