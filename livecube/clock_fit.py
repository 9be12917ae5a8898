"""How a cube's clock and the host's go together, from packets that only ever come late. Pure.

A packet never arrives before it was sent, so in a plot of arrivals over the cube's time the
line of no delay lies below all points. The lower hull of the points is kept, and the line
through that edge of it which lies under their middle: no line below all points is nearer to
them together.
"""

from __future__ import annotations

from typing import Final

__all__ = ["ClockFit"]

_Point = tuple[float, float]
"""The cube's time, and the host's."""

_SHORT_S: Final = 20.0
"""Over less than this jitter outweighs any drift of a clock: then none is assumed."""
_MOST_DRIFT: Final = 5e-4
"""Quartz is better than this; a steeper line is made of jitter."""
_KEPT: Final = 4096
"""Of the delays so many of the latest are kept."""


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
