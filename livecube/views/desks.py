"""All desks that a listener hears, as a table; each message as a line."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from rich.table import Table
from rich.text import Text

from livecube.dashboard import topics

if TYPE_CHECKING:
    from livecube.dashboard.desks import Arrived, DeskNow, Desks

__all__ = ["arrived_line", "desks_table"]

_NAMES: Final = {
    "cross": "cross",
    "pair": "pair",
    "orient": "orientation",
    "permute": "permutation",
    "auf": "closing turn",
}


def desks_table(desks: Desks, rows: int, notice: str = "") -> Table:
    """At most so many desks; those that are there come first."""
    table = Table(box=None, padding=(0, 2, 0, 0), expand=False)
    for name in ("desk", "", "cube", "session"):
        table.add_column(name, no_wrap=True, overflow="ellipsis")
    table.add_column("last solve", justify="right", no_wrap=True)
    table.add_column("stages, in seconds", no_wrap=True, overflow="ellipsis")
    shown = sorted(desks.desks.values(), key=lambda desk: desk.online is not True)
    for desk in shown[:rows]:
        table.add_row(*(Text(cell) for cell in _cells(desk)))
    table.caption = Text(_caption(desks, len(shown) - rows, notice))
    table.caption_justify = "left"
    return table


def _cells(desk: DeskNow) -> tuple[str, ...]:
    return (
        desk.name,
        _presence(desk),
        desk.cube + ("" if desk.battery is None else f" {desk.battery} %"),
        f"{desk.session} {desk.solves}".strip() if desk.session else "",
        _last(desk),
        " ".join(f"{seconds:.2f}" for _, seconds in desk.stages),
    )


def _presence(desk: DeskNow) -> str:
    if desk.online is not True:
        return "away" if desk.online is False else "?"
    return "here" if desk.link is not False else "no cube"


def _last(desk: DeskNow) -> str:
    if desk.last_s is None:
        return ""
    return f"{desk.last_s:.2f} s" + ("" if desk.last_solved else " unfinished")


def _caption(desks: Desks, hidden: int, notice: str) -> str:
    told = [notice] if notice else []
    if not desks.desks:
        told.append("nobody has been heard yet")
    if hidden > 0:
        told.append(f"and {hidden} more")
    if desks.senseless:
        told.append(f"{desks.senseless} messages made no sense")
    return "; ".join(told)


def arrived_line(desks: Desks, arrived: Arrived) -> str | None:
    """A line for what is worth one: a stage, a solve, somebody who comes or goes."""
    desk = desks.desks[arrived.desk]
    match arrived.name:
        case topics.STAGE if desk.stages:
            name, seconds = desk.stages[-1]
            how = arrived.body.get("technique")
            told = f"{_NAMES.get(name, name)} {seconds:.2f} s"
            return f"{desk.name}: {told}" + (f" {how}" if _is_word(how) else "")
        case topics.SOLVE:
            return f"{desk.name}: solve {_last(desk)}"
        case topics.AVAILABILITY:
            return f"{desk.name}: {_presence(desk)}"
    return None


def _is_word(value: object) -> bool:
    return isinstance(value, str) and value.isprintable() and len(value) < 60
