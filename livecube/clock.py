"""Seconds from a cube's own clock. Pure.

A cube's count of milliseconds wraps. The clock here unwraps it, so
that splits come from the cube and not from the jitter of the radio.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from livecube.clock_fit import ClockFit
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
)

if TYPE_CHECKING:
    from collections.abc import Iterable

__all__ = ["CubeClock"]

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
                case BatteryReport():
                    result.append(Battery(self._t, report.percent))
                case AttitudeReport():
                    result.append(Attitude(self._t, report.quaternion))
                case GapReport():
                    result.append(Gap(self._t, report.lost))
                case BadPacket():
                    pass  # noise: there is nothing to follow in it
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
