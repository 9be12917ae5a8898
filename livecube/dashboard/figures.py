"""Figures over several solves, for a dashboard. Pure.

A figure is published when it has changed. One that never had a value is not published; one that has
lost its value is published as null: the averages of the last session are not those of this one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from livecube.dashboard.topics import FIGURES
from livecube.timing.averages import AVERAGES_OF, mean

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from livecube.practice.news import Tally
    from livecube.timing.results import Result
    from livecube.trends.measures import Month

__all__ = ["FIGURE_KINDS", "FigureKind", "Figures"]


@dataclass(frozen=True, slots=True)
class FigureKind:
    """A figure that may be published: its name in the topic, its title, its unit."""

    name: str
    title: str
    unit: str = "s"
    is_duration: bool = True
    """False for a difference, which may be negative."""

    @property
    def topic(self) -> str:
        """Topic below the desk."""
        return FIGURES + self.name


FIGURE_KINDS: Final = (
    FigureKind("session-mean", "Session mean"),
    FigureKind("session-best", "Session best"),
    FigureKind("mean-of-3", "Mean of 3"),
    *(FigureKind(f"average-of-{count}", f"Average of {count}") for count in AVERAGES_OF),
    FigureKind("month-mean", "Mean of the month before"),
    FigureKind("session-against-month", "Session against the month before", is_duration=False),
    FigureKind("chances-taken", "Chances taken in a month", "%", is_duration=False),
)
_UNITS: Final = {kind.name: kind.unit for kind in FIGURE_KINDS}
_OF_SESSION: Final = ("session-best", "mean-of-3", *(f"average-of-{n}" for n in AVERAGES_OF))
"""Figures without a value at the beginning of a session."""


class Figures:
    """All figures of one run. ``last``: the states that the desk published last, by name."""

    def __init__(self, last: Mapping[str, dict[str, Any]]) -> None:
        self._told = {
            name.removeprefix(FIGURES): (body.get("value"), body.get("solves"))
            for name, body in last.items()
            if name.startswith(FIGURES)
        }
        self._month: Month | None = None

    def of_times(self, seconds: Sequence[float]) -> dict[str, Any]:
        """The mean of a session's finished solves, which have no judgement."""
        return _figure("session-mean", sum(seconds) / len(seconds), len(seconds))

    def of_tally(self, tally: Tally) -> list[dict[str, Any]]:
        """The figures that a session's results have changed."""
        times = [result for result in tally.results if not isinstance(result, str)]
        counts = {name: int(name.rpartition(" ")[2]) for name, _ in tally.averages}
        now = [_figure(name, None, 0) for name in _OF_SESSION]
        now += [
            _figure(name.replace(" ", "-"), _seconds(result), counts[name])
            for name, result in tally.averages
        ]
        if tally.best is not None:
            now.append(_figure("session-best", _seconds(tally.best), len(times)))
        session = _seconds(mean(times)) if times else None
        now.append(_figure("session-mean", session, len(times)))
        now += self._against_month(session, len(times))
        return list(self._changed({one["figure"]: one for one in now}))

    def of_month(self, month: Month) -> list[dict[str, Any]]:
        """The figures of the month before."""
        self._month = month
        share = 100 * month.taken / month.came if month.came else None
        now = [
            _figure("month-mean", month.mean, month.times),
            _figure("chances-taken", share, month.reviewed, digits=1),
        ]
        return list(self._changed({one["figure"]: one for one in now}))

    def _against_month(self, session: float | None, times: int) -> list[dict[str, Any]]:
        month = None if self._month is None else self._month.mean
        if session is None or month is None:
            return [_figure("session-against-month", None, 0)]
        return [_figure("session-against-month", session - month, times)]

    def _changed(self, now: Mapping[str, dict[str, Any]]) -> Iterator[dict[str, Any]]:
        for name, body in now.items():
            value = body["value"], body["solves"]
            never = body["value"] is None and name not in self._told
            if not never and self._told.get(name) != value:
                self._told[name] = value
                yield body


def _figure(name: str, value: float | None, solves: int, digits: int = 3) -> dict[str, Any]:
    rounded = None if value is None else round(value, digits)
    return {"figure": name, "value": rounded, "unit": _UNITS[name], "solves": solves}


def _seconds(result: Result) -> float | None:
    return None if isinstance(result, str) else result / 1000
