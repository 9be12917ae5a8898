"""The parts of the learner's finders, each at its limits: exact values, worked out by hand."""

from __future__ import annotations

import asyncio
import random
from dataclasses import dataclass, replace
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from livecube.composition import learning
from livecube.composition.learning import Conductor
from livecube.events import Packet
from livecube.learning.bits import Bits, labels
from livecube.learning.checksums import _least_difference, _rank, find_check
from livecube.learning.clocks import (
    FoundClock,
    _bits_below,
    _changes,
    _drift,
    _goes_on,
    _goes_round,
    _has_turned_bit,
    _is_once,
    _least_width,
    _may_go_on,
    allowed,
    around,
    find_clock,
    find_wrapped_clock,
    spread,
    start_of,
)
from livecube.learning.codes import (
    FoundTurns,
    _codes,
    _go_on,
    _is_free,
    _mask,
    find_list,
    labellings,
    lengthened,
)
from livecube.learning.counters import FoundCounter
from livecube.learning.inference import (
    Candidate,
    _elapsed,
    _in_order,
    _layout,
    _own,
    _without_clock,
    raw_bits,
)
from livecube.learning.inference import _mask as mask_of
from livecube.learning.kinds import Kind
from livecube.learning.learner import _careful, _clock_notes, _counter_notes, _notes, learn
from livecube.learning.masked_clocks import _effect, _number, _slow, find_masked_clock
from livecube.learning.pieces import _chains as piece_chains
from livecube.learning.recording import Recording, Step
from livecube.learning.routine import Background, Routine
from livecube.learning.samples import _by_number, _by_packet
from livecube.learning.secrecy import balanced_share
from livecube.learning.stickers import _chains as sticker_chains
from livecube.learning.understanding import Understanding
from livecube.learning.verifying import Hearing, Otherwise
from livecube.profiles.checks import Check
from livecube.profiles.fields import Entries, Field
from livecube.profiles.values import Claim, Layout, TurnList

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from livecube.learning.bits import Ints
    from livecube.profiles.fields import Order

CLAIM = Claim(name="A")
BOTH: tuple[Order, Order] = ("little", "big")
orders = pytest.mark.parametrize("order", BOTH)
RATE = 128
"""At this rate, seconds and ticks are exact in binary."""


def ints(values: Iterable[int]) -> Ints:
    return np.array(list(values), dtype=np.int64)


def table(rows: Sequence[str], order: Order = "little") -> Bits:
    """Packets of a byte whose bits are given in the order in which they are counted."""
    numbers = [int(row[::-1] if order == "little" else row, 2) for row in rows]
    return Bits([bytes([number]) for number in numbers], order)


# Clocks.


def test_times_on_a_clock_are_counted_from_half_a_wrap_before_the_middle() -> None:
    late = np.array([0.0, 3.0, 5.0, 15.0])
    assert around(late, np.float64(0.0), 16).tolist() == [8.0, 11.0, 13.0, 7.0]
    assert around(late, np.float64(5.0), 16).tolist() == [3.0, 6.0, 8.0, 2.0]


@pytest.mark.parametrize(
    ("span_s", "rate", "ticks"), [(0, 100, 16), (100, 100, 17), (1000, 100, 26), (9000, 200, 51)]
)
def test_jitter_of_150_ms_and_a_drift_of_a_tenth_of_a_second_are_allowed(
    span_s: float, rate: int, ticks: float
) -> None:
    assert allowed(np.array([5.0, 5.0 + span_s, 5.0]), rate) == pytest.approx(ticks)


@pytest.mark.parametrize(
    ("count", "late", "ticks"),
    [
        (24, {3: 10}, 10), (25, {3: 10}, 0), (25, {3: -10}, 0), (25, {3: 10, 9: 4}, 4),
        (25, {3: 10, 9: -4}, 4), (49, {3: 10, 9: 11}, 10), (50, {3: 10, 9: 11}, 0),
        (50, {3: 10, 9: -11}, 0), (50, {3: 10, 9: -11, 20: 7, 21: -2}, 9),
    ],
)  # fmt: skip
def test_a_25th_of_the_packets_may_come_at_any_time(
    count: int, late: dict[int, int], ticks: float
) -> None:
    """However the clock starts again: the other row is another clock, a quarter of a wrap on."""
    at = np.arange(count) * 100
    host_s = np.array([(100 * n + late.get(n, 0)) / RATE for n in range(count)])
    rows = np.stack([at % 256, (at + 64) % 256])
    assert spread(rows, host_s, RATE, 256).tolist() == [ticks, ticks]


def turned(bit: int, late: float, values: Ints) -> bool:
    """Whether a bit that makes packets so late by ticks is noticed; 256 values of one clock."""
    host_s = (values + late * (values >> bit & 1)) / RATE
    return _has_turned_bit(values, host_s, RATE, 256)


def test_a_bit_that_delays_packets_by_half_its_worth_is_turned() -> None:
    """Those worth 30 ms (3.84 ticks) and more are looked at, up to the first of 150 ms (19.2)."""
    values = ints(range(256))
    for bit in (2, 3, 4, 5):
        assert not turned(bit, (1 << bit) / 2, values)
        assert turned(bit, (1 << bit) / 2 + 0.25, values)
        assert turned(bit, -(1 << bit) / 2 - 0.25, values)
    assert not turned(1, 1.75, values)
    assert not turned(6, 40.0, values)
    assert not turned(7, 80.0, values)


@pytest.mark.parametrize(("count", "seen"), [(12, False), (13, True), (27, True), (28, False)])
def test_thirteen_packets_with_a_bit_and_without_it_show_that_it_is_turned(
    count: int, seen: bool
) -> None:
    values = ints([(8 if n < count else 0) + n % 4 + n % 3 * 64 for n in range(40)])
    assert turned(3, 6.0, values) is seen


@pytest.mark.parametrize("drift", [0.0, 3e-5, -2e-4])
def test_the_drift_of_two_clocks_is_a_slope_without_the_packets_that_are_late(
    drift: float,
) -> None:
    host_s = np.arange(1000.0, 1480.0, 8.0)
    values = ints(np.round(host_s * RATE * (1 - drift)).astype(int) % 4096)
    late = np.where(np.arange(60) == 55, 0.3, 0.0)
    assert _drift(values, host_s + late, RATE, 4096) == pytest.approx(drift, abs=2e-6)


@pytest.mark.parametrize(("drift", "goes"), [(2.3e-4, True), (2.7e-4, False), (-2.7e-4, False)])
def test_a_clock_that_goes_round_drifts_by_a_quarter_of_a_thousandth_at_most(
    drift: float, goes: bool
) -> None:
    host_s = np.arange(60, dtype=np.float64) * 7.9
    ticks = np.round(host_s * RATE * (1 - drift)).astype(int)
    assert _goes_round(ints(ticks % 1000), host_s, RATE, 1000) is goes
    assert not _goes_round(ints(ticks % 1001), host_s, RATE, 1000)
    # All packets count, not only those that are looked at first.
    wrong = ints(ticks % 1000 + (np.arange(60) % 10 == 9) * 300)
    assert not _goes_round(wrong, host_s, RATE, 1000)


@pytest.mark.parametrize(
    ("rate", "share", "goes"), [(64, 0.58, True), (64, 0.42, False), (128, 1.0, False)]
)
@orders
def test_bits_below_a_clock_go_on_if_packets_are_late_by_half_their_time(
    rate: int, share: float, goes: bool, order: Order
) -> None:
    """Only below a clock that ticks every 15 ms or more slowly: jitter hides faster ones."""
    ticks = np.random.default_rng(1).permutation(4096)[:200].cumsum() % (1 << 16)
    host_s = (ticks >> 3) / rate + share * (ticks & 7) / (8 * rate)
    bits = Bits([int(one).to_bytes(2, order) for one in ticks], order)
    low, lower = (3, 0) if order == "little" else (12, 15)
    assert _goes_on(bits, host_s, (rate, low), (8 * rate, lower)) is goes
    assert not _goes_on(bits, host_s, (rate, low), (4 * rate, lower))
    assert not _goes_on(bits, host_s, (rate, low), (rate, low))


def test_bits_below_make_a_clock_faster_by_a_power_of_two() -> None:
    little, big = table(["0" * 8]), table(["0" * 8], "big")
    for bits, low, lower in ((little, 5, 2), (big, 2, 5)):
        assert _bits_below(bits, (10, low), (80, lower)) == 3
        assert _bits_below(bits, (10, low), (40, lower)) == 0
        assert _bits_below(bits, (80, lower), (10, low)) == 0
        assert _bits_below(bits, (10, low), (10, low)) == 0
    assert (start_of(little, 5, 3), start_of(big, 5, 3)) == (5, 3)
    # All of them have to change.
    moving, still = ["00000000", "00110000"], ["00000000", "00010000"]
    for rows, goes in ((moving, True), (still, False)):
        assert _may_go_on(table(rows), (10, 4), (40, 2)) is goes
        assert _may_go_on(table(rows, "big"), (10, 1), (40, 3)) is goes
    assert not _may_go_on(table(moving), (10, 4), (20, 2))


def test_changes_of_a_bit_are_counted_from_packet_to_packet() -> None:
    bits = table(["00000000", "01010000", "01100000", "01110000", "01100000"])
    assert [_changes(bits, at) for at in range(4)] == [0.0, 0.25, 0.25, 1.0]
    assert [_is_once(bits, at) for at in range(4)] == [False, True, True, False]


def test_of_clocks_whose_lowest_bit_never_changes_the_commonest_rate_is_told() -> None:
    """Perhaps only even ticks are sent. A bit that changes seldom belongs to another field."""
    seconds = np.random.default_rng(3).uniform(0.3, 2.0, 80).cumsum()
    ticks = (seconds * 500).astype(int) % (1 << 15)
    for low, clock in (
        (ticks * 0, FoundClock(Field(8, 16), 1000, still=True)),
        ((np.arange(80) > 40).astype(int), FoundClock(Field(9, 15), 500)),
    ):
        packets = [int(2 * tick + bit << 8).to_bytes(4, "little") for tick, bit in
                   zip(ticks, low, strict=True)]  # fmt: skip
        found = find_clock(Bits(packets, "little"), seconds, grain=1)
        assert found is not None
        assert found._replace(finer=()) == clock


@orders
@pytest.mark.parametrize("rate", [50, 64, 65])
def test_the_shortest_clock_is_of_a_byte_that_may_be_the_whole_packet(
    order: Order, rate: int
) -> None:
    """It takes four seconds to start again, which 256 ticks at a rate above 64 do not."""
    assert [_least_width(rate) for rate in (1, 64, 65, 100, 1000, 1024, 1025)] == [
        8, 8, 9, 9, 12, 12, 13
    ]  # fmt: skip
    seconds = np.random.default_rng(rate).uniform(0.3, 2.0, 60).cumsum()
    packets = [bytes([int(second * rate) % 256]) for second in seconds]
    found = find_clock(Bits(packets, order), seconds)
    assert found == (None if rate == 65 else FoundClock(Field(0, 8, order), rate))
    assert find_clock(Bits(packets, order), seconds, {0}) is None
    bits = Bits([b"\x07" + one + b"\x07" for one in packets], order)
    around = {*range(8), *range(16, 24)}
    assert find_clock(bits, seconds, around) == (
        None if rate == 65 else FoundClock(Field(8, 8, order), rate)
    )
    for bit in (8, 15):
        assert find_clock(bits, seconds, around | {bit}) is None


@orders
def test_a_clock_has_32_bits_at_most(order: Order) -> None:
    seconds = np.random.default_rng(3).uniform(0.1, 1.0, 40).cumsum() * 2**33 / 22_000
    packets = [int(second * 1000).to_bytes(5, order) for second in seconds]
    assert max(packets, key=lambda one: int.from_bytes(one, order))[-1 if order == "little" else 0]
    clock = Field(0 if order == "little" else 8, 32, order)
    found = find_clock(Bits(packets, order), seconds)
    assert found is not None
    assert found._replace(finer=()) == FoundClock(clock, 1000)


def test_a_number_that_a_clock_cannot_show_is_of_none_that_goes_round() -> None:
    seconds = np.random.default_rng(3).uniform(0.3, 2.0, 80).cumsum()
    ticks = (seconds * 100).astype(int) % 1000
    for least, goes in ((0, True), (24, False)):  # the lowest ones are shown as 1000 and more
        shown = np.where(ticks < least, ticks + 1000, ticks)
        bits = Bits([int(one).to_bytes(2, "little") for one in shown], "little")
        found = find_wrapped_clock(bits, seconds)
        assert found == (FoundClock(Field(0, 10), 100, 1000) if goes else None)
        assert (shown != ticks).any() is not goes


# Clocks with a mask.


@pytest.mark.parametrize(("count", "found"), [(19, False), (20, True)])
def test_a_clock_with_a_mask_takes_twenty_packets(count: int, found: bool) -> None:
    seconds = np.arange(20, dtype=np.float64) * 91.7
    ticks = (seconds * 10).astype(int) % (1 << 16) ^ 0x2C35
    bits = Bits([int(one).to_bytes(2, "little") for one in ticks[:count]], "little")
    assert (find_masked_clock(bits, seconds[:count]) is not None) is found


def test_slow_bits_go_on_with_the_mask_that_alone_fits() -> None:
    """The lowest bits come first; of the highest it does not matter."""
    ticks = np.random.default_rng(2).integers(1, 9, 90).cumsum()
    mask = 0b010110
    columns = (ticks[:, None] ^ mask) >> np.arange(6) & 1
    assert _number(columns, 0).tolist() == (ticks % 64 ^ mask).tolist()
    assert _number(columns, mask).tolist() == (ticks % 64).tolist()
    host_s = ticks / 4.0
    assert _slow(columns, host_s, 4.0) == (mask & 31, 6)
    assert _slow(columns[:, :4], host_s, 4.0) == (mask & 7, 4)
    assert _slow(columns[:, :3], host_s, 4.0) is None
    # What does not go on ends it.
    columns[:, 5] = np.arange(90) % 2
    assert _slow(columns, host_s, 4.0) == (mask & 15, 5)
    columns[:, 3] = np.arange(90) % 2
    assert _slow(columns, host_s, 4.0) is None


@pytest.mark.parametrize("drift", [0.0, 1e-3])
def test_the_effect_of_a_bit_is_by_how_many_ticks_packets_are_late_with_it(drift: float) -> None:
    rng = np.random.default_rng(3)
    ticks = rng.integers(20, 60, 100).cumsum()
    column = rng.integers(0, 2, 100)
    host_s = (ticks * (1 + drift) + 3.0 * column + rng.normal(0, 0.1, 100)) / 64
    host_s[7] += 0.5  # this one is late
    effect, error = _effect(column, ticks % 4096, host_s, 64, 4096)
    assert effect == pytest.approx(3.0, abs=0.1)
    # The error of a difference of two means of about fifty each.
    assert error == pytest.approx(0.1 * np.sqrt(1 / 50 + 1 / 50), rel=0.3)
    assert _effect(column * 0 + 1, ticks % 4096, host_s, 64, 4096) == (0.0, 1.0)


@orders
@pytest.mark.parametrize(("width", "rate"), [(8, 20), (8, 64), (8, 100), (9, 100), (7, 20)])
def test_a_clock_with_a_mask_has_eight_bits_and_takes_four_seconds(
    order: Order, width: int, rate: int
) -> None:
    rng = np.random.default_rng(5)
    seconds = rng.uniform(0.3, 2.0, 200).cumsum()
    mask = 0b01101101
    shown = (seconds * rate).astype(int) % (1 << width) ^ mask
    clock = Field(8 if order == "little" else 16 - width, width, order)
    packets = []
    for one in shown.tolist():
        data = bytearray(3)
        clock.write(data, one)
        packets.append(bytes(data))
    found = find_masked_clock(Bits(packets, order), seconds)
    if width == 7 or (width, rate) == (8, 100):
        assert found is None
    else:
        assert found is not None
        hidden = found.hidden
        assert (found.per_second << hidden, found.field.bits + hidden) == (rate, width)
        assert found.mask == (mask & (1 << (width - 1)) - 1) >> hidden


@pytest.mark.parametrize(("wrong", "hidden"), [(0.0, 0), (0.2, 0), (0.35, 2)])
def test_a_bit_with_less_than_half_its_effect_is_left_out_with_those_below(
    wrong: float, hidden: int
) -> None:
    """The second bit, of 20 ms, is wrong in some packets: of 35 % only 30 % of it is left."""
    rng = np.random.default_rng(6)
    seconds = rng.uniform(0.3, 2.0, 600).cumsum()
    shown = (seconds * 100).astype(int) % (1 << 16) ^ 0x5A5A
    shown ^= 2 * (rng.random(600) < wrong)
    bits = Bits([int(one).to_bytes(2, "little") for one in shown], "little")
    found = find_masked_clock(bits, seconds)
    assert found is not None
    assert (found.per_second, found.hidden) == (100 >> hidden, hidden)


# Turns.


def test_a_code_belongs_to_its_commonest_turn_unless_another_came_three_times() -> None:
    def codes(pairs: str) -> dict[int, int] | None:
        told = [(int(pair[0]), int(pair[1])) for pair in pairs.split()]
        return _codes(ints(value for value, _ in told), ints(turn for _, turn in told))

    assert codes("5" + "0 50 70 72 72") == {5: 0, 7: 2}
    assert codes("50 50 50 51 51 72") == {5: 0, 7: 2}
    assert codes("50 50 50 50 51 51 51") is None
    assert codes("50 51 51 51") == {5: 1}
    assert codes("50 70") is None  # one turn with two codes
    unknown = _codes(ints([5, 7, 6]), ints([0, 2, -1]))
    assert unknown == {5: 0, 7: 2}


def test_the_mask_of_an_earlier_turn_is_the_commonest_difference_from_its_code() -> None:
    turns, codes = ints([0, 0, 2, 2, 3, -1, -1, -1, -1]), {0: 1, 2: 4}
    assert _mask(ints([1 ^ 9, 1 ^ 9, 4 ^ 9, 4, 30, 1, 1, 1, 1]), codes, turns) == 9
    assert _mask(ints([1, 1, 4 ^ 9, 4, 30, 8, 8, 8, 8]), codes, turns) == 0
    assert _mask(ints([7] * 9), codes, ints([-1] * 9)) == 0


@pytest.mark.parametrize(
    ("empty", "listed"), [((31, 31), 3), ((31, 30), 2), ((3, 31), 3), ((31, 3), 3)]
)
def test_entries_without_a_turn_have_one_code(empty: tuple[int, int], listed: int) -> None:
    """Each of 24 packets lists three turns, of codes 0 to 7; the first ones are empty."""
    turns = [at * 5 % 7 for at in range(24)]
    packets = [
        bytes(turns[at - lag] if at >= lag else empty[lag - 1] for lag in range(3))
        for at in range(24)
    ]
    found = FoundTurns(TurnList(Entries(Field(0, 8), 1, 8)), {turn: turn for turn in range(7)})
    row = find_list(Bits(packets, "little"), found, ints(turns), ints(range(24))).row
    assert row.codes.count == listed


@pytest.mark.parametrize(
    ("count", "wrong", "left_out"),
    [(40, 1, True), (40, 5, True), (64, 6, False), (72, 6, True), (90, 8, True), (90, 9, False)],
)
def test_labels_that_contradict_a_field_are_left_out_if_they_are_few(
    count: int, wrong: int, left_out: bool
) -> None:
    """Five, or a twelfth of the labels; 90 / 12 is 7.5, which is rounded to 8, an even number."""
    turns = [at % 2 for at in range(count)]
    labels = [turn ^ (at < wrong) for at, turn in enumerate(turns)]
    bits = Bits([bytes([turn, 7]) for turn in turns], "little")
    found = labellings(bits, ints(labels))
    assert found[0].tolist() == labels
    assert [one.tolist() for one in found[1:]] == [
        [-1 if at < wrong else turn for at, turn in enumerate(turns)]
    ] * left_out
    # Nothing is left out where all fits, nor of a turn that was made only twice.
    assert len(labellings(bits, ints(turns))) == 1
    rare = [2 if at < 2 else turn for at, turn in enumerate(turns)]
    assert len(labellings(bits, ints(rare))) == 1
    rare = [2 if at < 3 else turn for at, turn in enumerate(turns)]
    assert len(labellings(bits, ints(rare))) == 2


def test_without_a_turn_that_was_made_three_times_no_label_is_left_out() -> None:
    bits = Bits([bytes([at]) for at in range(12)], "little")
    for turns in (ints([-1] * 12), ints([0, 0, 2, 2, *[-1] * 8])):
        assert [one.tolist() for one in labellings(bits, turns)] == [turns.tolist()]


def longer(row: Entries, packets: Sequence[bytes], behind: int = 0) -> Entries:
    """The list of codes that packets show: turns of codes 10 to 13, the newest one is 13."""
    found = FoundTurns(TurnList(row), {10 + turn: turn for turn in range(4)})
    turns, index = ints([0, 1, 2, 3]), ints([3] * len(packets))
    return lengthened(found, packets, behind, turns, index).row.codes


def test_a_list_goes_on_if_twenty_entries_beyond_it_are_right() -> None:
    one, two = Entries(Field(0, 8), 1, 8), Entries(Field(0, 8), 2, 8)
    long = bytes([13, 12, 11, 10])
    for packets, row, count in (
        ([long[:2]] * 20, one, 16), ([long[:2]] * 19, one, 1), ([long[:1]] * 30, one, 1),
        ([long[:3]] * 20, two, 16), ([long[:3]] * 19, two, 2), ([long] * 10, two, 16),
        ([long[:1]] + [long] * 20, two, 2), ([long[:2]] + [long] * 20, two, 16),
        # A list of more than 16 turns would not end with the packet.
        ([long + bytes(12)] * 10, two, 16), ([long + bytes(13)] * 10, two, 2),
        # Behind the first turn that was made there may be anything, of no check.
        ([long + b"\x63\x0a"] * 10, two, 16), ([long + b"\x63\x0a"] * 9, two, 2),
        # One wrong entry, or a code of no turn.
        ([long] * 20 + [bytes([13, 12, 11, 11])], two, 2),
        ([long] * 20 + [long[:3] + b"c"], two, 2),
    ):  # fmt: skip
        assert longer(row, packets).count == count
        # A check value behind it.
        assert longer(row, [packet + b"\x0d" for packet in packets], 1).count == count


def test_a_list_goes_on_to_the_very_end() -> None:
    """Entries of five bits, a byte apart if there is only one of them."""
    packets = [bytes([13, 12, 11])] * 20
    for start in (0, 3):
        own = [bytes(byte << start for byte in packet) for packet in packets]
        row = Entries(Field(start, 5), 1, 5)
        assert longer(row, own) == Entries(Field(start, 5), 16, 8)
    # Nine bits take two bytes, of which the last one may be cut off.
    wide = [bytes([13, 0, 12, 0, 11, 0])] * 20
    assert longer(Entries(Field(0, 9), 1, 9), wide) == Entries(Field(0, 9), 16, 16)
    assert longer(Entries(Field(0, 9), 1, 9), [one[:5] for one in wide]).count == 16
    # Between the last entry and the end is no room for another one.
    assert longer(Entries(Field(0, 8), 2, 8), [one + b"\0" for one in packets]).count == 2
    # A list that goes backwards does not go on to the end.
    back = Entries(Field(16, 8), 2, -8)
    assert longer(back, [packet[::-1] for packet in packets]) == back


def test_times_lie_in_the_packet_and_in_no_other_field() -> None:
    row = Entries(Field(0, 8), 3, 8)
    assert _is_free(row, 24, ())
    assert not _is_free(row, 23, ())
    assert _is_free(row, 24, {24, 25})
    assert not _is_free(row, 24, {0})
    assert not _is_free(row, 24, {23})
    back = Entries(Field(16, 8), 3, -8)
    assert _is_free(back, 24, {24})
    assert not _is_free(Entries(Field(15, 8), 3, -8), 24, ())


def test_times_of_earlier_turns_are_compared_where_their_field_can_hold_them() -> None:
    """Fields of three bits: the first of two earlier ones holds 1 to 4, the second 5, 6, 7, 0."""
    bits = Bits([bytes([0, 1 + at | (5 + at) % 8 << 3]) for at in range(4)], "little")
    row = Entries(Field(5, 3), 3, 3)
    first, second = ints([1, 2, 3, 4]), ints([5, 6, 7, 8])
    assert _go_on(bits, row, [first, second])
    assert _go_on(bits, row, [first])
    assert _go_on(bits, row, [])
    assert not _go_on(bits, row, [second, first])
    assert not _go_on(bits, row, [first, second - 1])
    assert not _go_on(bits, row, [ints([1, 2, 3, 7]), second])
    assert _go_on(bits, row, [ints([1, 2, 3, 9]), second])


@orders
@pytest.mark.parametrize("wrap", [1000, None])
def test_times_between_turns_are_compared_with_a_clock_that_starts_again(
    order: Order, wrap: int | None
) -> None:
    """They prove the clock, also if they are in the other order."""
    steps = np.random.default_rng(1).integers(1, 400, 60)
    other: Order = "big" if order == "little" else "little"
    clock, own, codes = Field(8, 10, other), Field(32, 9, order), Entries(Field(0, 5, order), 1, 5)
    packets, rng = [], random.Random(1)
    for step, tick in zip(steps.tolist(), (steps.cumsum() % (wrap or 1024)).tolist(), strict=True):
        data = bytearray(6)
        clock.write(data, tick)
        own.write(data, step)
        for beside in (Field(24, 8, order), Field(41, 7, order)):
            beside.write(data, rng.randrange(beside.values))
        packets.append(bytes(data))
    samples: Any = SimpleNamespace(
        tables={one: Bits(packets, one) for one in BOTH}, index=np.arange(60)
    )
    found = _elapsed(samples, order, codes, FoundClock(clock, 100, wrap), set())
    assert found == Entries(own, 1, 9)
    assert _elapsed(samples, order, codes, FoundClock(clock, 100, 900), set()) is None
    assert _elapsed(samples, order, codes, FoundClock(clock, 100, wrap), raw_bits(own)) is None


@pytest.mark.parametrize(("right", "enough"), [(14, True), (13, False)])
def test_of_twenty_steps_fourteen_report_as_many_turns_as_were_asked_for(
    right: int, enough: bool
) -> None:
    """By a counter, which else goes up by two; without one, by a packet for each turn."""
    numbers = np.cumsum([1 if at < right else 2 for at in range(20)]).tolist()
    counted = [([3], [Packet(float(at), "a", bytes([n]))]) for at, n in enumerate(numbers)]
    several: list[tuple[list[int], list[Packet]]] = [
        ([3], [Packet(float(at), "a", bytes([at, n])) for n in range(1 if at < right else 2)])
        for at in range(20)
    ]
    counter = FoundCounter(Field(0, 8), 256, seen=True)
    for samples in (_by_number(counted, counter), _by_packet(several)):
        assert (samples is not None) is enough
        if samples is not None:
            assert samples.made.tolist() == [3] * 14 + [-1] * 12


def test_of_packets_that_come_twice_with_other_bytes_the_first_ones_count() -> None:
    twice: list[tuple[list[int], list[Packet]]] = [
        ([3], [Packet(float(at), "a", bytes([at, n])) for n in range(2)]) for at in range(20)
    ]
    twice[7] = [3], twice[7][1][:1]  # one was lost
    samples = _by_packet(twice)
    assert samples is not None
    assert samples.made.tolist() == [3] * 20
    assert [packet.data for packet in samples.packets] == [bytes([at, 0]) for at in range(20)]


# Fields in both orders.


@pytest.mark.parametrize(
    ("little", "big"), [((0, 3), (5, 3)), ((5, 3), (0, 3)), ((8, 8), (8, 8)), ((18, 4), (18, 4)),
                        ((17, 1), (22, 1))],
)  # fmt: skip
def test_a_field_within_a_byte_is_the_same_in_both_orders(
    little: tuple[int, int], big: tuple[int, int]
) -> None:
    one, other = Field(*little), Field(*big, "big")
    assert (_in_order(one, "big"), _in_order(other, "little")) == (other, one)
    assert (_in_order(one, "little"), _in_order(other, "big")) == (one, other)
    assert raw_bits(one) == raw_bits(other) == set(range(other.start, other.end))
    assert _own(raw_bits(one), "little") == set(range(one.start, one.end))
    assert _own(raw_bits(one), "big") == raw_bits(other)
    data = bytes([0x35, 0xC6, 0x9A])
    assert one.read(data) == other.read(data)


def test_a_field_in_two_bytes_keeps_its_order() -> None:
    for start in (7, 0):
        for order in BOTH:
            field = Field(start, 9, order)
            assert _in_order(field, "big") == _in_order(field, "little") == field
    assert raw_bits(Field(6, 4)) == {0, 1, 14, 15}
    assert _own({0, 1, 14, 15}, "little") == {6, 7, 8, 9}


def test_a_layout_has_what_was_found() -> None:
    kind = Kind("a", 4, ((Field(24, 8), 3),))
    counter = FoundCounter(Field(0, 4), 16, seen=True)
    clock = FoundClock(Field(8, 12), 100, 3000)
    assert _layout(kind, "big", counter, clock) == Layout(
        "a", 4, 4, kind.match, counter=Field(4, 4, "big"), clock=Field(8, 12), clock_wrap=3000
    )
    assert _layout(kind, "little", counter._replace(wrap=10), None) == Layout(
        "a", 4, 4, kind.match, counter=Field(0, 4), wrap=10
    )
    assert _layout(replace(kind, longest=9), "little", None, None) == Layout("a", 4, 9, kind.match)


def test_without_its_clock_a_candidate_says_how_coarse_it_was() -> None:
    codes = Entries(Field(0, 8), 1, 8)
    turns = TurnList(codes, 7, Entries(Field(16, 8), 1, 8))
    layout = Layout("a", 4, 4, clock=Field(8, 8), clock_wrap=200, turns=turns)
    assert _without_clock(Candidate(layout, "little", {}, per_second=10)) == Candidate(
        Layout("a", 4, 4, turns=TurnList(codes, 7)), "little", {}, per_second=1000, coarse=10
    )


def test_the_mask_of_a_packet_has_the_bits_of_its_fields() -> None:
    row = TurnList(Entries(Field(0, 4), 2, 12))
    counter = FoundCounter(Field(4, 4), 16, seen=True, mask=0b1001)
    clock = FoundClock(Field(24, 16), 100, mask=0x0102)
    masked = FoundTurns(row, {}, (0, 0b0110))
    assert mask_of(masked, None, None) == bytes([0, 0b0110 << 4])
    assert mask_of(masked, counter, clock) == bytes([0b1001 << 4, 0b0110 << 4, 0, 2, 1])
    assert mask_of(FoundTurns(row, {}), counter, None) == bytes([0b1001 << 4])
    assert mask_of(FoundTurns(row, {}), None, clock._replace(mask=0)) == b""


# Positions.


def test_values_are_labelled_by_their_first_occurrences_in_a_byte() -> None:
    assert labels(ints([9, 4, 9, 7])) == bytes([0, 1, 0, 2])
    assert labels(ints(range(300))) == bytes([*range(256), *range(44)])


@pytest.mark.parametrize(
    ("stride", "width", "found"),
    [(24, 3, True), (25, 3, False), (3, 3, True), (2, 3, False), (1, 1, True)],
)
def test_fields_of_pieces_are_up_to_24_bits_apart(stride: int, width: int, found: bool) -> None:
    order = [3, 1, 0, 2]
    which = dict.fromkeys(range(120)) | {7 + stride * k: one for k, one in enumerate(order)}
    assert piece_chains(which, width, 4) == [(7, stride)] * found
    which[7 + 2 * stride] = 1  # a piece that comes twice
    assert piece_chains(which, width, 4) == []


@pytest.mark.parametrize("count", [48, 54])
@pytest.mark.parametrize(("gap", "found"), [(0, True), (5, True), (6, False)])
def test_fields_of_stickers_are_up_to_five_bits_apart(count: int, gap: int, found: bool) -> None:
    """The row begins at the second bit and ends with the packet; of 54 fields six are centres."""
    stride, known = 3 + gap, [one for one in range(54) if count == 54 or one % 9 != 4]
    ends = {1 + stride * k: one if one % 9 != 4 else None for k, one in enumerate(known)}
    starts = {at: ends.get(at) for at in range(1 + stride * (count - 1) + 1)}
    assert ((1, stride) in sticker_chains(starts, 3, count)) is found
    del starts[max(starts)]
    assert (1, stride) not in sticker_chains(starts, 3, count)


# Check values.


def test_covered_bytes_differ_in_as_many_ways_as_their_bits_are_independent() -> None:
    one, two, three = bytes([1, 0]), bytes([0, 2]), bytes([1, 2])
    assert _rank([one]) == _rank([one, one]) == 0
    assert _rank([bytes(2), one, two, three]) == 2
    assert _rank([three, one, two]) == 2
    assert _rank([bytes([9, 9]), bytes([8, 9]), bytes([8, 8]), bytes([8, 9])]) == 2
    assert _rank([bytes(1), *(bytes([1 << n]) for n in range(8)), b"\xff"]) == 8


@pytest.mark.parametrize("count", [16, 17, 24])
def test_the_odds_of_a_check_value_are_its_bits_for_each_way_less_what_was_tried(
    count: int,
) -> None:
    """The sum is tried first: at odds of 8 bits for each packet but one, less 10 for the others.

    One try of 1024 others has 11 bits.
    """
    covered = [bytes([1 << n % 8, 1 << n // 8, n]) for n in range(count)]
    packets = [one + bytes([sum(one) & 0xFF]) for one in covered]
    found = find_check(packets, "little")
    assert found is not None
    assert found.check == Check("sum", Field(24, 8), 0, 3)
    ways = min(_rank(covered), count - 1)
    # Sixteen bits come first: two first bytes with two sums each; their CRCs differ at once.
    assert found.odds == 8 * ways - (5 * 1024).bit_length()


def test_the_shortest_difference_of_packets_of_one_length_is_taken() -> None:
    def told(packet: bytes) -> int:
        return packet[-1]

    packet = bytes([9, 1, 2, 3, 7])
    near, far = bytes([9, 1, 2, 0, 5]), bytes([8, 1, 2, 3, 6])
    longer = bytes([9, 1, 2, 3, 3, 7])
    assert _least_difference(packet, [far, near, longer], 0, 4, told) == (bytes([3]), 2)
    assert _least_difference(packet, [far], 0, 4, told) == (bytes([1, 0, 0, 0]), 1)
    assert _least_difference(packet, [far], 1, 4, told) == (b"", 1)
    assert _least_difference(packet, [longer], 0, 4, told) == (b"", 0)
    assert _least_difference(packet, [near], 0, -1, told) == (bytes([3]), 2)


@pytest.mark.parametrize(("length", "odds"), [(10, 41), (11, 40), (20, None)])
def test_a_check_value_needs_odds_of_40_bits(length: int, odds: int | None) -> None:
    """Bytes that differ in 7 ways give 56 bits, less those of what was tried.

    The 16-bit fields of all other places come first, with two sums from each of the first two
    bytes on: 29, 33 or 69 tries of 1024 others have 15, 16 or 17 bits.
    """
    rng = random.Random(length)
    ways = [rng.randbytes(length - 1) for _ in range(7)]
    packets = []
    for _ in range(40):
        data = bytes(length - 1)
        for way in ways:
            if rng.random() < 0.5:
                data = bytes(one ^ other for one, other in zip(data, way, strict=True))
        packets.append(data + bytes([sum(data) & 0xFF]))
    found = find_check(packets, "little")
    assert (found and found.odds) == odds


@pytest.mark.parametrize(("values", "found"), [(7, False), (8, True)])
def test_a_check_value_takes_eight_values(values: int, found: bool) -> None:
    rng = random.Random(values)
    packets = []
    for number in range(40):
        data = rng.randbytes(9)
        told = number % values
        packets.append(data + bytes([(told - sum(data)) & 0xFF, told]))
    checked = find_check(packets, "little")
    assert (checked and checked.check) == (Check("sum", Field(80, 8), 0, 10) if found else None)


@pytest.mark.parametrize("initial", [0, 0xFFFF])
def test_a_crc_of_packets_of_several_lengths_may_begin_with_ones(initial: int) -> None:
    rng = random.Random(initial)
    check = Check("crc", Field(0, 16, "big"), 0, -2, 0x1021, initial, final=0x55AA)
    packets = []
    for number in range(24):
        data = bytearray(rng.randbytes(5 + number % 3) + bytes(2))
        check.write(data)
        packets.append(bytes(data))
    found = find_check(packets, "big")
    assert found is not None
    assert found.check == check


# Secrecy.


@pytest.mark.parametrize(
    ("column", "is_fair"),
    [
        ("10" * 14 + "0" * 36, True), ("10" * 13 + "0" * 38, False),  # 14 and 13 are set
        ("01" * 14 + "1" * 36, True), ("01" * 13 + "1" * 38, False),
        ("0" * 4 + "111110000" * 4 + "11110000" * 3, True),  # 14 changes
        ("0000011111" * 4 + "00001111" * 3, False),  # 13 changes
        ("01" * 25 + "1" * 14, True), ("01" * 25 + "0" * 14, False),  # 49 and 50 changes
    ],
)  # fmt: skip
def test_a_fair_bit_is_set_and_changes_within_18_of_half_of_64_packets(
    column: str, is_fair: bool
) -> None:
    """4.5 standard deviations, of four packets each."""
    assert len(column) == 64
    assert balanced_share([bytes([int(one)]) for one in column]) == is_fair / 8


# The choice of a profile.


@dataclass(frozen=True)
class Made:
    layouts: tuple[()] = ()


def judged(right: int = 0, free: int = 8, *, perfect: bool = True) -> Any:
    """A candidate of which this was heard; of several the one that was right most often is best."""
    hearing = SimpleNamespace(
        right=right, free=[0] * free, perfect=perfect, otherwise=[], silent=[]
    )
    candidate = Candidate(Layout("a", 4, 4, counter=Field(0, 8), clock=Field(8, 8)), "big", {})
    return SimpleNamespace(hearing=hearing, profile=Made(), candidate=candidate)


def verdict(
    monkeypatch: pytest.MonkeyPatch, *found: Any, unclear: tuple[int, ...] = (), **refusals: Any
) -> Any:
    """The verdict on twenty steps, of which five are set aside; a refusal by its name."""
    recording = Recording([], [*(Step((n,)) for n in range(10)), Step(None)] * 2)

    def best(of: Any, *others: Any) -> Any:
        assert others == (recording, "name", CLAIM)
        return of

    inside = "livecube.learning.learner."
    for name, stand_in in {
        "too_few": lambda *told: refusals.get("too_few"),
        "unseen": lambda *told: refusals.get("unseen") and ("unseen", *told[:2]),
        "judge_all": lambda *told: [*found] if told == (recording, "name", CLAIM) else None,
        "undecided": lambda told: unclear,
        "ambiguous": lambda *told: ("ambiguous", *told),
        "explained": lambda *told: ("explained", told[0] is recording, told[1]),
        "completed": best,
        "worth": lambda one: one.hearing.right,
    }.items():
        monkeypatch.setattr(inside + name, stand_in)
    return learn(recording, "name", CLAIM)


def test_the_best_of_the_profiles_that_explain_the_recording_is_learned(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """It says in how many of the steps that were set aside it was right."""
    few, spoilt, good, better = (
        judged(30, 7), judged(40, perfect=False), judged(3), judged(5, 9)
    )  # fmt: skip
    better.hearing.otherwise = [Otherwise(16, (0,), (3,)), Otherwise(2, (0,), (3,))]
    better.hearing.silent = [15, 20]
    learned = verdict(monkeypatch, few, good, better, spoilt)
    assert learned == replace(learned, profile=Made(), told=3, free=9)
    assert verdict(monkeypatch, few, spoilt) == ("explained", True, [few, spoilt])
    assert verdict(monkeypatch, good, better, unseen=True) == ("unseen", better, [good, better])
    assert verdict(monkeypatch, good, too_few="too few") == "too few"


def test_what_fits_half_of_the_steps_learned_from_is_ambiguous_if_turns_are_undecided(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    fits, does_not = judged(8, perfect=False), judged(7, perfect=False)
    both = fits, does_not
    assert verdict(monkeypatch, *both, unclear=(3,)) == ("ambiguous", [fits], (3,))
    assert verdict(monkeypatch, does_not, unclear=(3,))[0] == "explained"
    assert verdict(monkeypatch, *both)[0] == "explained"


# What is said of a profile.


def test_a_clock_that_starts_again_is_told_with_its_seconds() -> None:
    layout = Layout("a", 4, 4, clock=Field(0, 16), clock_wrap=6050)
    assert [*_clock_notes(Candidate(layout, "little", {}, per_second=20))] == [
        "The clock starts again after 302.5 s; that this takes exactly 6050 ticks is inferred, "
        "since it is a round number."
    ]


def test_a_check_value_is_used_only_while_the_leading_bytes_stay_the_same() -> None:
    codes = Entries(Field(16, 8), 3, 8)
    layout = Layout("a", 6, 6, check=Check("sum", Field(40, 8), 0, 5), turns=TurnList(codes))
    sent = [bytes([7, 8, n, 3, 4, n]) for n in range(3)]
    packets = [Packet(0.0, "a", one) for one in sent]
    packets += [Packet(0.0, "b", bytes(6)), Packet(0.0, "a", bytes(7))]

    def careful(one: Layout) -> list[Layout]:
        return [*_careful((one,), Recording(packets, []))]

    fixed = ((Field(0, 8), 7), (Field(8, 8), 8))
    assert careful(layout) == [replace(layout, match=fixed), replace(layout, check=None)]
    assert careful(replace(layout, check=None)) == [replace(layout, check=None)]
    # What is matched already is not matched twice, unless only a part of the byte is.
    for bits, rest in ((8, fixed[1:]), (3, fixed)):
        match = ((Field(0, bits), 7),)
        one = replace(layout, match=match)
        assert careful(one) == [replace(one, match=match + rest), replace(one, check=None)]
    # A mask is taken away first; where the first byte moves, nothing is in doubt.
    masked = replace(layout, mask=b"\1")
    assert careful(masked)[0].match == ((Field(0, 8), 6), fixed[1])
    packets[0] = Packet(0.0, "a", bytes([1, 8, 0, 3, 4, 0]))
    assert careful(layout) == [layout]
    packets[:3] = [Packet(0.0, "a", bytes([7, 8, 1, 3, 4, n])) for n in range(3)]
    assert len(careful(layout)[0].match) == 5
    # A check value at the end: the field is counted from there, and lists end before it.
    del packets[-1]
    behind = replace(layout, longest=9, check=Check("sum", Field(0, 8), 0, -1))
    assert [len(one.match) for one in careful(behind)] == [5, 0]
    assert [one.turns and one.turns.codes.count for one in careful(behind)] == [3, 3]
    behind = replace(behind, check=Check("sum", Field(0, 16), 0, -2))
    assert [len(one.match) for one in careful(behind)] == [4, 0]
    assert [one.turns and one.turns.codes.count for one in careful(behind)] == [3, 2]


def test_a_counter_is_told_with_what_its_profile_lacks() -> None:
    number = Field(0, 8)

    def told(count: int = 2, counter: Field | None = number, **more: Any) -> str:
        turns = TurnList(Entries(Field(8, 8), count, 8))
        layout = Layout("a", 9, 9, counter=counter, turns=turns)
        return " ".join(_counter_notes(Candidate(layout, "little", {}, **more)))

    assert told() == ""
    assert told(1) == (
        "No earlier turns were found in a packet: lost turns leave a gap and are not recovered."
    )
    none = "No counter of turns was found: a lost packet may go unnoticed."
    assert told(1, None) == told(2, None, beyond=True) == none
    assert told(beyond=True) == (
        "Only the lowest 8 bits of a counter are used, since its wrap was not seen. If that is no "
        "power of two, a gap is reported there without a loss."
    )
    positions = Candidate(Layout("a", 9, 9, counter=Field(0, 8)), "little", {})
    assert [*_counter_notes(positions)] == []


def test_slips_and_silent_steps_are_told() -> None:
    layout = Layout("a", 9, 9, counter=Field(0, 8), clock=Field(8, 8),
                    check=Check("xor", Field(16, 8), 0, 2))  # fmt: skip
    hearing = Hearing(20, silent=[4, 17], otherwise=[Otherwise(3, (0,), (3, 4))])
    one: Any = SimpleNamespace(
        candidate=Candidate(layout, "little", {}, per_second=20, odds=77), hearing=hearing
    )
    assert _notes(one) == (
        "A check value was found; a coincidence is less likely than 1 in 2^77.",
        "Left out as a slip: step 3 asked for U and L L2 came.",
        "No turn came in step 4, 17: a packet was lost, or no turn was made.",
    )


# The routine.


def test_the_routine_waits_for_so_many_seconds() -> None:
    routine = Routine(100.0)
    assert routine.due == 104.0
    assert not routine.wake(103.9)
    assert routine.wake(104.0)
    assert (routine.at, routine.due) == (0, 124.0)
    assert routine.doubtful is None
    routine.take(Packet(110.0, "a", b"1"))
    assert routine.due == 111.0
    for doubtful, due in ((True, 112.5), (False, 110.4)):
        routine.doubtful = doubtful
        assert routine.due == due
    assert not routine.wake(110.3)
    assert routine.wake(110.5)
    assert (routine.at, routine.due) == (1, 130.5)
    assert not routine.wake(130.5)
    assert (routine.at, routine.due) == (1, 150.5)
    routine.more([None], 200.0)
    routine.at = len(routine.steps) - 1
    assert routine.due == 400.0
    assert not routine.wake(400.0)
    assert routine.due == 600.0
    routine.take(Packet(500.0, "a", b"2"))
    assert routine.due == 506.0
    assert not routine.over
    assert routine.wake(506.0)
    assert routine.over


@pytest.mark.parametrize("at_rest", [0, 1, 2, 3])
def test_three_packets_at_rest_show_what_stays_the_same(at_rest: int) -> None:
    background = Background()
    for _ in range(at_rest):
        background.take(Packet(0.0, "a", b"12"))
    assert background.is_news(Packet(1.0, "a", b"13")) is (at_rest in (0, 3))
    assert background.is_news(Packet(1.0, "a", b"12")) is (at_rest == 0)


@pytest.mark.parametrize(
    ("packets", "values", "news"),
    [(40, 11, True), (40, 12, False), (25, 19, False), (25, 20, True)],
)
def test_a_byte_of_more_than_twelve_values_tells_nothing_unless_it_changes_with_most_news(
    packets: int, values: int, news: bool
) -> None:
    """With its value at rest it has one more; it changes once less, and then in the last packet."""
    background = Background()
    for _ in range(3):
        background.take(Packet(0.0, "a", bytes(2)))
    for at in range(packets):  # each is news by its first byte
        packet = Packet(1.0, "a", bytes([1 + at % 2, min(1 + at, values)]))
        assert background.is_news(packet)
    assert background.is_news(Packet(2.0, "a", bytes([0, 99]))) is news


@pytest.mark.parametrize(("values", "news"), [(4, True), (5, False)])
def test_a_byte_of_four_values_at_rest_tells_packets_apart(values: int, news: bool) -> None:
    background = Background()
    for value in range(values):
        background.take(Packet(0.0, "a", bytes([value])))
    assert background.is_news(Packet(1.0, "a", bytes([99]))) is news


@pytest.mark.parametrize(("others", "news"), [(4, True), (5, False)])
def test_a_byte_of_more_than_twelve_values_changes_with_most_of_the_news(
    others: int, news: bool
) -> None:
    """At its thirteenth value it has changed 13 times in 12 and the other news: 4 or 5 of them."""
    background = Background()
    for _ in range(3):
        background.take(Packet(0.0, "a", bytes(2)))
    sent = [bytes([0, n]) for n in range(1, others + 1)] + [bytes([n, 0]) for n in range(1, 14)]
    told = [background.is_news(Packet(1.0, "a", data)) for data in sent]
    assert told == [True] * (len(sent) - 1) + [news]


def test_a_hypothesis_is_looked_for_after_so_many_turns(monkeypatch: pytest.MonkeyPatch) -> None:
    tried: list[int] = []

    def nothing(recording: Recording) -> None:
        tried.append(conductor.routine.at)

    monkeypatch.setattr(learning, "first_understanding", nothing)
    conductor = Conductor(lambda: 0.0, lambda asked: None)

    async def led() -> None:
        for at in range(1, len(conductor.routine.steps)):
            conductor.routine.at = at
            await conductor._look_back()

    asyncio.run(led())
    assert tried == [30, 36, 43, 55, 67, 79, 91, 103, 120]


def test_a_hypothesis_stands_until_four_steps_in_a_row_are_other_ones() -> None:
    decoder: Any = None
    understanding = Understanding(decoder)
    assert understanding.stands
    for number in range(4):
        assert understanding.stands
        assert not understanding.judge([0], [3] * number)
    assert not understanding.stands
