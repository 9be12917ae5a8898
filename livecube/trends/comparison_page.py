"""Groups of solves side by side, as a page."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from livecube.trends.text import figure_text, interval_text
from livecube.views.lines import counted
from livecube.views.page import beside, page, paragraph, table

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.trends.comparing import Comparison, GroupAbout, Row

__all__ = ["comparison_page", "order_sentence"]

_HEADS: Final = {"times": "Times", "splits": "Splits and pauses", "chances": "Chances"}
_SPLITS_BEGIN: Final = "cross"
"""The first of the figures about splits and pauses."""
_NO_REVIEWS: Final = "No chances of these solves are known; livecube review --missing finds them."


def comparison_page(comparison: Comparison, title: str, focus: str = "") -> str:
    """The page; ``focus``: the techniques of the focus and its limit, in words."""
    names = [one.name for one in comparison.groups]
    at = [row.name for row in comparison.figures].index(_SPLITS_BEGIN)
    chances = [_technique(*one, names) for one in comparison.techniques]
    sections = [
        ("who", "Which solves", _who(comparison)),
        ("times", "Times", _tables(comparison.figures[:at], names)),
        ("splits", "Splits and pauses", _tables(comparison.figures[at:], names)),
        ("chances", "Chances", "".join(chances) or paragraph(_NO_REVIEWS)),
    ]
    if comparison.focus is not None:
        share, price = comparison.focus
        told = paragraph(
            f"{focus} A chance is a pair for which one of these techniques costs at most so much "
            "more than the best plan."
        )
        its = beside(
            _table(share, "Chances taken", names),
            _table(price, "Mean price of a chance (seconds, predicted)", names),
        )
        sections.insert(1, ("focus", "The focus", told + its))
    about = f"{counted(len(names), 'group')}, {sum(one.solves for one in comparison.groups)} solves"
    return page(title, about, sections)


def _who(comparison: Comparison) -> str:
    rows = [("who", "solves", "with a time", "reviewed", "from", "to")]
    rows += [_about(one) for one in comparison.groups]
    told = (
        "The lines stand as they were asked for, never in the order of a figure. Each figure has "
        "its 95 % interval and the number of solves (or chances) behind it; a dash: too few. "
        "Below a table is said who has less than whom only where the intervals do not overlap "
        f"and the difference is significant, with all {comparison.compared} comparisons of this "
        "page tested together. Anything else may be chance."
    )
    return table("Groups of solves", rows, (), (2, 3)) + paragraph(told, quiet=True)


def _about(one: GroupAbout) -> tuple[str, str, str, str, str, str]:
    first, last = (day or "undated" for day in one.days)
    return one.name, str(one.solves), str(one.times), str(one.reviewed), first, last


def _tables(rows: Sequence[Row], names: Sequence[str]) -> str:
    return beside(*(_table(row, _caption(row), names) for row in rows))


def _caption(row: Row) -> str:
    unit = {"seconds": " (seconds)", "share": "", "number": ""}[row.unit]
    return f"{row.name[0].upper()}{row.name[1:]}{unit}"


def _technique(name: str, share: Row, left: Row, names: Sequence[str]) -> str:
    return beside(
        _table(share, f"{name}: chances taken", names),
        _table(left, f"{name}: seconds left a reviewed solve (predicted)", names),
    )


def _table(row: Row, caption: str, names: Sequence[str]) -> str:
    cells = [("who", "figure", "95 % interval", row.counted)]
    for name, cell in zip(names, row.cells, strict=True):
        if cell is None:
            cells.append((name, "–", "–", "0"))
            continue
        value = figure_text(cell.value.value, row.unit)
        cells.append((name, value, interval_text(cell.value, row.unit), str(cell.counted)))
    return table(caption, cells) + paragraph(order_sentence(row, names), quiet=True)


def order_sentence(row: Row, names: Sequence[str]) -> str:
    """Who certainly has less than whom; else that nothing can be told."""
    if not row.apart:
        return "No difference can be told."
    more: dict[int, list[str]] = {}
    for less, than in row.apart:
        more.setdefault(less, []).append(names[than])
    return " ".join(
        f"Less for {names[less]} than for {_listed(than)}." for less, than in sorted(more.items())
    )


def _listed(names: Sequence[str]) -> str:
    return " and ".join(filter(None, (", ".join(names[:-1]), names[-1])))
