"""turnwire over a bad radio: whatever is lost, the reported turns are the turns made."""

from __future__ import annotations

import random
from typing import TYPE_CHECKING

import pytest
from examples import examples
from hypothesis import example, given
from hypothesis import strategies as st
from livecube_protocols.turnwire import GIVE_UP_AFTER, RETRY_AFTER, WINDOW, TurnwireDecoder
from livecube_protocols.turnwire_bytes import PacketError, check_byte, decode, encode
from livecube_protocols.turnwire_cube import HISTORY, TurnwireCube
from livecube_protocols.turnwire_packets import (
    EVENTS,
    SERVICE,
    AgainRequest,
    BatteryPacket,
    Hello,
    HelloRequest,
    Snapshot,
    TimedTurn,
    TooOld,
    Turns,
)

from livecube.cube.position import SOLVED, TURN_BYTES, apply_turns
from livecube.decoding import Advertisement
from livecube.events import BatteryReport, GapReport, Report, StateReport, TurnReport

if TYPE_CHECKING:
    from collections.abc import Iterable

SEQS = st.integers(0, 0xFFFF)
CLOCKS = st.integers(0, 2**32 - 1)
TURNS = st.integers(0, 17)


class Follower:
    """Follows the reports as a tracker would, and compares each with the turns made."""

    def __init__(self, cube: TurnwireCube) -> None:
        self.made: dict[int, tuple[TimedTurn | None, bytes]] = {cube.seq: (None, cube.position)}
        self.seq: int | None = None
        self.position: bytes | None = None
        self.lost = 0

    def take(self, report: Report) -> None:
        match report:
            case TurnReport(turn, seq, cube_ms):
                assert seq is not None
                assert self.seq is not None
                assert seq == (self.seq + 1) % 65536
                assert self.made[seq][0] == (turn, cube_ms)
                self.seq = seq
                if self.position is not None:
                    self.position = self.position.translate(TURN_BYTES[turn])
                    assert self.position == self.made[seq][1]
            case StateReport(position, seq, _):
                assert seq is not None
                assert self.seq in (None, seq)
                assert position == self.made[seq][1]
                self.seq, self.position = seq, position
            case GapReport(lost):
                assert lost
                assert self.seq is not None
                self.seq = (self.seq + lost) % 65536
                self.position = None
                self.lost += lost
            case BatteryReport():
                pass
            case _:
                pytest.fail(f"{report} out of nothing")


class Link:
    """A cube, a decoder and a radio between them that loses, repeats and swaps packets."""

    def __init__(self, loss: float, seed: int, *, seq: int = 0, cube_ms: int = 0) -> None:
        self.random, self.loss, self.cube_ms = random.Random(seed), loss, cube_ms
        self.cube, self.decoder = TurnwireCube(seq=seq), TurnwireDecoder()
        self.follower = Follower(self.cube)
        self.on_air: list[bytes] = []
        self.requests = [write.data for write in self.decoder.connected()]
        self.again = 0

    def sent(self, packets: Iterable[bytes]) -> None:
        for packet in packets:
            assert len(packet) <= 20
            if self.random.random() >= self.loss:
                self.on_air += [packet] * self.random.choice((1, 1, 1, 2))

    def turn(self, turn: int, pause_ms: int) -> None:
        self.cube_ms += pause_ms
        packets = self.cube.turn(turn, self.cube_ms)
        made = TimedTurn(turn, self.cube_ms % 2**32)
        self.follower.made[self.cube.seq] = (made, self.cube.position)
        self.sent(packets)

    def step(self, wait_ms: int, behind: int) -> list[Report]:
        """Let the cube answer and idle; deliver one of the next 4 until ``behind`` are left."""
        self.cube_ms += wait_ms
        for data in self.requests:
            self.again += isinstance(decode(data), AgainRequest)
            self.sent(self.cube.written(data, self.cube_ms))
        self.requests = []
        self.sent(self.cube.idle(self.cube_ms))
        reports: list[Report] = []
        while len(self.on_air) > behind:
            swap = self.random.randrange(4) if behind else 0
            data = self.on_air.pop(min(swap, len(self.on_air) - 1))
            decoded = self.decoder.received(EVENTS, data)
            reports += decoded.reports
            self.requests += [write.data for write in decoded.writes]
        return reports

    def follow(self, wait_ms: int, behind: int) -> None:
        for report in self.step(wait_ms, behind):
            self.follower.take(report)

    def settle(self) -> None:
        """Wait on a good radio at the end."""
        self.loss = 0.0
        for _ in range(40):  # holes are closed one after the other
            self.follow(70_000, 0)


@given(
    st.integers(0, 2**64), st.lists(st.tuples(TURNS, st.integers(0, 3000)), max_size=200), CLOCKS
)
def test_on_a_good_radio_every_turn_comes_once_in_order_and_at_once(
    seed: int, turns: list[tuple[int, int]], cube_ms: int
) -> None:
    link = Link(0.0, seed, seq=65500, cube_ms=cube_ms)
    link.follow(0, 0)
    for turn, pause_ms in turns:
        link.turn(turn, pause_ms)
        link.follow(0, 0)
        assert link.follower.seq == link.cube.seq
    assert link.follower.lost == link.again == 0


@pytest.mark.parametrize("loss", [0.05, 0.2, 0.6])
@examples(8)
@given(seed=st.integers(0, 2**64))
def test_on_a_bad_radio_the_turns_told_are_right_and_the_position_comes_back(
    loss: float, seed: int
) -> None:
    link = Link(loss, seed, seq=65400, cube_ms=2**32 - 10_000)
    for _ in range(250):
        link.turn(link.random.randrange(18), link.random.choice((0, 60, 90, 120, 400, 4000)))
        link.follow(link.random.choice((0, 0, 0, 30, 300, 1500)), 5)
    link.settle()
    assert link.follower.position == link.cube.position
    assert link.follower.seq == link.cube.seq


@given(st.lists(st.tuples(TURNS, st.integers(0, 2047)), min_size=1, max_size=6), SEQS, CLOCKS)
def test_turns_packets_round_trip(turns: list[tuple[int, int]], seq: int, cube_ms: int) -> None:
    timed = []
    for turn, pause_ms in turns:
        cube_ms = (cube_ms + pause_ms) % 2**32
        timed.append(TimedTurn(turn, cube_ms))
    packet = Turns(255, seq, tuple(timed))
    assert decode(encode(packet)) == packet
    assert len(encode(packet)) <= 20


@given(st.lists(TURNS, max_size=60), SEQS, CLOCKS)
def test_snapshots_round_trip(turns: list[int], seq: int, cube_ms: int) -> None:
    packet = Snapshot(0, seq, cube_ms, apply_turns(SOLVED, turns).tobytes())
    assert decode(encode(packet)) == packet


def test_one_changed_byte_never_passes() -> None:
    packet = encode(Turns(1, 2, tuple(TimedTurn(turn, 10 * turn) for turn in range(6))))
    for index in range(len(packet)):
        for change in range(1, 256):
            changed = bytearray(packet)
            changed[index] ^= change
            with pytest.raises(PacketError):
                decode(bytes(changed))


FORGED = st.one_of(
    st.builds(Turns, st.integers(0, 2), SEQS, st.just((TimedTurn(0, 0),))),
    st.builds(Snapshot, st.integers(0, 2), SEQS, CLOCKS, st.just(SOLVED.tobytes())),
    st.builds(BatteryPacket, st.integers(0, 2), SEQS, CLOCKS, st.integers(0, 100)),
    st.builds(TooOld, st.integers(0, 2), SEQS, CLOCKS, SEQS),
)


@example([Snapshot(0, seq, 0, SOLVED.tobytes()) for seq in (308, 397)])
@examples(20)
@given(st.lists(FORGED | st.binary(max_size=20), max_size=60))
def test_after_forged_packets_the_cubes_own_bring_the_position_back(
    forged: list[Turns | Snapshot | BatteryPacket | TooOld | bytes],
) -> None:
    link = Link(0.0, 0, seq=300)
    for packet in forged:
        link.decoder.received(EVENTS, packet if isinstance(packet, bytes) else encode(packet))
    position: bytes | None = None
    link.requests = [write.data for write in link.decoder.connected()]
    for _ in range(3 * GIVE_UP_AFTER):
        link.turn(link.random.randrange(18), 100)
        for report in link.step(2000, 0):
            match report:
                case TurnReport(turn):
                    position = position and position.translate(TURN_BYTES[turn])
                case StateReport(told):
                    position = told
                case GapReport():
                    position = None
    assert position == link.cube.position


# One thing after another.


def connected() -> tuple[TurnwireCube, TurnwireDecoder]:
    """A connected cube and decoder."""
    pair = TurnwireCube(), TurnwireDecoder()
    requests = [write.data for write in pair[1].connected()]
    deliver(pair, [answer for data in requests for answer in pair[0].written(data, 0)])
    return pair


def deliver(pair: tuple[TurnwireCube, TurnwireDecoder], packets: Iterable[bytes]) -> list[Report]:
    """Deliver packets and all answers to the decoder's requests; returns all reports."""
    reports: list[Report] = []
    waiting = list(packets)
    while waiting:
        decoded = pair[1].received(EVENTS, waiting.pop(0))
        reports += decoded.reports
        for write in decoded.writes:
            waiting += pair[0].written(write.data, 0)
    return reports


def turned(pair: tuple[TurnwireCube, TurnwireDecoder], count: int) -> list[bytes]:
    """Make ``count`` turns (U L F R B D, repeated, 100 ms apart); returns packets not delivered."""
    return [p for i in range(count) for p in pair[0].turn(3 * (i % 6), 100 * i)]


def test_it_claims_its_service_and_nothing_else() -> None:
    assert TurnwireDecoder.claims(Advertisement("anything", (SERVICE,)))
    assert not TurnwireDecoder.claims(Advertisement("turnwire", (EVENTS,)))


def test_five_packets_lost_in_a_row_cost_nothing() -> None:
    cube, decoder = pair = connected()
    decoded = decoder.received(EVENTS, turned(pair, 6)[-1])
    assert [r.seq for r in decoded.reports if isinstance(r, TurnReport)] == [1, 2, 3, 4, 5, 6]
    assert decoded.writes == ()
    assert cube.seq == 6


def test_turns_lost_while_the_cube_keeps_them_are_asked_for() -> None:
    pair = connected()
    reports = deliver(pair, turned(pair, HISTORY)[-1:])
    assert [r.seq for r in reports if isinstance(r, TurnReport)] == [*range(1, HISTORY + 1)]


def test_turns_that_the_cube_no_longer_keeps_are_a_gap_and_a_state_follows() -> None:
    cube, _ = pair = connected()
    gap, *turns, state = deliver(pair, turned(pair, HISTORY + 20)[-1:])
    assert gap == GapReport(HISTORY + 14)
    assert len(turns) == 6
    assert state == StateReport(cube.position, HISTORY + 20, 0)


def test_turns_that_never_come_are_given_up_after_so_many_packets() -> None:
    pair = connected()
    packets = turned(pair, 7 + GIVE_UP_AFTER)[6:]
    answers = [pair[1].received(EVENTS, packet) for packet in packets]
    assert [i for i, a in enumerate(answers) if a.reports] == [GIVE_UP_AFTER]
    assert answers[-1].reports[0] == GapReport(1)
    assert len(answers[-1].reports) == 1 + 6 + GIVE_UP_AFTER
    asked = [i for i, a in enumerate(answers) if a.writes]
    assert asked == [*range(0, GIVE_UP_AFTER + 1, RETRY_AFTER)]


def test_a_quiet_cubes_battery_packet_is_the_sign_to_ask_again() -> None:
    cube, decoder = connected()
    cube.turn(0, 0)
    cube.turn(3, 5000)
    first = decoder.received(EVENTS, cube.idle(5300)[0])
    second = decoder.received(EVENTS, cube.set_battery(50, 5400)[0])
    assert first.reports == ()
    assert [decode(w.data) for w in (*first.writes, *second.writes)] == [AgainRequest(1, 1)] * 2


def test_a_number_forged_too_high_is_corrected_before_the_cube_gets_there() -> None:
    pair = connected()
    quiet = [p for _ in range(3 * GIVE_UP_AFTER) for p in pair[0].set_battery(100, 0)]
    reports = deliver(pair, [encode(BatteryPacket(0, 150, 0, 100)), *quiet])
    state = StateReport(pair[0].position, 0, 0)
    assert reports == [GapReport(150), GapReport(None), state]
    assert deliver(pair, pair[0].turn(0, 0)) == [TurnReport(0, 1, 0)]


def test_after_a_long_absence_the_state_is_told_and_how_many_turns_were_lost() -> None:
    cube, decoder = pair = connected()
    turned(pair, WINDOW + 1)
    answers = [a for write in decoder.connected() for a in cube.written(write.data, 9)]
    lost = WINDOW + 1
    assert deliver(pair, answers) == [GapReport(lost), StateReport(cube.position, lost, 9)]


def test_turns_made_during_a_short_absence_are_fetched() -> None:
    cube, decoder = pair = connected()
    turned(pair, 50)
    reports = deliver(pair, [a for w in decoder.connected() for a in cube.written(w.data, 9)])
    assert [type(r) for r in reports] == [TurnReport] * 50 + [StateReport]


@pytest.mark.parametrize("told_by", ["turn", "hello"])
def test_a_restart_of_the_cube_is_a_gap_and_a_state_even_if_the_numbers_would_fit(
    told_by: str,
) -> None:
    cube, _ = pair = connected()
    deliver(pair, turned(pair, 3))
    cube.restarted()
    turned(pair, 3)
    hello = encode(HelloRequest())
    packets = cube.turn(0, 0) if told_by == "turn" else cube.written(hello, 0)
    expected = StateReport(cube.position, cube.seq, 0)
    assert deliver(pair, packets) == [GapReport(None), expected]
    (report,) = deliver(pair, cube.turn(5, 1))
    assert report == TurnReport(5, (expected.seq or 0) + 1, 1)


def test_a_state_that_contradicts_the_turns_is_told_as_it_is() -> None:
    cube, _ = pair = connected()
    deliver(pair, turned(pair, 3))
    other = Snapshot(cube.session, cube.seq, 7, SOLVED.tobytes())
    assert deliver(pair, [encode(other)] * 2) == [StateReport(SOLVED.tobytes(), 3, 7)]


@pytest.mark.parametrize("data", [b"\x29", b"\x2f\x00\x01", b"\xf9"])
def test_a_cube_answers_a_version_that_it_does_not_know_with_its_hello(data: bytes) -> None:
    (answer,) = TurnwireCube().written(data + bytes([check_byte(data)]), 0)
    assert isinstance(decode(answer), Hello)


@given(st.binary(max_size=30), st.booleans())
def test_a_cube_answers_no_nonsense(data: bytes, checked: bool) -> None:
    cube = TurnwireCube()
    if checked:
        data += bytes([check_byte(data)])
    assert all(len(answer) <= 20 for answer in cube.written(data, 0))
