"""Seconds from a cube's own clock. Pure.

A cube's count of milliseconds wraps. The clock here unwraps it, so
that splits come from the cube and not from the jitter of the radio.
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

# How a cube's clock and the host's go together, from packets that only ever come late. Pure.
#
# A packet never arrives before it was sent, so in a plot of arrivals over the cube's time the
# line of no delay lies below all points. The lower hull of the points is kept, and the line
# through that edge of it which lies under their middle: no line below all points is nearer to
# them together.


_Point = tuple[float, float]
"""The cube's time, and the host's."""

_SHORT_S: Final = 20.0
"""Over less than this jitter outweighs any drift of a clock: then none is assumed."""
_MOST_DRIFT: Final = 5e-4
"""Quartz is better than this; a steeper line is made of jitter."""
_KEPT: Final = 4096
"""Of the delays so many of the latest are kept."""
_EDGES: Final = 256
"""And so many points of the hull, so that a packet costs the same however they arrive; jitter
leaves some twenty."""


class ClockFit:
    """Fits host seconds = ``offset`` + ``rate`` × cube seconds; times come in order."""

    def __init__(self) -> None:
        self.rate = 1.0
        """Host seconds for each of the cube's."""
        self.offset = 0.0
        """Host seconds at the cube's time 0, plus the shortest delay that there was."""
        self._points: list[_Point] = []
        self._hull: list[_Point] = []

    def restart(self) -> None:
        """The connection is a new one: delays begin anew, the drift so far is kept."""
        self._points, self._hull = [], []

    def add(self, cube_s: float, host_s: float) -> None:
        """Something that happened at one time of the cube's arrived at one of the host's."""
        if self._points and cube_s < self._points[-1][0]:
            return  # sent again: it lies behind
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
        """By how many ms at most this part of the packets was later than the quickest."""
        if len(self._points) < 2:
            return None
        late = sorted(host - self.host(cube) for cube, host in self._points)
        return 1000 * max(0.0, late[min(len(late) - 1, int(part * len(late)))])

    def host(self, cube_s: float) -> float:
        """The host's time at one of the cube's."""
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
"""Of a cube without a clock so many arrivals are kept."""


class CubeClock:
    """Turns reports into events, on the cube's clock where it has one, else on the host's.

    ``wrap_ms``: after so many ms the cube's clock begins again; None: it has none, and the
    host's is used. The cube's seconds begin at 0 with the first report that carries a time.
    Events never go backwards.
    """

    def __init__(self, wrap_ms: float | None) -> None:
        self._wrap = wrap_ms
        self._ms: float | None = None
        """Unwrapped count of the latest report."""
        self._zero = 0.0
        self._host_at = 0.0
        """Host time of the latest report, to see whether the count wrapped unseen."""
        self._t = 0.0
        self._fit = ClockFit()
        self._steps: list[float] = []
        """Without a clock: seconds between arrivals."""

    def reconnected(self) -> None:
        """The connection is a new one; its delays have nothing to do with those before."""
        self._fit.restart()

    def account(self) -> ClockAccount | None:
        """How good the times are, as far as was measured; None if next to nothing has come."""
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
                    pass  # noise: there is nothing to follow in it, and no log could hold it
        return result

    def _time(self, cube_ms: int | None, host_s: float) -> float:
        if cube_ms is None or self._wrap is None:
            t = host_s
            if self._t < t and self._wrap is None:
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
            # The step since the latest report, as small as the host's clock allows: a turn
            # that was sent again lies a little behind, a long pause may hold whole wraps.
            step = (cube_ms - self._ms) % self._wrap
            elapsed_ms = (host_s - self._host_at) * 1000
            step += self._wrap * round((elapsed_ms - step) / self._wrap)
            self._ms += step
        self._host_at = host_s
        return self._ms - self._zero
