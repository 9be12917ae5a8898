"""Seconds from a cube's own clock: wraps, repeats, pauses, and no clock at all."""

from __future__ import annotations

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from livecube_protocols.turnwire import TurnwireDecoder

from livecube.clock import ClockFit, CubeClock
from livecube.composition.reception import Reception
from livecube.cube.position import SOLVED_BYTES
from livecube.edges.link import LinkUp, Notification
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
    State,
    StateReport,
    Turn,
    TurnReport,
)
from livecube.virtual.cube import simulated_cube


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
    assert times(None, [(1000, 3.0), (1200, 3.5)]) == [3.0, 3.5]
    assert times(2**16, [(1000, 0.0), (None, 0.1), (1200, 0.25)]) == [0.0, 0.1, 0.2]


def test_other_reports_keep_their_place() -> None:
    clock = CubeClock(2**32)
    events = clock.events(
        [
            StateReport(SOLVED_BYTES, 1, 0),
            TurnReport(3, 2, 500),
            BadPacket("noise", b"?"),
            AttitudeReport((1.0, 0.0, 0.0, 0.0)),
            BatteryReport(70),
            GapReport(2),
        ],
        9.0,
    )
    assert events == [
        State(0.0, SOLVED_BYTES),
        Turn(0.5, 3, host=9.0, seq=2),
        Attitude(0.5, (1.0, 0.0, 0.0, 0.0)),
        Battery(0.5, 70),
        Gap(0.5, 2),
    ]


@given(st.integers(0, 2**31), st.floats(-100, 100), st.booleans())
def test_drift_and_delay_are_found_under_one_sided_jitter(
    seed: int, drift_ppm: float, reconnects: bool
) -> None:
    rng = random.Random(seed)
    fit, rate, latency = ClockFit(), 1 + drift_ppm * 1e-6, 0.007
    cube = 0.0
    marks = []
    for number in range(600):
        cube += rng.choice([0.05, 0.15, 0.3, 2.0])
        if reconnects and number == 300:
            fit.restart()
            latency = 0.012
        fit.add(cube, 1000 + rate * cube + latency + rng.uniform(0.005, 0.060))
        marks.append(cube)
    begin, end = sorted(rng.sample(marks[-250:], 2))
    split = fit.host(end) - fit.host(begin)
    assert split == pytest.approx(rate * (end - begin), abs=0.005)
    assert end - begin == pytest.approx(rate * (end - begin), abs=0.05)
    late = fit.late_ms()
    assert late is not None
    assert 45 < late < 60
    assert fit.late_ms(1.0) == max(fit.late_ms(part / 10) or 0.0 for part in range(11))


def test_arrivals_on_a_curve_cost_more_and_more() -> None:
    """Each of them is a corner of the hull; only the latest corners are kept."""
    fit = ClockFit()
    for number in range(2000):
        fit.add(number * 0.1, number * 0.1 + (number / 2000) ** 2)
    assert len(fit._hull) == 256
    assert fit.rate == pytest.approx(1 + 5e-4)


def test_in_the_first_seconds_no_drift_is_made_of_jitter() -> None:
    fit = ClockFit()
    for cube, late in ((0.0, 0.06), (1.0, 0.005), (2.0, 0.03)):
        fit.add(cube, 50 + cube + late)
    assert fit.rate == 1.0
    assert fit.host(2.0) == pytest.approx(52.005)
    fit.add(1.0, 60.0)  # sent again much later
    assert fit.host(2.0) == pytest.approx(52.005)


def test_a_clock_gives_account_of_itself() -> None:
    clock = CubeClock(2**32)
    assert clock.account() is None
    for second in range(100):
        late = 0.02 * (second % 2)
        clock.events([TurnReport(0, None, 1000 * second)], 7 + second * 1.00005 + late)
    account = clock.account()
    assert account is not None
    assert account.drift_ppm == pytest.approx(50, abs=1)
    assert account.late_ms == pytest.approx(20, abs=0.2)
    clock.reconnected()
    assert clock.account() is None
    host = CubeClock(None)
    for number in range(40):
        host.events([TurnReport(0, None, None)], 0.03 * number)
    account = host.account()
    assert account is not None
    assert account.drift_ppm is None
    assert account.late_ms == pytest.approx(30)


@pytest.mark.parametrize(("steps_ms", "late_ms"), [(range(10, 29), 10), (range(10, 50), 12)])
def test_without_a_clock_lateness_is_below_the_shortest_twentieth_of_the_steps(
    steps_ms: range, late_ms: float
) -> None:
    """The radio delivers in steps of its own; a few that were shorter are chance."""
    host, t = CubeClock(None), 0.0
    host.events([TurnReport(0, None, None)], t)
    for step in steps_ms:
        t += step / 1000
        host.events([TurnReport(0, None, None)], t)
    account = host.account()
    assert account is not None
    assert account.late_ms == pytest.approx(late_ms)


def test_a_pause_of_half_a_day_holds_whole_wraps_of_a_16_bit_clock() -> None:
    hours_s = 12 * 3600
    arrivals: list[tuple[int | None, float]]
    arrivals = [(0, 5.0), (hours_s * 1000 % 2**16, 5.0 + hours_s * (1 + 5e-5))]
    assert times(2**16, arrivals) == [0, pytest.approx(hours_s)]


def test_a_simulated_cube_at_another_speed_gives_no_account_of_its_clock() -> None:
    """It reported a drift of millions of millionths."""

    def accounts(speed: float) -> list[CubeEvent]:
        cube = simulated_cube("turnwire")(SOLVED_BYTES)
        reception = Reception(TurnwireDecoder(), speed=speed)
        _, writes = reception.take(LinkUp(0.0))
        for data in (data for write in writes for data in cube.written(write.data, 0)):
            reception.take(Notification(0.0, cube.events, data))
        for second in range(1, 100):
            for data in cube.turn(0, 1000 * second):
                reception.take(Notification(second / speed, cube.events, data))
        return [event for event in reception.finish() if isinstance(event, ClockAccount)]

    assert len(accounts(1.0)) == 1
    assert accounts(20.0) == []


def test_of_packets_of_one_time_the_one_that_came_first_counts() -> None:
    for late in ((5.3, 5.1), (5.1, 5.3), (5.3, 5.1, 5.2)):
        fit = ClockFit()
        fit.add(0.5, 4.7)
        for host_s in late:
            fit.add(1.0, host_s)
        assert fit.offset == pytest.approx(4.1)
        assert fit.host(1.0) == pytest.approx(5.1)


def test_the_drift_is_the_slope_in_the_middle_of_the_shortest_delays() -> None:
    """Of an arrival each ten seconds that is later each time, by 0, 2, 4 and 6 ms more."""
    fit, rates = ClockFit(), []
    for cube, late in ((0.0, 0.0), (10.0, 0.0), (20.0, 0.002), (30.0, 0.006), (40.0, 0.012)):
        fit.add(cube, 100 + cube + late)
        rates.append(fit.rate)
    assert rates == pytest.approx([1.0, 1.0, 1.0, 1.0002, 1.0002])
    assert fit.offset == pytest.approx(99.998)


def test_of_4096_packets_the_delays_are_known() -> None:
    """All come at once after the first one, which came late, or is forgotten."""
    fit = ClockFit()
    for number in range(4096):
        fit.add(number * 1e-3, 10.0 if number else 20.0)
    assert fit.late_ms(1.0) == pytest.approx(14_095)
    fit.add(4.1, 10.0)
    assert fit.late_ms(1.0) == pytest.approx(4099)
