"""Seconds from a cube's own clock: wraps, repeats, pauses, and no clock at all."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from livecube.clock import CubeClock
from livecube.events import BatteryReport, GapReport, StateReport, Turn, TurnReport
from livecube.stages.record import SOLVED_BYTES


def times(wrap_ms: float | None, arrivals: list[tuple[int | None, float]]) -> list[float]:
    clock = CubeClock(wrap_ms)
    return [
        event.t
        for cube_ms, host_s in arrivals
        for event in clock.events([TurnReport(0, None, cube_ms)], host_s)
    ]


@given(
    st.lists(st.integers(0, 300_000), min_size=1, max_size=30),
    st.integers(0, 2**16 - 1),
    st.lists(st.floats(0, 0.1), min_size=30, max_size=30),
)
def test_true_times_come_back_through_a_16_bit_clock_and_a_jittery_radio(
    steps_ms: list[int], first: int, delays: list[float]
) -> None:
    true_ms = [sum(steps_ms[:i]) for i in range(len(steps_ms))]
    arrivals: list[tuple[int | None, float]] = []
    host = 0.0
    for ms, delay in zip(true_ms, delays, strict=False):
        host = max(host, 5 + ms / 1000 + delay)
        arrivals.append(((first + ms) % 2**16, host))
    assert times(2**16, arrivals) == [pytest.approx(ms / 1000) for ms in true_ms]


def test_a_turn_that_is_sent_again_does_not_turn_time_back() -> None:
    # 60 ms after the first, then an older one once more, then a new one.
    found = times(2**32, [(1000, 0.0), (1060, 0.06), (1020, 0.07), (1100, 0.1)])
    assert found == [0.0, 0.06, 0.06, 0.1]


def test_without_a_clock_the_host_tells_the_time() -> None:
    assert times(None, [(None, 3.0), (None, 3.5)]) == [3.0, 3.5]


def test_other_reports_keep_their_place() -> None:
    clock = CubeClock(2**32)
    events = clock.events(
        [StateReport(SOLVED_BYTES, 1, 0), TurnReport(3, 2, 500), BatteryReport(70), GapReport(2)],
        9.0,
    )
    assert [event.t for event in events] == [0.0, 0.5, 0.5, 0.5]
    assert events[1] == Turn(0.5, 3, host=9.0, seq=2)
