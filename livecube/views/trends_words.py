"""How figures of trends are said, wherever they are shown."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from livecube.trends.values import Figure, Interval, Trends, Unit

__all__ = [
    "REVIEW_FIRST",
    "basis",
    "change_text",
    "figure_text",
    "interval_text",
    "short_verdict",
    "span",
    "verdict_text",
]

REVIEW_FIRST: Final = (
    "No chances are known of these solves; livecube review --kept NUMBER finds those of one."
)
_VERDICTS: Final = {
    "better": "better",
    "worse": "worse",
    "changed": "changed",
    "noise": "no change that could be told from noise",
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
    """Its 95 % interval; a dash if there is none."""
    if interval.low is None or interval.high is None:
        return "–"
    return f"{figure_text(interval.low, unit)} to {figure_text(interval.high, unit)}"


def change_text(figure: Figure) -> str:
    """By how much the later half differs: ``-0.42``."""
    if figure.change is None:
        return "–"
    text = figure_text(figure.change.difference.value, figure.unit).replace("%", "points")
    return text if text.startswith("-") else f"+{text}"


def verdict_text(figure: Figure) -> str:
    """Whether that can be told from noise."""
    return "–" if figure.change is None else _VERDICTS[figure.change.verdict]


def basis(trends: Trends) -> str:
    """What the intervals rest on."""
    return (
        f"Intervals: 95 % of samples in which whole {trends.resampled} were drawn again "
        "(bootstrap). A change, later half less earlier half, counts only if it stays outside "
        "noise for all figures looked at together."
    )


def short_verdict(figure: Figure) -> str:
    """The same in two or three words."""
    is_noise = figure.change is not None and figure.change.verdict == "noise"
    return "could be noise" if is_noise else verdict_text(figure)


def span(trends: Trends) -> str:
    """From which day to which."""
    first, last = trends.days
    return f"from {first or 'undated'} to {last or 'undated'}"
