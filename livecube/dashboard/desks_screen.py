"""All desks that a listener hears, as a table; each message as a line."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Final

from rich.table import Table
from rich.text import Text

from livecube.dashboard import topics
from livecube.timing.results import seconds_text

if TYPE_CHECKING:
    from livecube.dashboard.desks import Arrived, DeskNow, Desks, DesksSeen

__all__ = ["arrived_line", "desks_table"]

_NAME: Final = 18
"""Columns of text for a desk's name."""
_FINE: Final = 100
"""Width from which stages have two digits."""
_WIDE: Final = 140
"""Width from which the cube is shown."""
_NAMES: Final = {
    "cross": "cross",
    "pair": "pair",
    "orient": "orientation",
    "permute": "permutation",
    "auf": "closing turn (AUF)",
}


def desks_table(desks: DesksSeen, rows: int, width: int, notice: str = "") -> Table:
    """At most ``rows`` desks; those that are online come first.

    If ``width`` columns of text do not suffice, the cube is left out first, then the mean and one
    digit of the stages, whose last ones may be cut. The other columns always stay.
    """
    shown = sorted(desks.desks, key=lambda desk: desk.online is not True)
    is_fine = width >= _FINE
    table = Table(box=None, padding=(0, 2, 0, 0), expand=False)
    table.add_column("desk", no_wrap=True, overflow="ellipsis", max_width=_NAME)
    table.add_column("now", no_wrap=True)
    for name in ("solves", "last", "of 5", *(("mean",) if is_fine else ())):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("stages, in seconds")
    if width >= _WIDE:
        table.add_column("cube")
    for desk in shown[:rows]:
        means = (desk.average_s, desk.mean_s)[: 1 + is_fine]
        stages = " ".join(f"{seconds:.{1 + is_fine}f}" for _, seconds in desk.stages)
        table.add_row(
            *(Text(cell) for cell in (desk.name, desk.presence, str(desk.solves or ""))),
            *(Text(cell) for cell in (_last(desk), *map(_seconds, means))),
            Text(stages, no_wrap=True, overflow="ellipsis"),
            *((Text(_cube(desk), no_wrap=True, overflow="ellipsis"),) if width >= _WIDE else ()),
        )
    table.caption = Text(_caption(desks, len(shown) - rows, notice))
    table.caption_justify = "left"
    return table


def _cube(desk: DeskNow) -> str:
    return desk.cube + ("" if desk.battery is None else f" {desk.battery} %")


def _last(desk: DeskNow) -> str:
    if desk.last_s is None:
        return ""
    if desk.penalty == "DNF" or not desk.last_solved:
        return f"DNF ({seconds_text(desk.last_s)})"
    return seconds_text(desk.last_s) + (f" ({desk.penalty})" if desk.penalty else "")


def _seconds(value: float | None) -> str:
    return "" if value is None else seconds_text(value)


def _caption(desks: DesksSeen, hidden: int, notice: str) -> str:
    told = [notice] if notice else []
    if not desks.desks:
        told.append("no desk has been heard yet")
    if hidden > 0:
        told.append(f"and {hidden} more")
    if desks.senseless:
        told.append(f"{desks.senseless} messages made no sense")
    return "; ".join(told)


def arrived_line(desks: Desks, arrived: Arrived, now: str) -> str | None:
    """A line for a stage, a solve, a drill, a desk that comes or goes; None for other messages.

    It begins with the time of day of the event, which may be long ago: messages may have waited for
    a broker. ``now``: the present time, ``21:04:11``, for messages without their own.
    """
    told = _line_of(desks.desks[arrived.desk], arrived)
    if told is None:
        return None
    name = desks.desks[arrived.desk].name
    return f"{_time(arrived.body.get('at')) or now}  {name}: {told}"


def _line_of(desk: DeskNow, arrived: Arrived) -> str | None:
    body = arrived.body
    match arrived.name:
        case topics.STAGE if desk.stages:
            stage, seconds = desk.stages[-1]
            how = body.get("technique")
            return f"{_NAMES.get(stage, stage)} {seconds_text(seconds)}" + (
                f" {how}" if _is_word(how) else ""
            )
        case topics.SOLVE:
            return f"solve {_last(desk)}"
        case topics.CORRECTION if _is_word(body.get("penalty")):
            away = ", thrown away" if body.get("discarded") is True else ""
            return f"corrected: penalty {body['penalty']}{away}"
        case topics.DRILL if _is_word(body.get("how_well")) and _is_word(body.get("technique")):
            return f"drill {body['technique']}: {body['how_well']}"
        case topics.FINGERS if _is_figure(body.get("turns_per_second")):
            return f"ring fingers {body['turns_per_second']:.1f} turns a second"
        case topics.BEAT if _is_figure(body.get("missed")) and _is_figure(body.get("turns")):
            return f"to a beat: {body['missed']:.0f} of {body['turns']:.0f} turns missed it"
        case topics.AVAILABILITY:
            return "away" if desk.online is False else "here" if desk.online else "?"
    return None


def _time(at: object) -> str:
    """Time of day in the zone of this machine; empty if unknown."""
    try:
        return f"{datetime.fromisoformat(at).astimezone():%H:%M:%S}" if isinstance(at, str) else ""
    except (ValueError, OverflowError, OSError):
        return ""


def _is_word(value: object) -> bool:
    return isinstance(value, str) and value.isprintable() and len(value) < 60


def _is_figure(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e9
