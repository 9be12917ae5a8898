"""Seconds from a cube's own clock. Pure.

A cube's count of milliseconds wraps. The clock here unwraps it, so that splits come from the cube
and not from the jitter of the radio.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from livecube.events import (
    Attitude,
    AttitudeReport,
    BadPacket,
    Battery,
    BatteryReport,
    ClockAccount,
    CubeEvent,
    Gap,
    GapReport,
    Report,
    State,
    StateReport,
    Turn,
    TurnReport,
    is_attitude,
)

if TYPE_CHECKING:
    from collections.abc import Iterable

__all__ = ["ClockFit", "CubeClock"]

# How a cube's clock relates to the host's, fitted to packets that are only ever late. Pure.
#
# A packet never arrives before it was sent. So in a plot of arrivals over the cube's time, the line
# of no delay lies below all points. The lower hull of the points is kept, and its edge under their
# middle is the fitted line: of all lines below the points it is nearest to them in sum.


_Point = tuple[float, float]
"""The cube's time, and the host's."""

_SHORT_S: Final = 20.0
"""Shorter than this, jitter outweighs any drift of a clock: no drift is assumed."""
_MOST_DRIFT: Final = 5e-4
"""Quartz drifts less than this; a steeper line comes from jitter."""
_KEPT: Final = 4096
"""Number of the latest delays that are kept."""
_EDGES: Final = 256
"""Most points of the hull, so that a packet never costs more; jitter leaves some twenty."""


class ClockFit:
    """Fits host seconds = ``offset`` + ``rate`` × cube seconds; times come in order."""

    def __init__(self) -> None:
        self.rate = 1.0
        """Host seconds for each of the cube's."""
        self.offset = 0.0
        """Host seconds at the cube's time 0, plus the shortest delay so far."""
        self._points: list[_Point] = []
        self._hull: list[_Point] = []

    def restart(self) -> None:
        """A new connection: delays start again, the drift so far is kept."""
        self._points, self._hull = [], []

    def add(self, cube_s: float, host_s: float) -> None:
        """Take in the arrival, in host seconds, of an event at a time of the cube."""
        if self._points and cube_s < self._points[-1][0]:
            return  # sent again: it is in the past
        self._points.append((cube_s, host_s))
        del self._points[:-_KEPT]
        hull = self._hull
        while hull and hull[-1][0] == cube_s:
            host_s = min(host_s, hull.pop()[1])
        while len(hull) > 1 and _not_below(hull[-2], hull[-1], (cube_s, host_s)):
            hull.pop()
        hull.append((cube_s, host_s))
        del hull[:-_EDGES]
        self._fit()

    def late_ms(self, part: float = 0.95) -> float | None:
        """Delay beyond the shortest one that this part of the packets stays within, in ms."""
        if len(self._points) < 2:
            return None
        late = sorted(host - self.host(cube) for cube, host in self._points)
        return 1000 * max(0.0, late[min(len(late) - 1, int(part * len(late)))])

    def host(self, cube_s: float) -> float:
        """The host's time at a time of the cube."""
        return self.offset + self.rate * cube_s

    def _fit(self) -> None:
        hull = self._hull
        if hull[-1][0] - hull[0][0] >= _SHORT_S:
            middle = (hull[0][0] + hull[-1][0]) / 2
            behind = next(i for i, point in enumerate(hull) if point[0] >= middle and i > 0)
            (x0, y0), (x1, y1) = hull[behind - 1], hull[behind]
            drift = (y1 - y0) / (x1 - x0) - 1
            self.rate = 1 + max(-_MOST_DRIFT, min(_MOST_DRIFT, drift))
        self.offset = min(host - self.rate * cube for cube, host in hull)


def _not_below(
    one: tuple[float, float], two: tuple[float, float], new: tuple[float, float]
) -> bool:
    """Whether the middle one of three points does not lie below the line through the others."""
    (x0, y0), (x1, y1), (x2, y2) = one, two, new
    return (x1 - x0) * (y2 - y0) <= (y1 - y0) * (x2 - x0)


_STEPS: Final = 1000
"""Number of arrivals kept of a cube without a clock."""


class CubeClock:
    """Turns reports into events, on the cube's clock where it has one, else on the host's.

    ``wrap_ms``: the cube's clock begins again after this many ms; None: it has no clock, and the
    host's is used. The cube's seconds begin at 0 with the first report that carries a time.
    Events never go backwards.
    """

    def __init__(self, wrap_ms: float | None) -> None:
        self._wrap = wrap_ms
        self._ms: float | None = None
        """Unwrapped count of the latest report."""
        self._zero = 0.0
        self._host_at = 0.0
        """Host time of the latest report, to notice wraps during a pause."""
        self._t = 0.0
        self._fit = ClockFit()
        self._steps: list[float] = []
        """Without a clock: seconds between arrivals."""

    def reconnected(self) -> None:
        """A new connection; its delays are independent of the earlier ones."""
        self._fit.restart()

    def account(self) -> ClockAccount | None:
        """The measured accuracy of the times; None if hardly anything has arrived."""
        if self._wrap is not None:
            late = self._fit.late_ms()
            return None if late is None else ClockAccount(self._t, 1e6 * (self._fit.rate - 1), late)
        steps = sorted(self._steps)
        return ClockAccount(self._t, None, 1000 * steps[len(steps) // 20]) if steps else None

    def events(self, reports: Iterable[Report], host_s: float) -> list[CubeEvent]:
        """The events of reports that arrived at ``host_s``, in order."""
        result: list[CubeEvent] = []
        for report in reports:
            match report:
                case TurnReport():
                    t = self._time(report.cube_ms, host_s)
                    result.append(Turn(t, report.turn, host=host_s, seq=report.seq))
                case StateReport():
                    result.append(State(self._time(report.cube_ms, host_s), report.position))
                case BatteryReport() if 0 <= report.percent <= 100:
                    result.append(Battery(self._t, report.percent))
                case AttitudeReport() if is_attitude(report.quaternion):
                    result.append(Attitude(self._t, report.quaternion))
                case GapReport():
                    result.append(Gap(self._t, report.lost))
                case AttitudeReport() | BatteryReport() | BadPacket():
                    pass  # noise: it is not a rotation, and a log cannot hold it
        return result

    def _time(self, cube_ms: int | None, host_s: float) -> float:
        if cube_ms is None or self._wrap is None:
            t = host_s
            if self._t < t:
                self._steps = [*self._steps[-_STEPS:], t - self._t]
        else:
            t = self._unwrapped(cube_ms, host_s) / 1000
            self._fit.add(t, host_s)
        self._t = max(self._t, t)
        return self._t

    def _unwrapped(self, cube_ms: int, host_s: float) -> float:
        assert self._wrap is not None
        if self._ms is None:
            self._zero = self._ms = cube_ms
        else:
            # The step since the latest report, as small as the host's clock allows: a turn that
            # was sent again is a little earlier, a long pause may hold whole wraps.
            step = (cube_ms - self._ms) % self._wrap
            elapsed_ms = (host_s - self._host_at) * 1000
            step += self._wrap * round((elapsed_ms - step) / self._wrap)
            self._ms += step
        self._host_at = host_s
        return self._ms - self._zero
