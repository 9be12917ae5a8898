"""Each finder of the learner by itself: it finds fields that were written into noise.

Where a finder has a limit there is one packet, bit or value on either side of it.
"""

from __future__ import annotations

import random
import re
from collections import Counter
from dataclasses import replace
from itertools import pairwise
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from examples import part_of, thorough
from learn_check import CLAIM
from learn_layouts import made, recording

from livecube.cube.geometry import PIECE_AT, TWIST_AT
from livecube.cube.notation import parse_turns
from livecube.cube.position import (
    SOLVED,
    apply_turn,
    apply_turns,
    inverse_turns,
)
from livecube.decoding import Decoded
from livecube.events import BadPacket, GapReport, Packet, StateReport, TurnReport
from livecube.learning import inference
from livecube.learning.bits import Bits, labels
from livecube.learning.checksums import find_check
from livecube.learning.clocks import (
    _ROUND,
    _ROUND_S,
    RATES,
    FoundClock,
    find_clock,
    find_wrapped_clock,
)
from livecube.learning.codes import (
    FoundTurns,
    find_elapsed,
    find_list,
    find_turns,
    lengthened,
    turn_bits,
)
from livecube.learning.counters import FoundCounter, _steady, _wraps, find_counters
from livecube.learning.inference import Candidate, _clock, _grain, candidates
from livecube.learning.judging import _others, judge_all
from livecube.learning.kinds import Kind, kinds_in
from livecube.learning.learner import _clock_notes, learn
from livecube.learning.masked_clocks import find_masked_clock
from livecube.learning.pieces import find_pieces
from livecube.learning.recording import Recording, Step
from livecube.learning.routine import STEPS
from livecube.learning.samples import Samples, _new, samples_of, states_of
from livecube.learning.secrecy import looks_encrypted
from livecube.learning.slips import without_slips
from livecube.learning.stickers import find_stickers, shown_colours
from livecube.learning.verdicts import Refused
from livecube.learning.verifying import Hearing, Otherwise, _is_solved, _Item, _Lost, hear
from livecube.profiles.checks import Check
from livecube.profiles.fields import Entries, Field
from livecube.profiles.values import Layout, TurnList

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from livecube.events import Report
    from livecube.learning.bits import Ints
    from livecube.learning.samples import Steps
    from livecube.profiles.fields import Order

BOTH: tuple[Order, Order] = ("little", "big")
orders = pytest.mark.parametrize("order", BOTH)


def packets_with(fields: Mapping[Field, Sequence[int]], length: int, noise: int = 0) -> list[bytes]:
    """Packets of noise (of zeros without a seed) with a value in each field."""
    rng, packets = random.Random(noise), []
    for values in zip(*fields.values(), strict=True):
        data, taken = bytearray(length), bytearray(length)
        for field, value in zip(fields, values, strict=True):
            field.write(data, value % field.values)
            field.write(taken, field.values - 1)
        around = rng.randbytes(length) if noise else bytes(length)
        whole = zip(data, taken, around, strict=True)
        packets.append(bytes(byte | (random_byte & ~mask) for byte, mask, random_byte in whole))
    return packets


def bits_with(
    fields: Mapping[Field, Sequence[int]], length: int, order: Order, noise: int = 0
) -> Bits:
    return Bits(packets_with(fields, length, noise), order)


def array(values: Iterable[int]) -> Ints:
    return np.array(list(values), dtype=np.int64)


@orders
def test_bits_are_read_as_fields_are(order: Order) -> None:
    packets = [random.Random(seed).randbytes(6) for seed in range(30)]
    bits = Bits(packets, order)
    assert bits.size == 48
    for start, width in ((0, 1), (3, 5), (7, 16), (40, 8), (11, 37)):
        field = bits.field(start, width)
        assert bits.read(start, width).tolist() == [field.read(data) for data in packets]
        assert bits.labels(start, width) == labels(bits.read(start, width))
    assert labels(array([7, 7, 2, 9, 2, 7])) == bytes([0, 0, 1, 2, 1, 0])


# Counters.


@orders
@pytest.mark.parametrize(("wide", "found"), [(3, None), (4, 4), (9, 9), (16, 16), (17, 16)])
def test_the_widest_counter_is_found(order: Order, wide: int, found: int | None) -> None:
    made_turns = array(range(7, 7 + 3 * (1 << min(wide, 16)), max(1, (1 << wide) // 50)))
    field = Field(5, wide, order)
    bits = bits_with({field: (made_turns + 3).tolist()}, 4, order, noise=0)
    counters = find_counters(bits, made_turns, bits)
    start = 5 if order == "little" else 5 + wide - (found or 0)
    if found is None:
        assert counters == []
    else:
        assert counters[0] == FoundCounter(Field(start, found, order), 1 << found, seen=True)
    assert find_counters(bits, made_turns * 3, bits) == []


@pytest.mark.parametrize(("count", "found"), [(19, False), (20, True)])
def test_a_counter_takes_twenty_packets(count: int, found: bool) -> None:
    made_turns = array(range(count))
    bits = bits_with({Field(8, 4): made_turns.tolist()}, 3, "little", noise=4)
    assert ([one.field for one in find_counters(bits, made_turns, bits)] == [Field(8, 4)]) is found


def test_a_counter_may_fill_the_packet_and_bits_that_never_moved_are_no_part_of_it() -> None:
    made_turns = array(range(40))
    for order in BOTH:
        full = bits_with({Field(0, 8, order): (made_turns * 1).tolist()}, 1, order)
        at = 0 if order == "little" else 2
        (counter,) = find_counters(full, made_turns, full)
        assert counter == FoundCounter(Field(at, 6, order), 64, seen=False)


@orders
@pytest.mark.parametrize("wrap", [10, 60, 100, 240, 255])
def test_a_counter_that_wraps_at_another_number_was_taken_for_lost_packets(
    order: Order, wrap: int
) -> None:
    made_turns = array(range(2 * wrap + 40))
    for first in (0, 1):
        numbers = [first + n % wrap for n in made_turns.tolist()]
        bits = bits_with({Field(8, 8, order): numbers}, 3, order, noise=7)
        assert find_counters(bits, made_turns, bits)[0][1:3] == (wrap, True)
    # Before the first wrap it is unknown where the counter wraps.
    short = bits_with({Field(8, 8, order): range(2, 10)}, 3, order, noise=7)
    assert all(not one.seen for one in find_counters(short, array(range(8)), short))


def test_a_number_seen_only_at_first_is_one_that_a_wrap_must_leave_room_for() -> None:
    assert _wraps(np.array([0, 1, 2, 1]), 8) == set()
    assert _wraps(np.array([1, 2, 1]), 8) == {2}


def test_the_lower_byte_of_a_counter_that_goes_beyond_it_is_one() -> None:
    made_turns = array(range(150))
    bits = bits_with({Field(0, 16, "big"): (made_turns + 0x3F0).tolist()}, 2, "big")
    counter, *_ = find_counters(bits, made_turns, bits)
    assert counter == FoundCounter(Field(6, 10, "big"), 1024, seen=True, beyond=True)
    low = bits_with({Field(0, 16, "big"): (made_turns + 0x310).tolist()}, 2, "big")
    assert [one.seen for one in find_counters(low, made_turns, low)] == [False]


def test_one_slip_in_a_hundred_hid_the_counter() -> None:
    """Two turns too many at the 40th, and one packet that never came."""
    asked, numbers = list(range(100)), list(range(100))
    numbers[40:] = [number + 2 for number in numbers[40:]]
    del asked[70], numbers[70]
    bits = bits_with({Field(8, 6): numbers}, 3, "little", noise=5)
    counter, *_ = find_counters(bits, array(asked), bits)
    assert counter == FoundCounter(Field(8, 6), 64, seen=True)


@orders
@pytest.mark.parametrize("wrap", part_of([256, 255, 240, 100], 3))
def test_a_counter_is_found_whatever_bits_of_it_are_inverted(order: Order, wrap: int) -> None:
    made_turns = array(range(2 * wrap + 40))
    for mask in (0x5A, 0xD9, 0x80, 0x01):
        numbers = [n % wrap ^ mask for n in made_turns.tolist()]
        bits = bits_with({Field(8, 8, order): numbers}, 3, order, noise=7)
        found = find_counters(bits, made_turns, bits, masked=True)[0]
        read = [found.number(data) for data in packets_with({Field(8, 8, order): numbers}, 3)]
        assert {(b - a) % found.wrap for a, b in pairwise(read)} == {1}
        width = wrap.bit_length() - (wrap == 256)
        assert (found.wrap, found.field.bits, found.seen) == (wrap, width, True)


@orders
def test_of_counters_the_least_contradicted_comes_first_and_then_the_widest(order: Order) -> None:
    made_turns = array(range(300))
    narrow, wide, wrong = Field(8, 5, order), Field(24, 8, order), Field(40, 8, order)
    numbers = made_turns.tolist()
    slipped = [number + (number >= 150) for number in numbers]
    fields = {narrow: numbers, wrong: slipped, wide: numbers}
    bits = bits_with(fields, 7, order, noise=3)
    found = [one.field for one in find_counters(bits, made_turns, bits)]
    assert found == [wide, narrow, wrong]


def test_numbers_are_steady_if_they_go_up_by_little_also_as_they_start_again() -> None:
    steady = array(number % 4 for number in range(3, 85))
    assert _steady(steady, 2)
    assert not _steady(steady, 3)  # more than a quarter of them fall
    for step, few in ((3, True), (4, False)):
        assert _steady(array(range(0, 100 * step, step)), 16) is few


# Clocks.


@orders
@pytest.mark.parametrize("rate", [1000, 1024, 100, 10])
def test_a_clock_is_found_with_its_rate(order: Order, rate: int) -> None:
    rng = np.random.default_rng(rate)
    width = 20
    seconds = np.cumsum(rng.uniform(0.5, 3.0, 300)) * (4 if rate < 1000 else 1)
    if rate == 10:
        seconds *= 250
    if rate == 100:
        seconds *= 10
    ticks = [int(s * rate) + 77 for s in seconds]
    bits = bits_with({Field(9, width, order): ticks}, 6, order, noise=2)
    late = rng.uniform(0, 0.14, len(seconds))
    changes = {w: sum(a >> (w - 1) & 1 != b >> (w - 1) & 1 for a, b in pairwise(ticks))
               for w in range(1, width + 1)}  # fmt: skip
    highest = max(w for w, count in changes.items() if count > (2**w > 120 * rate))
    start = 9 + (width - highest if order == "big" else 0)
    found = find_clock(bits, seconds + late, grain=1)
    assert found is not None
    assert found._replace(finer=()) == FoundClock(Field(start, highest, order), rate)
    assert find_clock(bits, seconds + late * 4, grain=1) is None or rate == 10
    assert find_clock(Bits([b"0" * 6] * 19, order), seconds[:19]) is None


@orders
@pytest.mark.parametrize(("width", "found"), [(16, 16), (12, 13)])
def test_a_bit_that_changed_once_was_taken_for_the_highest_of_a_clock(
    order: Order, width: int, found: int
) -> None:
    """A battery fell as the clock started again. Of a clock of 40 s, any bit that fits is taken."""
    rng = np.random.default_rng(4)
    seconds = np.cumsum(rng.uniform(0.5, 1.5, 60)) * 2**width / 100 / 60
    ticks = (seconds * 100).astype(np.int64)
    clock = Field(9 if order == "little" else 18, width, order)
    other = Field(clock.end if order == "little" else clock.start - 1, 1, order)
    shown = {clock: (ticks % 2**width).tolist(), other: (ticks >> width).tolist()}
    assert sum(a != b for a, b in pairwise(shown[other])) == 1
    assert len(set(ticks >> (width - 1))) > 2
    clocks = find_clock(bits_with(shown, 7, order, noise=2), seconds, grain=1)
    assert clocks is not None
    assert clocks.field.bits == found


@orders
@pytest.mark.parametrize(
    ("rate", "wrap", "width"), [(1000, 60_000, 16), (100, 1000, 10), (1024, 10_240, 14)]
)
def test_a_clock_that_starts_again_at_a_round_number_is_found(
    order: Order, rate: int, wrap: int, width: int
) -> None:
    rng = np.random.default_rng(rate)
    seconds = np.cumsum(rng.uniform(0.2, 1.2, 150))
    host = seconds + rng.uniform(0.005, 0.05, len(seconds))
    ticks = [int(second * rate) % wrap for second in seconds]
    clock = Field(12 if order == "little" else 28 - width, width, order)
    bits = bits_with({clock: ticks}, 5, order, noise=2)
    found = FoundClock(clock, rate, wrap)
    assert find_wrapped_clock(bits, host, grain=4) == found
    assert find_wrapped_clock(bits, host, range(clock.start, clock.end), grain=4) is None
    slow = host * (1 + 5e-4)
    assert find_wrapped_clock(bits, slow, grain=4) is None


def test_where_other_fields_are_masked_a_clock_is_not_believed_to_be_plain() -> None:
    """Jitter hides an inverted lowest bit: nine bits that fitted were taken for a plain clock."""
    rng = np.random.default_rng(5)
    seconds = np.cumsum(rng.uniform(0.2, 1.6, 200))
    ticks = (seconds * 128).astype(np.int64) ^ 0x9501
    packets = packets_with({Field(8, 24): ticks.tolist()}, 5, noise=2)
    tables = {order: Bits(packets, order) for order in BOTH}
    host = seconds + rng.uniform(0.005, 0.05, len(seconds))
    plain, masked = (_clock(tables, host, set(), 8, masked=masked) for masked in (False, True))
    assert plain is not None
    assert masked is not None
    assert (plain.per_second, plain.field.bits, plain.mask) == (128, 9, 0)
    read = tables["little"].read(masked.field.start, masked.field.bits) ^ masked.mask
    assert masked.field.bits > 9
    steps = np.diff(read) % masked.field.values / masked.per_second
    assert abs(steps - np.diff(seconds)).max() <= 1.01 / masked.per_second


def test_rates_are_round_numbers_of_people_or_of_machines() -> None:
    for rate in RATES:
        assert rate % 60 == 0 or rate % 3 != 0
        for factor in (3, *(5,) * 6, *(2,) * 15):
            rate = rate // factor if rate % factor == 0 else rate
        assert rate == 1
    assert all(second % 10 == 0 and 3600 % second == 0 for second in _ROUND_S)
    assert sorted(map(str, _ROUND)) == sorted(
        f"{n}{'0' * zeros}" for n in range(1, 10) for zeros in range(2, 7)
    )


def test_bits_that_seldom_change_were_taken_for_the_lowest_of_a_faster_clock() -> None:
    """Of a clock of 50 ticks in the order big, read in the other one as 200 ticks."""
    seconds = np.linspace(320, 640, 200) + np.random.default_rng(1).uniform(0, 0.5, 200)
    bits = Bits([int(s * 50).to_bytes(2, "big") for s in seconds], "little")
    found = find_clock(bits, seconds)
    assert found is not None
    assert found.per_second == 50


@pytest.mark.parametrize(
    ("width", "rate", "found"),
    [(11, 1000, False), (12, 1000, True), (32, 1000, True), (15, 10_000, False)],
)
def test_a_clock_of_less_than_four_seconds_could_be_chance(
    width: int, rate: int, found: bool
) -> None:
    seconds = np.arange(20) * (1 << width) / rate / 3.7
    ticks = [round(s * rate) for s in seconds]
    bits = bits_with({Field(3, width): ticks}, 5, "little")
    assert (find_clock(bits, seconds, grain=1) == FoundClock(Field(3, width), rate)) is found
    assert find_clock(Bits([b"12345"] * 19, "little"), seconds[:19]) is None


@orders
@pytest.mark.parametrize(("rate", "hidden"), part_of([(500, 2), (10, 0), (100, 0), (1000, 3)], 4))
def test_a_masked_clock_is_found_without_the_bits_that_jitter_hides(
    order: Order, rate: int, hidden: int
) -> None:
    rng = np.random.default_rng(rate)
    seconds = np.cumsum(rng.uniform(0.3, 1.2, 400)) * (40 if rate == 10 else 2)
    mask = 0b10110011010110101101
    ticks = [int(s * rate) + 77 ^ mask for s in seconds]
    bits = bits_with({Field(8, 20, order): ticks}, 5, order, noise=2)
    host = seconds * (1 + 3e-5) + rng.uniform(0.005, 0.05, len(seconds))
    found = find_masked_clock(bits, host, grain=4)
    assert found is not None
    assert found.hidden in (hidden, hidden - 1)
    assert found.per_second == rate >> found.hidden
    read = bits.read(found.field.start, found.field.bits) ^ found.mask
    steps = np.diff(read) % found.field.values / found.per_second - np.diff(seconds)
    assert abs(steps).max() <= 1.01 / found.per_second
    noise = Bits([rng.bytes(5) for _ in seconds], order)
    assert find_masked_clock(noise, host, grain=4) is None


def test_a_bit_that_jitter_cannot_hide_must_go_with_the_clock() -> None:
    """Bits worth 0.06 s are always seen: where they are noise, the bits above are no clock."""
    rng = np.random.default_rng(1)
    seconds = np.cumsum(rng.uniform(0.6, 2.4, 400))
    host = seconds + rng.uniform(0.005, 0.05, len(seconds))
    ticks = (seconds * 1024).astype(np.int64) ^ 0b10110011010110101101
    for spoilt in (0, 1 << 6):
        shown = (ticks ^ spoilt * rng.integers(2, size=len(ticks))).tolist()
        bits = bits_with({Field(8, 20): shown}, 5, "little", noise=2)
        assert (find_masked_clock(bits, host, grain=4) is None) is bool(spoilt)


@pytest.mark.parametrize(
    ("known", "row", "grain"),
    [
        # A narrow field within a byte shows nothing, one across two bytes that any bit will do.
        ((3, 5), ((40, 5), 1, 5), 8), ((0, 7), ((40, 7), 1, 7), 8),
        ((4, 5), ((40, 8), 1, 8), 1), ((8, 15), ((40, 8), 1, 8), 1), ((8, 9), ((40, 8), 1, 8), 1),
        # A wide one lies as it begins.
        ((8, 16), ((40, 8), 1, 8), 8), ((8, 8), ((40, 8), 1, 8), 8), ((4, 16), ((40, 8), 1, 8), 4),
        ((12, 20), ((40, 8), 1, 8), 4), ((10, 16), ((40, 8), 1, 8), 1),
        # Entries of a row lie as far apart as fields are aligned; in whole bytes, their begin says
        # nothing.
        ((16, 5), ((40, 5), 4, 8), 8), ((16, 5), ((43, 5), 4, 8), 8), ((20, 5), ((43, 5), 4, 8), 4),
        ((16, 5), ((40, 4), 4, 4), 4), ((16, 5), ((44, 4), 4, 28), 4),
        ((16, 5), ((40, 5), 4, 12), 4), ((16, 5), ((43, 4), 4, 28), 1),
        ((16, 5), ((43, 4), 4, 36), 1),
        ((16, 5), ((40, 9), 4, 9), 1), ((16, 5), ((43, 4), 2, 28), 1),
        ((16, 5), ((40, 4), 2, 4), 4), ((17, 5), ((40, 5), 2, 8), 1),
    ],
)  # fmt: skip
def test_fields_are_aligned_as_the_known_ones_are(
    known: tuple[int, int], row: tuple[tuple[int, int], int, int], grain: int
) -> None:
    (at, width), ((first, own), count, stride) = known, row
    assert _grain(Field(at, width), Entries(Field(first, own), count, stride)) == grain
    # In the order big the end is what the beginning is in the other.
    mirrored = Entries(Field(80 - first - own, own, "big"), count, -stride)
    assert _grain(Field(80 - at - width, width, "big"), mirrored) == grain


# Turns.


QUARTERS = [turn for turn in range(18) if turn % 3 != 1]


def drawn(count: int, seed: int = 1) -> list[int]:
    """Quarter turns; every one of them is among the first twelve."""
    rng = random.Random(seed)
    return [*QUARTERS, *(rng.choice(QUARTERS) for _ in range(count - 12))]


@orders
@pytest.mark.parametrize("width", [5, 6, 16, 17])
def test_a_field_that_tells_the_turn_is_found(order: Order, width: int) -> None:
    turns, rng = drawn(60), random.Random(5)
    codes = dict(zip(QUARTERS, rng.sample(range(1, (1 << width) - 1), 12), strict=True))
    codes |= {0: 0, 2: (1 << width) - 1}  # so that every bit moves, the outer ones too
    field = Field(10, width, order)
    side = [rng.randrange(256) for _ in turns]
    values = {field: [codes[t] for t in turns], Field(0, 8, order): side}
    bits = bits_with(values, 5, order)
    expected = FoundTurns(TurnList(Entries(field, 1, width)), {c: t for t, c in codes.items()})
    unknown = array([-1 if at % 5 == 3 and at > 12 else t for at, t in enumerate(turns)])
    for known in (array(turns), unknown):
        found = find_turns(bits, known)
        if width < 8:
            assert found == [expected]
        for one in found:  # of a wide code one byte may do, and another may be a check value of it
            read = bits.read(one.row.codes.first.start, one.row.codes.first.bits)
            assert [one.codes[value] for value in read.tolist()] == turns
            assert one.row.codes.first.bits <= 8
    same, varies = turn_bits(bits, array(turns))
    assert varies.tolist() == [10 <= at < 10 + width for at in range(40)]
    assert same.tolist() == [at >= 8 for at in range(40)]


def test_two_turns_with_one_code_are_told_by_no_field() -> None:
    turns = drawn(60)
    bits = bits_with({Field(8, 8): [t // 2 + 3 for t in turns]}, 4, "little")
    assert find_turns(bits, array(turns)) == []
    between = [random.Random(at).randrange(4) for at in range(60)]
    fields = {Field(0, 6): turns, Field(6, 2): between, Field(8, 5): [17 - t for t in turns]}
    two = bits_with(fields, 2, "little")
    assert [(f.row.codes.first.start, f.row.codes.first.bits) for f in find_turns(two, array(turns))
            ] == [(0, 5), (8, 5)]  # fmt: skip


@pytest.mark.parametrize(
    ("count", "stride", "start"),
    [
        (4, 9, 0),
        (4, -9, 27),
        (2, 48, 3),
        (2, -48, 60),
        (16, 6, 0),
        (17, 6, 0),
        (3, 5, 7),
        (1, 5, 0),
        (2, 49, 3),
        (2, -49, 60),
    ],
)
def test_turns_listed_beside_the_newest_are_found(count: int, stride: int, start: int) -> None:
    turns = drawn(120)
    first = Field(start, 5)
    empty = 31
    fields = {}
    for lag in range(count):
        at = Field(start + lag * stride, 5)
        fields[at] = [turns[i - lag] if i >= lag else empty for i in range(len(turns))]
    bits = bits_with(fields, 16, "little", noise=6)
    found = FoundTurns(TurnList(Entries(first, 1, 5)), {turn: turn for turn in QUARTERS})
    listed = find_list(bits, found, array(turns), array(range(len(turns))))
    if count == 1 or abs(stride) > 48:  # beyond six bytes it is no list
        assert listed == found
    else:
        expected = Entries(first, min(count, 16), stride)
        assert listed.row == TurnList(expected, empty)
    unknown = array([-1 if at % 9 == 4 else t for at, t in enumerate(turns)])
    assert find_list(bits, found, unknown, array(range(len(turns)))).row == listed.row


def test_codes_of_a_list_may_be_masked_each_in_its_way() -> None:
    turns, masks = drawn(120), (0, 9, 30, 17)
    fields = {
        Field(8 * lag, 5): [(turns[i - lag] if i >= lag else 31) ^ mask for i in range(len(turns))]
        for lag, mask in enumerate(masks)
    }
    bits = bits_with(fields, 6, "little", noise=6)
    found = FoundTurns(TurnList(Entries(Field(0, 5), 1, 5)), {turn: turn for turn in QUARTERS})
    listed = find_list(bits, found, array(turns), array(range(len(turns))))
    assert listed.row == TurnList(Entries(Field(0, 5), 4, 8), 31)
    assert listed.masks == masks


@pytest.mark.parametrize("behind", [0, 1])
def test_a_list_goes_on_to_the_end_of_each_packet(behind: int) -> None:
    turns, rng = drawn(120), random.Random(3)
    packets = [
        bytes([*turns[max(0, i - rng.randrange(2, 7)) : i + 1][::-1], *rng.randbytes(behind)])
        for i in range(6, len(turns))
    ]
    index = array(range(6, len(turns)))
    codes = {turn: turn for turn in QUARTERS}
    found = FoundTurns(TurnList(Entries(Field(0, 8), 2, 8)), codes)
    longer = lengthened(found, packets, behind, array(turns), index)
    assert longer.row.codes == Entries(Field(0, 8), 16, 8)
    packets[50] = bytes([*packets[50][: len(packets[50]) - behind], 99, *bytes(behind)])
    assert lengthened(found, packets, behind, array(turns), index) == found
    few = slice(0, 3)  # hardly any entry beyond the second
    assert lengthened(found, packets[few], behind, array(turns), index[few]) == found


@pytest.mark.parametrize(("count", "listed"), [(20, 1), (21, 2), (22, 3)])
def test_twenty_turns_must_agree_with_a_list(count: int, listed: int) -> None:
    turns = drawn(count)
    fields = {
        Field(8 * lag, 5): [turns[i - lag] if i >= lag else 31 for i in range(count)]
        for lag in range(3)
    }
    bits = bits_with(fields, 6, "little", noise=6)
    found = FoundTurns(TurnList(Entries(Field(0, 5), 1, 5)), {turn: turn for turn in QUARTERS})
    assert find_list(bits, found, array(turns), array(range(count))).row.codes.count == listed


@pytest.mark.parametrize(("width", "found"), [(5, False), (6, True), (11, True), (16, True)])
def test_time_since_the_turn_before_is_found(width: int, found: bool) -> None:
    rng = random.Random(2)
    ticks = [5]
    for at in range(60):
        most = 1 << width
        ticks.append(
            ticks[-1]
            + (most * (at % 2) or 2 * most if at % 11 == 10 else rng.randrange(most // 2, most))
        )
    steps = [0] + [b - a for a, b in pairwise(ticks)]
    field = Field(18, width)
    long = [min(step, field.values - 1) for step in steps]
    bits = bits_with({field: long}, 8, "little", noise=3)
    row = Entries(Field(2, 5), 1, 5)
    elapsed = find_elapsed(bits, row, [t % 2**18 for t in ticks], 2**18)
    assert elapsed == (Entries(field, 1, width) if found else None)
    taken = find_elapsed(bits, row, ticks, 2**24, None, {field.end - 1})  # of another field
    assert taken != Entries(field, 1, width)


@pytest.mark.parametrize("stride", [17, -17])
def test_times_of_earlier_turns_are_compared_too(stride: int) -> None:
    """Codes in two bytes stood 17 bits apart in one order and 15 in the other.

    With 15 the first time was found without its highest bits, and the next one was wrong.
    """
    steps = np.random.default_rng(3).integers(1, 2**12, 60)
    ticks = np.cumsum(steps)
    entries = Entries(Field(36, 12), 3, stride)
    fields = {field: [0] * lag + steps[: 60 - lag].tolist()
              for lag, field in enumerate(entries.fields)}  # fmt: skip
    bits = bits_with(fields, 12, "little", noise=3)
    codes = Entries(Field(2, 5), 3, stride)
    assert find_elapsed(bits, codes, ticks, 2**24) == entries
    assert find_elapsed(bits, replace(codes, count=2), ticks, 2**24) == replace(entries, count=2)
    for other in (15, -15, 16):
        assert find_elapsed(bits, replace(codes, stride=other), ticks, 2**24) is None
    beyond = find_elapsed(bits, replace(codes, count=9), ticks, 2**24)
    assert beyond is None, "they do not lie in the packet"


@pytest.mark.parametrize(
    ("packets", "values", "found"), [(20, 9, False), (21, 9, True), (30, 4, False), (30, 5, True)]
)
def test_elapsed_time_takes_twenty_packets_and_five_values(
    packets: int, values: int, found: bool
) -> None:
    steps = [64 + at % values for at in range(packets)]
    ticks = np.cumsum(steps)
    bits = bits_with({Field(4, 7): steps}, 2, "little")
    elapsed = find_elapsed(bits, Entries(Field(0, 3), 1, 3), ticks, 1 << 20)
    assert (elapsed is not None) is found


# Check values.


# CRC-16 of CCITT, ARC, DNP, T10-DIF, TELEDISK, CDMA2000, DECT, PROFIBUS and others in catalogues.
IN_USE = (0x3D65, 0x8BB7, 0xA097, 0xC867, 0x0589, 0x1DCF, 0x6F63, 0x5935, 0x755B)


def checks(order: Order) -> list[Check]:
    one, two = Field(56, 8, order), Field(56, 16, order)
    return [
        Check("sum", one, 0, 7, initial=77),
        Check("sum", one, 1, 7, initial=3, final=255),
        Check("sum", two, 1, 7, initial=1000),
        Check("sum", two, 0, 7, initial=5, final=0xFFFF),
        Check("xor", one, 0, 7),
        Check("xor", one, 1, 7, initial=0x5A),
        Check("crc", one, 1, 7, 0x07),
        Check("crc", one, 0, 7, 0xFF, 0x12, True, True, 0x55),
        Check("crc", one, 0, 7, 0x03, 0x12),
        Check("crc", two, 0, 7, 0x1021, 0xFFFF),
        Check("crc", two, 1, 7, 0x8005, 0, True, True),
        *(Check("crc", two, 0, 7, one_in_use, 0, True, True, 0xFFFF) for one_in_use in IN_USE),
    ]


@orders
@pytest.mark.parametrize("number", part_of(range(len(checks("little"))), 6))
def test_a_check_value_is_found(order: Order, number: int) -> None:
    rng, check = random.Random(number), checks(order)[number]
    packets = []
    for _ in range(24):
        data = bytearray([*rng.randbytes(7), *bytes(check.field.bits // 8), rng.randrange(256)])
        check.field.write(data, check.value(bytes(data)))
        packets.append(bytes(data))
    whole = find_check(packets, order)
    assert whole is not None
    found = whole.check
    assert (found.kind, found.field) == (check.kind, check.field)
    fresh = bytearray([*rng.randbytes(7), *bytes(check.field.bits // 8), 1])
    check.field.write(fresh, check.value(bytes(fresh)))
    assert found.first == check.first
    assert found.holds(bytes(fresh))
    assert (few := find_check(packets[:16], order)) is not None
    assert few.check == found
    assert 40 <= few.odds < whole.odds
    assert find_check([*packets[:15], *packets[:15]], order) is None
    spoiled = [*packets[:-1], bytes([*packets[-1][:3], packets[-1][3] ^ 1, *packets[-1][4:]])]
    assert find_check(spoiled, order) is None


def test_a_check_value_covers_two_bytes_at_least_and_moves() -> None:
    rng = random.Random(9)
    pairs = [rng.randbytes(2) for _ in range(20)]
    assert find_check([p + bytes([sum(p) & 255]) for p in pairs], "little") is not None
    assert find_check([bytes([p[0], p[0]]) for p in pairs], "little") is None
    few = [bytes([at, at % 7, (at + at % 7) & 7 ^ at % 7]) for at in range(20)]
    assert find_check([bytes([*p[:2], 9]) for p in few], "little") is None
    # The covered bytes differ in few ways: a match may be chance.
    summed = [bytes([i % 8, 7, i % 8 + 7]) for i in range(200)]
    assert find_check(summed, "little") is None
    assert find_check([bytes([*p, sum(p) & 255]) for p in pairs], "little") is not None


# What is said of a profile; other packets; kinds of packets and secrecy.


@pytest.mark.parametrize(
    ("clock", "changes", "said"),
    [
        (False, {}, "No clock was found"),
        (False, {"finer": True, "per_second": 100}, "No clock was found"),
        (False, {"coarse": 10}, "A clock of 10 ticks a second was left out"),
        (True, {"per_second": 33}, ""),
        (True, {"per_second": 34}, "it ticks 34 times a second is inferred"),
        (True, {"per_second": 125, "hidden": 3}, "lowest 3 bits.*timed to 8 ms"),
        (True, {"per_second": 25, "finer": True}, "Perhaps lower bits.*timed to 40 ms"),
        (True, {"per_second": 500, "finer": True}, "it ticks 500 times a second is inferred"),
    ],
)
def test_a_clock_is_told_with_what_is_unsure_of_it(
    clock: bool, changes: dict[str, Any], said: str
) -> None:
    layout = Layout("a", 5, 5, clock=Field(8, 16) if clock else None)
    notes = [*_clock_notes(replace(Candidate(layout, "little", {}), **changes))]
    assert len(notes) == bool(said)
    assert re.search(said, "".join(notes))


def test_other_lengths_of_the_characteristic_are_known_and_ignored() -> None:
    sent = [Packet(0.0, "a", bytes(n)) for n in (0, 3, 5, 6, 7, 8, 3)] + [Packet(0.0, "b", b"12")]
    known = Layout("a", 5, 7)
    assert [*_others(known, sent)] == [Layout("a", 3, 3), Layout("a", 8, 8)]
    typed = replace(known, match=((Field(0, 8), 1),))
    assert [one.shortest for one in _others(typed, sent)] == [3, 5, 6, 7, 8]


def test_kinds_are_lengths_and_fields_with_few_values() -> None:
    def sent(count: int, data: bytes, char: str = "a") -> list[Packet]:
        return [Packet(0.0, char, data)] * count

    assert kinds_in(sent(19, b"123"), "little") == []
    assert kinds_in(sent(20, b"123") + sent(25, b""), "little") == [Kind("a", 3)]
    two = sent(20, b"\x11") + sent(19, b"\x12")
    assert kinds_in(two, "little") == [Kind("a", 1)] + [
        Kind("a", 1, ((Field(0, bits, "little"), 0x11 & ((1 << bits) - 1)),), types=2)
        for bits in (8, 4)
    ]
    assert Field(4, 4, "big") in [kind.match[0][0] for kind in kinds_in(two, "big")[1:]]
    six, seven = (
        [p for value in range(n) for p in sent(20, bytes([0x10 * value + value]))] for n in (6, 7)
    )
    assert len(kinds_in(six, "big")) == 1 + 6 + 2 * 6
    assert kinds_in(seven, "big") == [Kind("a", 1)]
    long = [p for value in (1, 2) for p in sent(20, bytes([0, 0, 0x90 + value]))]
    ends = {kind.match[0][0].end for kind in kinds_in(long, "big")[1:]}
    assert ends == {24}
    varied = [Packet(0.0, "a", bytes(3 + at % 3)) for at in range(60)]
    assert Kind("a", 3, longest=512) in kinds_in(varied, "big")
    kind = Kind("a", 1, ((Field(0, 4), 1),))
    held = [Packet(0, "a", b"\x21"), Packet(0, "b", b"\x21"), Packet(0, "a", b"\x21\x21")]
    assert [kind.holds(p) for p in (*held, Packet(0, "a", b"\x12"))] == [True, *[False] * 3]


@pytest.mark.parametrize(
    ("count", "length", "plain", "secret"),
    [
        (40, 6, 0, True),
        (39, 6, 0, False),
        (40, 5, 0, False),
        (200, 10, 3, True),
        (200, 10, 4, False),
    ],
)
def test_what_looks_encrypted(count: int, length: int, plain: int, secret: bool) -> None:
    rng = random.Random(1)
    packets = [bytes(plain) + rng.randbytes(length - plain) for _ in range(count)]
    assert looks_encrypted(packets) is secret
    assert looks_encrypted([p for p in packets for _ in (0, 1)]) is secret
    assert not looks_encrypted([bytes([at]) * length for at in range(count)])


# Positions.


@orders
@pytest.mark.parametrize("says", ["piece", "place"])
@pytest.mark.parametrize("sign", [1, thorough(-1)])
@pytest.mark.parametrize("strides", part_of([((3, 2, 4, 1),), ((24, 2, 5, 1),)]))
def test_rows_of_pieces_are_found(
    order: Order, says: str, sign: int, strides: tuple[int, ...]
) -> None:
    rng = np.random.default_rng(7)
    position = SOLVED.copy()
    positions = np.array(
        [position := apply_turn(position, int(t)) for t in rng.integers(18, size=90)]
    )
    fields: dict[Field, Sequence[int]] = {}
    long = 8 * sum(strides[:2]) + 12 * sum(strides[2:])
    rows, at = [], 8 - long % 8  # the last one ends with the packet
    for start, count, width, turned, some in (
        (0, 8, 3, 2, strides[:2]), (8, 12, 4, 1, strides[2:])
    ):  # fmt: skip
        own = positions[:, start : start + count]
        places, twists = PIECE_AT[own] - start, TWIST_AT[own].astype(np.int64)
        told = places if says == "place" else np.argsort(places, axis=1)
        if says == "piece":
            twists = np.take_along_axis(twists, told, axis=1)
        if turned == 2:
            twists = sign * twists % 3
        for values, bits, stride in ((told, width, some[0]), (twists, turned, some[1])):
            row = Entries(Field(at, bits, order), count, stride)
            rows.append(row)
            fields |= {field: values[:, k].tolist() for k, field in enumerate(row.fields)}
            at += count * stride
    found = find_pieces(bits_with(fields, at // 8, order), positions)
    assert found is not None
    assert found.rows == tuple(rows)
    assert (found.code.says, found.code.twist) == (
        says, "clockwise" if sign == 1 else "counterclockwise"
    )  # fmt: skip
    assert found.code.corners.pieces == found.code.corners.places
    for row in rows * (strides[0] == 3 and order == "little" and sign == 1):  # each is needed
        (wrong, *_), spoilt = row.fields, dict(fields)
        spoilt[wrong] = [*spoilt[wrong][:-1], spoilt[wrong][-1] ^ 1]
        assert find_pieces(bits_with(spoilt, at // 8, order), positions) is None
    if says == "piece" and order == "little":  # a row that ends beyond the packet is none
        short = {field: told for field, told in fields.items() if field.end <= at - 8}
        assert find_pieces(bits_with(short, at // 8 - 1, order), positions) is None
    # Three positions do not tell the pieces apart.
    assert (
        find_pieces(bits_with({f: v[:3] for f, v in fields.items()}, 200, order), positions[:3])
        is None
    )


def recorded(fields: dict[Field, list[int]], turns: list[int]) -> Steps:
    packets = packets_with(fields, 3)
    return [((turn,), [Packet(float(at), "a", data)])
            for at, (turn, data) in enumerate(zip(turns, packets, strict=True))]  # fmt: skip


def test_a_clock_is_left_out_only_where_there_is_one() -> None:
    turns = np.random.default_rng(7).integers(18, size=90).tolist()
    found = candidates(Kind("a", 3), recorded({Field(8, 5): turns}, turns), "little")
    assert found
    assert {(one.layout.clock, one.coarse) for one in found} == {(None, 0)}


@pytest.mark.parametrize("mask", [0, 0x5A])
def test_where_the_counter_is_masked_a_masked_clock_is_looked_for(
    mask: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    turns = np.random.default_rng(7).integers(18, size=90).tolist()
    numbers = [(at + 3) % 256 ^ mask for at in range(90)]
    asked: list[bool] = []
    monkeypatch.setattr(inference, "_clock", lambda *_, masked: asked.append(masked))
    steps = recorded({Field(0, 8): numbers, Field(8, 5): turns}, turns)
    assert candidates(Kind("a", 3), steps, "little")
    assert bool(mask) in asked
    assert mask or True not in asked


def test_a_position_fills_thirteen_bytes_and_a_slip_before_it_is_found(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Also if its last field ends with the packet."""
    turns = np.random.default_rng(7).integers(18, size=40).tolist()
    position = SOLVED.copy()
    positions = np.array([position := apply_turn(position, turn) for turn in turns])
    places, twists = PIECE_AT[positions], TWIST_AT[positions]
    fields: dict[Field, list[int]] = {}
    at = 4
    for values, width, first, count in (
        (twists, 2, 0, 8), (places, 3, 0, 8), (twists, 1, 8, 12), (places - 8, 4, 8, 12),
    ):  # fmt: skip
        for k in range(first, first + count):
            fields[Field(at, width)] = values[:, k].tolist()
            at += width
    packets = [[Packet(0.0, "a", data)] for data in packets_with(fields, 13)]
    steps = [*zip([(turn,) for turn in turns], packets, strict=True)]
    slip = [*steps]
    slip[9] = ((turns[9] + 4) % 18,), packets[9]
    kind = Kind("a", 13)
    assert any(one.state is not None for one in candidates(kind, steps, "little"))
    assert all(one.state is None for one in candidates(kind, slip, "little"))
    for narrow, found in ((kind, True), (Kind("a", 12), False)):
        assert bool(candidates(narrow, slip, "little", slipped=True)) is found
    # The search for slips ends after so many tries.
    for tries, enough in ((0, False), (36, True)):
        monkeypatch.setattr("livecube.learning.slips._TRIES", tries)
        assert (without_slips(slip, "little") is not None) is enough


@orders
@pytest.mark.parametrize(
    ("width", "stride", "count"),
    part_of([(3, 3, 54), (3, 8, 48), (4, 5, 54), (8, 8, 48), (8, 13, 54)]),
)
def test_a_row_of_stickers_is_found(order: Order, width: int, stride: int, count: int) -> None:
    rng = np.random.default_rng(width)
    position = SOLVED.copy()
    positions = np.array(
        [position := apply_turn(position, int(t)) for t in rng.integers(18, size=90)]
    )
    shown = shown_colours(positions)
    assert shown_colours(SOLVED).tolist() == [facelet // 9 for facelet in range(54)]
    assert np.bincount(shown[-1]).tolist() == [9] * 6
    facelets = [f for f in rng.permutation(54).tolist() if count == 54 or f % 9 != 4]
    # Of the wider ones no fewer bits tell all colours apart.
    few = {3: range(2, 8), 4: (1, 2, 3, 9, 10, 11), 8: (0, 1, 16, 128, 129, 144)}[width]
    numbers = rng.permutation([*few]).tolist()
    row = Entries(Field(5, width, order), count, stride)
    fields = {
        field: [numbers[colour] for colour in shown[:, facelet].tolist()]
        for field, facelet in zip(row.fields, facelets, strict=True)
    }
    bits = bits_with(fields, (5 + 54 * stride) // 8 + 1, order)
    found = find_stickers(bits, positions)
    assert found is not None
    assert found.code.facelets == tuple(facelets)
    assert found.rows == (row,)
    assert (
        find_stickers(bits_with({f: v[:3] for f, v in fields.items()}, 100, order), positions[:3])
        is None
    )
    (spoiled, *_) = fields
    if (width, count) == (3, 54):  # the field of a centre always shows one colour
        centre = row.fields[facelets.index(4)]
        other = fields | {centre: [*fields[centre][:-1], numbers[1]]}
        assert find_stickers(bits_with(other, (5 + 54 * stride) // 8 + 1, order), positions) is None
    fields[spoiled] = [*fields[spoiled][:-1], numbers[(shown[-1, facelets[0]] + 1) % 6]]
    assert find_stickers(bits_with(fields, (5 + 54 * stride) // 8 + 1, order), positions) is None


# Whether the cube is solved in the end.


def test_a_cube_is_solved_in_the_end_if_few_lost_turns_explain_it() -> None:
    way = parse_turns("(R U R' U')6")
    turns: list[_Item] = [*way]
    scrambled = apply_turns(SOLVED, way[:6]).tobytes()
    lost, none = [*turns[:3], *turns[4:]], None
    assert _is_solved(turns, none)
    assert _is_solved([*turns[2:5], scrambled, *turns[6:]], none)
    assert _is_solved([scrambled, *turns[6:]], none)
    assert not _is_solved(lost, none)
    assert not _is_solved([*turns[:3], *turns[5:]], 0)  # two are too many
    # One turn may be missing from a place on, counted from the last position.
    assert [_is_solved(lost, start) for start in (0, 3, 4, len(lost))] == [True, True, False, False]
    known: list[_Item] = [7, scrambled, *turns[6:8], *turns[9:]]
    assert [_is_solved(known, start) for start in (2, 4, 5)] == [True, True, False]
    at_once: list[_Item] = [7, scrambled, *turns[7:]]  # the first one behind a position is missing
    assert [_is_solved(at_once, start) for start in (1, 2, 3)] == [False, True, False]
    assert not _is_solved([*known, *turns, SOLVED.tobytes(), *turns[1:], 7], 3)
    assert _is_solved(turns[:-1], len(turns) - 1)
    # At a gap one turn may be, or two; only two if they are said to be two.
    for missing, count, solved in (
        (0, 1, False), (0, None, False), (0, 2, True),
        (1, 1, True), (1, None, True), (2, None, False), (2, 1, False), (2, 2, True), (3, 2, False),
    ):  # fmt: skip
        gap = [*turns[:3], _Lost(count=count), *turns[3 + missing :]]
        assert _is_solved(gap, none) == solved, (missing, count)
    assert not _is_solved([*turns[:3], _Lost(count=1), *turns[4:6], _Lost(count=1), *turns[7:]], 0)
    # Turns that were asked for are tried; of six losses not all can be.
    either: list[_Item] = [_Lost(((turn,), ())) for turn in way]
    assert _is_solved([*either[:3], *turns[3:]], none)
    assert _is_solved([*turns[:3], _Lost(((), (0,))), *turns[3:]], none)
    assert not _is_solved([*either[:2], _Lost(((0,), (1,))), *turns[3:]], none)
    assert [_is_solved([*either[:n], *turns[n:]], none) for n in (5, 6)] == [True, False]


# Which kinds are tried.


PLAIN, FOUR, SHORT, LONG = Kind("a", 3), Kind("a", 4), Kind("b", 2), Kind("b", 2, longest=4)
TYPED, OTHER = (Kind("a", 3, ((Field(0, 8), value),), types=2) for value in (1, 2))
KINDS = {"p": PLAIN, "f": FOUR, "s": SHORT, "t": TYPED, "o": OTHER, "l": LONG}


@pytest.mark.parametrize(
    ("perfect", "tried", "again"),
    [
        ("", "psfPSFtoTOlL", "psfPSFtoTOlL"), ("p", "psfPSFlL", "sSlL"), ("pl", "psfPSFlL", ""),
        ("t", "psfPSFtTlL", "sSlL"), ("o", "psfPSFtoOlL", "sSlL"),
        ("l", "psfPSFtoTOlL", "pfPFtoTO"), ("s", "psfPSFtoTO", "pfPFtoTO"),
    ],
)  # fmt: skip
def test_kinds_are_tried_in_both_orders_until_the_characteristic_makes_sense(
    monkeypatch: pytest.MonkeyPatch, perfect: str, tried: str, again: str
) -> None:
    """Then, with slips in positions, those that made none."""
    seen: list[tuple[Kind, Order, bool]] = []

    def noted(kind: Kind, recording: Recording, order: Order, slipped: bool) -> list[str]:
        seen.append((kind, order, slipped))
        return ["one", "two"]

    def judged(kind: Kind, *others: object) -> object:
        return SimpleNamespace(
            kind=kind, hearing=SimpleNamespace(perfect=kind in map(KINDS.get, perfect))
        )

    sent = [Packet(0.0, "a", bytes([number % 2 + 1, 0, 0])) for number in range(4)]
    sent += [Packet(0.0, "b", bytes(number)) for number in (2, 3, 4)]
    inside = "livecube.learning.judging."
    kinds = [LONG, TYPED, OTHER, PLAIN, SHORT, FOUR]
    monkeypatch.setattr(
        f"{inside}kinds_in",
        lambda packets, order: kinds if packets == sent and order in BOTH else [],
    )
    monkeypatch.setattr(f"{inside}_candidates", noted)
    monkeypatch.setattr(f"{inside}_judged", judged)
    found = judge_all(Recording([], [Step((0,), sent)]), "name", CLAIM)
    assert seen == [
        (KINDS[letter.lower()], "big" if letter.isupper() else "little", slipped)
        for slipped, letters in ((False, tried), (True, again))
        for letter in letters
    ]
    assert [one.kind for one in found] == [kind for kind, _, _ in seen for _ in range(2)]


# What a profile's decoder makes of a recording.


class Scripted:
    """A decoder whose packets say in words what it reports."""

    notify = ("a",)

    is_connected = False

    def connected(self) -> tuple[()]:
        self.is_connected = True
        return ()

    def received(self, characteristic: str, data: bytes) -> Decoded:
        assert self.is_connected
        return Decoded(tuple(self._report(word) for word in data.decode().split()))

    @staticmethod
    def _report(word: str) -> Report:
        if word.startswith("lost"):
            return GapReport(int(word[4:]) if word[4:] else None)
        if word.startswith("="):
            return StateReport(apply_turns(SOLVED, parse_turns(word[1:])).tobytes(), None, None)
        if word.startswith("?"):
            return BadPacket(word, data=b"")
        return TurnReport(parse_turns(word)[0], None, None)


def heard(
    monkeypatch: pytest.MonkeyPatch,
    steps: Sequence[tuple[str | None, str]],
    rest: str = "",
    counter: str | None = "there",
) -> Hearing:
    """The hearing of steps, each with the turns asked for (None: any) and what is reported."""
    monkeypatch.setattr("livecube.learning.verifying.decoder_class", lambda profile: Scripted)
    profile: Any = SimpleNamespace(layouts=[SimpleNamespace(counter=counter)])
    sent = [[Packet(0.0, "a", told.encode()), Packet(0.0, "b", b"?other")] for _, told in steps]
    asked = [None if turns is None else tuple(parse_turns(turns)) for turns, _ in steps]
    made = list(map(Step, asked, sent))
    return hear(profile, Recording([Packet(0.0, "a", rest.encode())], made))


@pytest.mark.parametrize(
    ("steps", "right", "silent", "otherwise", "lost"),
    [
        ([("R", "R"), ("U", "U"), (None, "U' R'")], 2, [], [], 0),
        ([("R2", "R R"), ("U2", "U' U'"), (None, "U2 R2")], 2, [], [], 0),
        # Late packets: what is owed comes with the next step.
        ([("R", ""), ("U", "R U"), (None, "U' R'")], 2, [], [], 0),
        ([("R", ""), ("F", ""), ("U", "R F U"), (None, "U' F' R'")], 3, [], [], 0),
        # Lost before the next step: the gap tells how many, and the steps before tell which.
        ([("R", ""), ("U", "lost1 U"), (None, "U' R'")], 1, [1], [], 1),
        ([("R", ""), ("U", "lost U"), (None, "U' R'")], 1, [1], [], 1),
        ([("R2", ""), ("U", "lost1 R U"), (None, "U' R2")], 1, [1], [], 1),
        ([("R2", ""), ("U", "lost1 R' U"), (None, "U' R2")], 1, [1], [], 1),
        ([("R", ""), ("F", ""), ("U", "lost1 F U"), (None, "U' F' R'")], 1, [1, 2], [], 1),
        # A gap that none of them explains: turns that were not asked for.
        ([("R", "R"), ("U", "lost2 U"), (None, "U' B' F' R'")], 2, [], [], 2),
        ([("R", "R"), ("U", "lost U"), (None, "U' F' R'")], 2, [], [], 1),
        ([("R", ""), ("U", "lost2 F"), (None, "F' R'")], 0, [1], [(2, "U", "F")], 2),
        # Lost before the free sequence.
        ([("R", "R"), ("U", ""), (None, "lost1 U' R'")], 1, [2], [], 1),
        ([("R", "R"), ("U2", ""), (None, "lost2 U2 R'")], 1, [2], [], 2),
        ([("R", "R"), ("U", ""), (None, "U' R'")], 1, [2], [], 0),
        ([("R", "R"), (None, "lost F' R'")], 1, [], [], 1),
        ([("R", "R"), (None, "lost2 B' F' R'")], 1, [], [], 2),
        ([("R", "R"), (None, "R'"), ("U", ""), (None, "lost1 U'"), ("F", "F"), (None, "F'")],
         2, [2 + 1], [], 1),
        # Nothing more came.
        ([("R", "R"), (None, "R'"), ("U", "")], 1, [3], [], 0),
        # An owner's slip.
        ([("R", "R"), ("U", "U'"), (None, "U R'")], 1, [], [(2, "U", "U'")], 0),
        ([("R", "F"), (None, "F'")], 0, [], [(1, "R", "F")], 0),
        ([("R", "R"), ("U", "U F"), (None, "F' U' R'")], 1, [], [(2, "U", "U F")], 0),
        # Positions: after the first step alone they may stand for its turns.
        ([("R", "=R"), ("U", "U"), (None, "U' R'")], 2, [], [], 0),
        ([("R", "R"), ("U", "=RU"), (None, "U' R'")], 1, [], [(2, "U", "")], 0),
    ],
)  # fmt: skip
def test_turns_that_were_heard_late_otherwise_or_not_at_all_are_told_apart(
    monkeypatch: pytest.MonkeyPatch,
    steps: Sequence[tuple[str | None, str]],
    right: int,
    silent: list[int],
    otherwise: Sequence[tuple[int, str, str]],
    lost: int,
) -> None:
    found = heard(monkeypatch, steps)
    assert (found.steps, found.right, found.silent, found.lost) == (
        sum(asked is not None for asked, _ in steps), right, silent, lost
    )  # fmt: skip
    assert found.otherwise == [
        Otherwise(number, tuple(parse_turns(asked)), tuple(parse_turns(told)))
        for number, asked, told in otherwise
    ]
    assert found.slips == len(silent) + len(otherwise)
    free = [word for asked, told in steps if asked is None for word in told.split()]
    assert found.free == [parse_turns(one)[0] for one in free if not one.startswith("lost")]
    assert found.solved
    assert found.bad == {}
    # Turns before the first step count, unless a position is told later.
    assert heard(monkeypatch, steps, "R F U").solved is any("=" in told for _, told in steps)
    spoiled = heard(monkeypatch, [*steps[:-1], (None, f"{steps[-1][1]} D ?why ?why")], "R F U")
    assert (spoiled.solved, spoiled.bad) == (False, {"?why": 2})
    assert spoiled.at_rest == parse_turns("R F U")


def test_without_a_counter_one_turn_of_the_free_sequence_may_be_missing(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    for counter, free, solved in (
        (None, "F' R'", True), ("there", "F' R'", False), (None, "U'", False),
    ):  # fmt: skip
        steps = [("R", "R"), ("F", "F"), ("U", "U"), (None, free)]
        assert heard(monkeypatch, steps, counter=counter).solved is solved
    # One of an earlier step may not.
    assert not heard(monkeypatch, [("R", "R"), ("F", "R"), (None, "F' R'")], counter=None).solved


@pytest.mark.parametrize(("steps", "most"), [(12, 5), (65, 5), (67, 6), (102, 8)])
def test_a_twelfth_of_the_steps_may_be_slips_and_always_five(steps: int, most: int) -> None:
    for slips in (0, most, most + 1):
        for at in {0, slips}:
            other = [Otherwise(1, (0,), (1,))] * at
            one = Hearing(steps, otherwise=other, silent=[1] * (slips - at), solved=True)
            assert one.perfect is (slips <= most)
            assert not replace(one, solved=False).perfect
            assert not replace(one, bad=Counter({"why": 1})).perfect
    assert not Hearing(steps).perfect
    strange = Counter({"code 17 is no turn": 2, "code 3 is no turn": 1, "another code 4": 1})
    assert Hearing(steps, bad=strange).strange == [17, 3]


# Samples.


def steps_of(
    asked: Sequence[tuple[int, ...]], sent: Sequence[Sequence[bytes]]
) -> list[tuple[tuple[int, ...], list[Packet]]]:
    return [
        (turns, [Packet(at + 0.1 * n, "a", data) for n, data in enumerate(packets)])
        for at, (turns, packets) in enumerate(zip(asked, sent, strict=True))
    ]


def test_samples_by_a_counter_take_the_first_packet_of_each_number() -> None:
    asked = [(turn,) for turn in drawn(30)]
    sent = [[bytes([at + 9, 1]), bytes([at + 9, 2])] for at in range(30)]
    sent[3] = []
    sent[4] = [bytes([4 + 9, 1])]
    samples = first_of(asked, sent)
    assert samples is not None
    assert samples.counter is not None
    assert samples.counter.field == Field(0, 6)
    assert samples.index.tolist() == [0, 1, 2, *range(4, 30)]
    assert samples.turns.tolist() == [asked[at][0] for at in samples.index]
    assert samples.tables["little"].read(8, 8).tolist() == [1] * 29
    assert samples.host_s.tolist() == [*map(float, range(3)), *map(float, range(4, 30))]
    # A packet that was overtaken is left out.
    back = [*sent]
    back[20] = [bytes([20 + 9 - 8, 1]), *sent[20]]
    overtaken = first_of(asked, back)
    assert overtaken is not None
    assert overtaken.turns.tolist() == samples.turns.tolist()
    # If more turns were made than asked for, they are unknown.
    more = [*sent[:12], *([bytes([p[0] + 2, 1]) for p in packets] for packets in sent[12:])]
    slipped = first_of(asked, more)
    assert slipped is not None
    assert slipped.made.tolist()[12:15] == [-1, -1, -1]
    assert [t for t in slipped.turns.tolist() if t >= 0] == [
        turn for at, turn in enumerate(samples.turns.tolist()) if at != 11
    ]


def test_samples_without_a_counter_are_one_packet_a_turn() -> None:
    asked = [(0,), (4,), (0,), (6, 8)]
    sent = [[b"x1", b"x1"], [b"y1", b"y1"], [b"x1"], [b"z1", b"w1"]]
    whole = first_of(asked, sent)
    assert whole is not None  # equal packets count once, also for a half turn
    assert whole.made.tolist() == [0, 4, 0, 6, 8]
    assert whole.host_s.tolist() == [0, 1, 2, 3, 3.1]
    more = [[b"x1"], [b"y1", b"y2"], [b"x1"], [b"z1", b"w1"]]
    slipped = first_of(asked, more)
    assert slipped is not None
    assert slipped.made.tolist() == [0, -1, -1, 0, 6, 8]
    astray = [[b"1", b"2"], [b"1", b"2", b"3"], [b"1", b"2"], [b"1"]]
    assert first_of(asked, astray) is None  # this fits no turns
    split = first_of(asked, sent, split=True)
    assert split is not None
    assert split.made.tolist() == [0, -1, -1, 0, 6, 8]
    assert split.turns.tolist() == split.made.tolist()
    assert split.counter is None
    assert first_of(asked, [[]] * 4, split=True) is None


def test_of_copies_in_any_order_every_other_one_is_taken() -> None:
    def new(sent: str, count: int, copies: int, latest: str = "") -> str:
        packets = [Packet(0.0, "a", letter.encode()) for letter in sent]
        found = _new(packets, count, copies, latest.encode())
        return b"".join(packet.data for packet in found).decode()

    assert new("abba", 4, 2) == "abba"  # as many as turns
    assert new("aabb", 2, 2) == "ab"
    assert new("aaaa", 2, 2) == "aa"  # the same turn twice
    assert new("aaaabb", 3, 2) == "aab"
    assert new("abba", 2, 2, "a") == "ba"  # as many new ones as turns
    assert new("aaaaab", 2, 2) == "ab"
    assert new("aaab", 3, 2, "a") == "b"  # this fits nothing


def test_a_packet_that_is_sent_again_while_the_cube_rests_hid_the_turns() -> None:
    """The latest packet is repeated eight times a second until the next one."""
    asked = [(turn,) for turn in drawn(20)]
    data = [bytes([turn, at]) for at, (turn,) in enumerate(asked)]
    sent = [[before] * 6 + [now] * 2 for before, now in pairwise([data[0], *data])]
    samples = first_of(asked, sent[:1] + sent[1:])
    assert samples is not None
    assert samples.turns.tolist()[1:] == [turn for (turn,) in asked][1:]


def first_of(
    asked: Sequence[tuple[int, ...]], sent: Sequence[Sequence[bytes]], *, split: bool = False
) -> Samples | None:
    return next(samples_of(steps_of(asked, sent), split=split), None)


def test_positions_go_with_the_last_packet_of_each_step() -> None:
    asked = [(turn,) for turn in (*drawn(24), 1, 4, 1, 7)]
    number = 0
    sent = []
    for (turn,) in asked:
        number += 2 if turn % 3 == 1 else 1
        sent.append([b"??", bytes([number, 7])])
    sent[5] = []
    states = states_of(steps_of(asked, sent))
    assert states is not None
    assert [one.field for one in states.counters] == [Field(0, 6)]
    assert len(states.positions) == len(asked) - 1
    assert states.host_s[:7].tolist() == [0.1, 1.1, 2.1, 3.1, 4.1, 6.1, 7.1]
    assert states_of([]) is None


# Whole recordings.


@pytest.mark.parametrize("slips", [4, thorough(5)])
def test_four_slips_are_found_and_more_are_too_many(slips: int) -> None:
    steps = recording(made(5), 3).steps[:34]
    made_turns = [(step.turns or (), step.packets) for step in steps]
    told = list(made_turns)
    for number in range(4, 34, 7)[:slips]:
        ((turn,), packets) = told[number]
        told[number] = ((turn + 3) % 18,), packets
    assert without_slips(told, "little") == (made_turns if slips == 4 else None)


@pytest.mark.parametrize(("turns", "why"), [thorough(7, "too few"), thorough(8, None)])
def test_a_free_sequence_has_eight_turns(turns: int, why: str | None) -> None:
    asked = [step for step in STEPS if step is not None]
    done = [turn for step in asked for turn in step]
    home = [(turn,) for turn in inverse_turns(done)]
    found = recording(made(1), 1, (*asked, *home[:-turns], *home[-turns:]))
    free = found.steps[-turns:]
    del found.steps[-turns:]
    found.steps.append(type(free[0])(None, [p for step in free for p in step.packets]))
    verdict = learn(found, "learned", CLAIM)
    assert (verdict.why if isinstance(verdict, Refused) else None) == why


def test_a_counter_that_goes_round_once_too_often_counts_something_else() -> None:
    asked = [(turn,) for turn in drawn(80)]
    sent = [[bytes([(at + 9) % 64 | 64, 1])] for at in range(80)]
    samples = first_of(asked, sent)
    assert samples is not None
    assert samples.index.tolist() == list(range(80))
    round_more = [bytes([(50 + 9 + step) % 64 | 64, 1]) for step in range(0, 64, 16)]
    sent[50] = [*sent[50], *round_more[1:], *sent[50]]
    again = first_of(asked, sent)
    assert again is not None
    assert again.made[50:115].tolist() == [-1] * 65
