"""Plots as SVG for a page; the page's style sets their colours."""

from __future__ import annotations

import io
import re
from html import escape
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from collections.abc import Sequence
    from contextlib import AbstractContextManager

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from livecube.own.figures import Measured
    from livecube.trends.measures import Period, Uptake

__all__ = [
    "distribution_plot",
    "mean_plot",
    "pause_plot",
    "prices_plot",
    "sides_plot",
    "split_plot",
    "uptake_plot",
]

_INK, _ACCENT, _SOFT, _GRID, _PAPER = "#010101", "#020202", "#030303", "#040404", "#050505"
"""Placeholders for colours of the page."""
_VARIABLES: Final = {_INK: "ink", _ACCENT: "accent", _SOFT: "soft", _GRID: "rule", _PAPER: "paper"}
_STYLE: Final[Any] = {
    "svg.fonttype": "none",
    "font.family": "sans-serif",
    "font.size": 12,
    "text.color": _INK,
    "axes.edgecolor": _INK,
    "axes.labelcolor": _INK,
    "xtick.color": _INK,
    "ytick.color": _INK,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "axes.axisbelow": True,
    "grid.color": _GRID,
}
_SIZE_INCHES: Final = (5.2, 3.2)
_LINES: Final = (("-", "o"), ("--", "s"), ("-.", "D"), (":", "^"))
_TURNED_FROM: Final = 6
"""From this number of periods on labels are rotated, or they would overlap."""


def mean_plot(periods: Sequence[Period], title: str) -> str:
    """Mean time of each period, with its interval; empty if only one period has times."""
    known = [(at, one, one.mean) for at, one in enumerate(periods) if one.mean is not None]
    if len(known) < 2:
        return ""
    with _styled():
        figure, axes = _axes("seconds", bottom=_below(periods))
        places = [at for at, *_ in known]
        sure = [
            (at, mean.low, mean.high)
            for at, _, mean in known
            if mean.low is not None and mean.high is not None
        ]
        axes.vlines(
            [at for at, *_ in sure], [low for _, low, _ in sure], [high for *_, high in sure],
            colors=_SOFT, linewidth=5,
        )  # fmt: skip
        axes.plot(places, [mean.value for *_, mean in known], color=_ACCENT, marker="o")
        _name_periods(axes, periods)
        return _svg(figure, title, "mean")


def split_plot(names: Sequence[str], periods: Sequence[Period], title: str) -> str:
    """Mean seconds of each split, a line for each, with its own dashes and marks.

    Empty if only one period has splits.
    """
    if sum(one.splits is not None for one in periods) < 2:
        return ""
    with _styled():
        figure, axes = _axes("seconds", 3.6, bottom=_below(periods), top=0.65)
        for at, (name, (dash, mark)) in enumerate(zip(names, _LINES, strict=True)):
            rows = [(n, one.splits[at]) for n, one in enumerate(periods) if one.splits]
            x, y = [n for n, _ in rows], [value for _, value in rows]
            axes.plot(x, y, color=_ACCENT, linestyle=dash, marker=mark, markersize=5, label=name)
        axes.set_ylim(bottom=0)
        axes.legend(loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=2, frameon=False)
        _name_periods(axes, periods)
        return _svg(figure, title, "splits")


def distribution_plot(counts: Sequence[tuple[float, float, int]], title: str) -> str:
    """A histogram of the times."""
    with _styled():
        figure, axes = _axes("solves")
        widths = [high - low for low, high, _ in counts]  # the last one may be wider
        lows = [low for low, *_ in counts]
        axes.bar(
            lows, [count for *_, count in counts], width=widths, align="edge",
            color=_SOFT, edgecolor=_ACCENT,
        )  # fmt: skip
        axes.set_xlabel("seconds")
        axes.locator_params(axis="y", integer=True)
        return _svg(figure, title, "distribution")


def pause_plot(
    names: Sequence[str], pauses: Sequence[float], turning: Sequence[float], title: str
) -> str:
    """Pause and turning of each stage of a solve, in one bar."""
    with _styled():
        figure, axes = _axes("", 1.1 + 0.3 * len(names), left=1.75, top=0.4)
        axes.barh(names, pauses, color=_SOFT, edgecolor=_ACCENT, hatch="//", label="pause")
        axes.barh(names, turning, left=pauses, color=_ACCENT, edgecolor=_ACCENT, label="turning")
        axes.invert_yaxis()
        axes.set_xlabel("seconds")
        axes.legend(loc="lower center", bbox_to_anchor=(0.4, 1.0), ncols=2, frameon=False)
        return _svg(figure, title, "stages")


def uptake_plot(uptakes: Sequence[Uptake], title: str) -> str:
    """Share of chances taken, with its interval, by technique."""
    with _styled():
        figure, axes = _axes("", 0.8 + 0.4 * len(uptakes), left=1.75)
        names = [one.name or "–" for one in uptakes]
        for name, one in zip(names, uptakes, strict=True):
            if one.share.low is not None and one.share.high is not None:
                axes.hlines(name, 100 * one.share.low, 100 * one.share.high, _SOFT, linewidth=5)
        shares = [100 * one.share.value for one in uptakes]
        axes.plot(shares, names, "o", color=_ACCENT, clip_on=False)
        axes.set_xlim(0, 100)
        axes.set_ylim(len(names) - 0.5, -0.5)
        axes.set_xlabel("taken, % of those that came")
        return _svg(figure, title, "uptake")


def prices_plot(moves: Sequence[Measured], title: str, prefix: str) -> str:
    """A person's price of each move as a spot, and the usual price as a stroke.

    A move that was never measured has no spot. ``prefix``: of the drawing's ids on the page.
    """
    with _styled():
        left = 0.55 + 0.09 * max(len(one.name) for one in moves)
        figure, axes = _axes("", 0.95 + 0.22 * len(moves), left=left, top=0.4)
        places = range(len(moves))
        measured = [(at, one) for at, one in enumerate(moves) if one.times]
        axes.hlines(
            [at for at, _ in measured],
            [min(one.ms, one.usual_ms) for _, one in measured],
            [max(one.ms, one.usual_ms) for _, one in measured],
            colors=_SOFT, linewidth=4,
        )  # fmt: skip
        spots = [one.ms for _, one in measured]
        axes.plot(spots, [at for at, _ in measured], "o", color=_ACCENT, label="own price")
        usual = [one.usual_ms for one in moves]
        axes.plot(usual, places, "|", color=_INK, markersize=11, mew=1.8, label="usual price")
        axes.set_yticks(places, [one.name for one in moves])
        axes.set_ylim(len(moves) - 0.4, -0.6)
        axes.set_xlim(left=0)
        axes.set_xlabel("milliseconds")
        axes.legend(loc="lower center", bbox_to_anchor=(0.45, 1.0), ncols=2, frameon=False)
        return _svg(figure, title, prefix)


def sides_plot(sides: Sequence[tuple[Measured, Measured]], tempo: float, title: str) -> str:
    """The same turn by the left and the right hand, against the usual prices.

    The stroke is the person's ``tempo`` over all turns. Turns that were never measured are left
    out; empty if both hands were measured in no turn.
    """
    known = [(left, right) for left, right in sides if left.times and right.times]
    if not known:
        return ""
    with _styled():
        figure, axes = _axes("", 0.95 + 0.4 * len(known), left=0.95, top=0.4)
        places = range(len(known))
        lefts, rights = ([one.ms / one.usual_ms for one in its] for its in zip(*known, strict=True))
        ends = list(zip(lefts, rights, strict=True))
        axes.hlines(places, [min(e) for e in ends], [max(e) for e in ends], _SOFT, linewidth=4)
        axes.axvline(tempo, color=_INK, linewidth=1.8, linestyle=":", label="all turns")
        axes.plot(lefts, places, "<", color=_ACCENT, markersize=9, label="left hand")
        axes.plot(
            rights, places, ">", color=_ACCENT, markersize=9, mfc=_PAPER, mew=1.8,
            label="right hand",
        )  # fmt: skip
        axes.set_yticks(places, [f"{left.name}, {right.name}" for left, right in known])
        axes.set_ylim(len(known) - 0.4, -0.6)
        axes.set_xlabel("times the usual price")
        axes.legend(loc="lower center", bbox_to_anchor=(0.4, 1.0), ncols=3, frameon=False,
                    columnspacing=1.0)  # fmt: skip
        return _svg(figure, title, "sides")


def _styled(style: Any = _STYLE) -> AbstractContextManager[None]:
    import matplotlib  # a quarter of a second, when a page is made

    return matplotlib.rc_context(style)


def _axes(
    label: str,
    tall: float = _SIZE_INCHES[1],
    *,
    left: float = 0.7,
    bottom: float = 0.65,
    top: float = 0.12,
) -> tuple[Figure, Axes]:
    """Axes with margins given in inches: fitting them to the labels would draw twice."""
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    wide, tall = _SIZE_INCHES[0], max(tall, 1.6)
    figure = Figure(figsize=(wide, tall))
    figure.subplots_adjust(left / wide, bottom / tall, 1 - 0.22 / wide, 1 - top / tall)
    FigureCanvasSVG(figure)
    axes = figure.add_subplot()
    axes.set_ylabel(label)
    return figure, axes


def _below(periods: Sequence[Period]) -> float:
    """Inches for the names of periods, which are rotated if there are many."""
    if len(periods) < _TURNED_FROM:
        return 0.4
    return 0.35 + 0.08 * max(len(one.name) for one in periods)


def _name_periods(axes: Axes, periods: Sequence[Period]) -> None:
    step = -(-len(periods) // 12)
    turn = 60 if len(periods) >= _TURNED_FROM else 0
    places = range(0, len(periods), step)
    axes.set_xticks(list(places), [periods[at].name for at in places], rotation=turn)


def _svg(figure: Figure, title: str, prefix: str) -> str:
    """The drawing as SVG for a page: unique ids, the page's colours, any width."""
    out = io.StringIO()
    with _styled({"svg.hashsalt": prefix}):
        figure.savefig(out, format="svg", transparent=True, metadata=dict.fromkeys(
            ("Creator", "Date", "Format", "Type")))  # fmt: skip
    text = out.getvalue()
    text = text[text.index("<svg") :]
    for colour, name in _VARIABLES.items():
        text = text.replace(colour, f"var(--{name})")
    text = re.sub(r'\bid="', f'id="{prefix}-', text)
    text = re.sub(r'(url\(#|xlink:href="#)', rf"\g<1>{prefix}-", text)
    text = re.sub(r"<metadata>.*?</metadata>\s*", "", text, flags=re.DOTALL)
    head = f'<svg class="plot" role="img" aria-label="{escape(title)}" '
    return re.sub(r'<svg [^>]*?(viewBox="[^"]*")[^>]*>', rf"{head}\1>", text, count=1)
