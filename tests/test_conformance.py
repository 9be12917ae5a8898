"""The conformance tests find what is wrong with a decoder: each fault fails its test."""

from __future__ import annotations

import random
import tracemalloc
from collections import Counter
from dataclasses import replace
from functools import partial
from hashlib import sha256
from typing import TYPE_CHECKING, Any, ClassVar
from unittest import SkipTest

import pytest
from examples import part_of, thorough
from livecube_protocols.turnwire import TurnwireDecoder
from livecube_protocols.turnwire_cube import TurnwireCube
from profile_texts import PROFILES

from livecube.conformance import decoder_tests
from livecube.conformance.attacks import ATTACKS, one_hostile
from livecube.conformance.bench import Follower, look_at
from livecube.conformance.cube_tests import faces_turned
from livecube.cube.position import SOLVED, TURN_BYTES, apply_turns, turns_text
from livecube.decoding import Advertisement, Decoded, Decoder, Write
from livecube.events import (
    AttitudeReport,
    BadPacket,
    BatteryReport,
    GapReport,
    StateReport,
    TurnReport,
)
from livecube.profiles.decoder import decoder_class
from livecube.virtual.profile_cube import ProfileCube

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from livecube.events import Report
    from livecube.virtual.cube import SimulatedCubeFactory


class Sound:
    """A decoder without a fault, to be given one."""

    name: ClassVar[str] = "faulty"
    clock_wrap_ms: ClassVar[float | None] = TurnwireDecoder.clock_wrap_ms
    notify: ClassVar[tuple[str, ...]] = TurnwireDecoder.notify

    def __init__(self) -> None:
        self._sound: Decoder = TurnwireDecoder()

    @classmethod
    def claims(cls, advertisement: Advertisement) -> bool:
        return bool(TurnwireDecoder.claims(advertisement))

    def connected(self) -> tuple[Write, ...]:
        return self._sound.connected()

    def received(self, characteristic: str, data: bytes) -> Decoded:
        return self._sound.received(characteristic, data)


class Raising(Sound):
    def received(self, characteristic: str, data: bytes) -> Decoded:
        if len(data) > 30:
            raise ValueError
        return super().received(characteristic, data)


class Leaking(Sound):
    seen: ClassVar[list[bytes]] = []

    def received(self, characteristic: str, data: bytes) -> Decoded:
        self.seen.append(bytes(bytearray(data)))
        return super().received(characteristic, data)


class Claiming(Sound):
    @classmethod
    def claims(cls, advertisement: Advertisement) -> bool:
        return True


class Repeating(Sound):
    """Forgets now and then that it has told a turn."""

    told: tuple[TurnReport, ...] = ()

    def received(self, characteristic: str, data: bytes) -> Decoded:
        decoded = super().received(characteristic, data)
        if not decoded.reports and self.told:
            return Decoded(self.told, decoded.writes)
        self.told = tuple(r for r in decoded.reports if isinstance(r, TurnReport))[-1:]
        return decoded


class Silent(Sound):
    """Gives up for good at the first bad packet."""

    stuck = False

    def received(self, characteristic: str, data: bytes) -> Decoded:
        decoded = super().received(characteristic, data)
        self.stuck |= any(isinstance(r, BadPacket) for r in decoded.reports)
        return Decoded() if self.stuck and characteristic in self.notify else decoded


class Guessing(Sound):
    """Makes up the turns that were lost."""

    def received(self, characteristic: str, data: bytes) -> Decoded:
        decoded = super().received(characteristic, data)
        kept = tuple(r for r in decoded.reports if isinstance(r, TurnReport | BadPacket))
        return Decoded(kept, ())


class Splitting(Sound):
    """Tells each half turn as two quarters, as some cubes do."""

    def received(self, characteristic: str, data: bytes) -> Decoded:
        decoded = super().received(characteristic, data)
        reports: list[Report] = []
        for report in decoded.reports:
            if isinstance(report, TurnReport) and report.turn % 3 == 1:
                reports += [replace(report, turn=report.turn - 1)] * 2
            else:
                reports.append(report)
        return Decoded(tuple(reports), decoded.writes)


class WrongClock(Sound):
    clock_wrap_ms: ClassVar[float | None] = 1 << 31


class Timeless(Sound):
    clock_wrap_ms: ClassVar[float | None] = None


@pytest.mark.parametrize(
    "test",
    ["test_after_nonsense_it_finds_its_way_back", "test_a_restart_of_the_cube_does_not_silence_it"],
)
def test_half_turns_may_be_told_as_two_quarters(test: str) -> None:
    getattr(decoder_tests(Splitting, TurnwireCube)(), test)()


@pytest.mark.parametrize(
    ("decoder", "test"),
    [
        (Raising, "test_random_packets"),
        thorough(Leaking, "test_memory_is_bounded"),
        (Claiming, "test_it_describes_itself_and_claims_no_stranger"),
        (Repeating, "test_repeats_are_dropped"),
        (Silent, "test_after_nonsense_it_finds_its_way_back"),
        (Guessing, "test_lost_packets_leave_no_wrong_position"),
        (WrongClock, "test_the_clock_may_wrap"),
        (Timeless, "test_good_packets_give_turns"),
    ],
)
def test_a_fault_is_found(decoder: type[Sound], test: str) -> None:
    with pytest.raises(AssertionError if decoder is not Raising else ValueError):
        getattr(decoder_tests(decoder, TurnwireCube)(), test)()


@pytest.mark.parametrize("per_second", [10, 16, 60, 128])
def test_a_true_clock_of_ten_ticks_a_second_was_called_wrong(per_second: int) -> None:
    profile = replace(PROFILES["skerry"], per_second=per_second)
    times_of(decoder_class(profile), partial(ProfileCube, profile))
    twice = replace(profile, per_second=2 * per_second)
    with pytest.raises(AssertionError, match="ms off"):
        times_of(decoder_class(twice), partial(ProfileCube, profile))


def times_of(decoder: Callable[[], Decoder], cube: SimulatedCubeFactory) -> None:
    test = "test_the_clock_may_wrap"
    getattr(decoder_tests(decoder, cube)(), test)()


class Swaying(Sound):
    """Every other turn is told forty milliseconds late."""

    def received(self, characteristic: str, data: bytes) -> Decoded:
        told = super().received(characteristic, data)
        return replace(told, reports=tuple(map(self._late, told.reports)))

    def _late(self, report: Report) -> Report:
        if not isinstance(report, TurnReport) or report.cube_ms is None or report.seq is None:
            return report
        return replace(report, cube_ms=(report.cube_ms + 40 * (report.seq % 2)) % 2**32)


def test_a_fine_clock_is_not_excused_as_a_coarse_one() -> None:
    with pytest.raises(AssertionError, match="40 ms off"):
        times_of(Swaying, TurnwireCube)


# A decoder of a third party that has nothing but example packets.


class Numbered:
    """The newest turns of a cube that counts them: the number, and three turns, newest first."""

    name: ClassVar[str] = "numbered"
    clock_wrap_ms: ClassVar[float | None] = None
    notify: ClassVar[tuple[str, ...]] = TurnwireDecoder.notify
    history: ClassVar[int] = 3

    def __init__(self) -> None:
        self.last: int | None = None

    @classmethod
    def claims(cls, advertisement: Advertisement) -> bool:
        return False

    def connected(self) -> tuple[Write, ...]:
        return ()

    def received(self, characteristic: str, data: bytes) -> Decoded:
        wrong = len(data) != 1 + self.history or max(data[1:]) >= 18
        if characteristic not in self.notify or wrong:
            return Decoded((BadPacket("no turns", data),))
        step = 1 if self.last is None else (data[0] - self.last) % 256
        if self.repeats(step):
            return Decoded()
        self.last = data[0]
        turns = self.listed(data[1 : 1 + min(max(step, 1), self.history)])
        reports = tuple(
            TurnReport(turn, (data[0] - age) % 256, None)
            for turn, age in zip(turns, reversed(range(len(turns))), strict=True)
        )
        return Decoded(self.after_gap(step - self.history, reports))

    def repeats(self, step: int) -> bool:
        return step == 0 or step > 128

    def listed(self, newest_first: bytes) -> list[int]:
        return [*newest_first[::-1]]

    def after_gap(self, lost: int, reports: tuple[Report, ...]) -> tuple[Report, ...]:
        return (GapReport(lost), *reports) if lost > 0 else reports


class Unnumbered(Numbered):
    """Reports neither number nor time, though the packets count the turns."""

    def received(self, characteristic: str, data: bytes) -> Decoded:
        told = super().received(characteristic, data).reports
        return Decoded(
            tuple(replace(r, seq=None) if isinstance(r, TurnReport) else r for r in told)
        )


class Lone(Unnumbered):
    """The same without earlier turns in a packet."""

    history: ClassVar[int] = 1


class Timed(Numbered):
    """Three turns, newest first, each with its milliseconds in two bytes; nothing is counted."""

    clock_wrap_ms: ClassVar[float | None] = 65536

    def received(self, characteristic: str, data: bytes) -> Decoded:
        if characteristic not in self.notify or len(data) != 9 or max(data[::3]) >= 18:
            return Decoded((BadPacket("no turns", data),))
        times = [int.from_bytes(data[at : at + 2]) for at in (1, 4, 7)]
        last = (times[0] - 1) % 65536 if self.last is None else self.last
        step = sum(0 < (time - last) % 65536 < 32768 for time in times)
        if self.last is None:
            step = 1
        if self.repeats(step):
            return Decoded()
        late = step == 3 and self.last is not None
        self.last = times[0]
        turns = self.listed(data[::3][: max(step, 1)])
        reports = tuple(
            TurnReport(turn, None, time)
            for turn, time in zip(turns, times[: len(turns)][::-1], strict=True)
        )
        return Decoded(self.after_gap(int(late), reports))

    def after_gap(self, lost: int, reports: tuple[Report, ...]) -> tuple[Report, ...]:
        return (GapReport(None), *reports) if lost else reports


class Bare(Numbered):
    """One turn in one byte, and nothing else."""

    def received(self, characteristic: str, data: bytes) -> Decoded:
        if characteristic not in self.notify or len(data) != 1 or data[0] >= 18:
            return Decoded((BadPacket("no turn", data),))
        return Decoded(self.after_gap(0, (TurnReport(self.listed(data)[0], None, None),)))


# Faults, to be put before one of these.


class ReversingHistory(Numbered):
    def listed(self, newest_first: bytes) -> list[int]:
        return super().listed(newest_first)[::-1]


class TellingRepeats(Numbered):
    def repeats(self, step: int) -> bool:
        return step > 128


class TellingLateRepeats(Numbered):
    def repeats(self, step: int) -> bool:
        return step == 0


class SwappingDirections(Numbered):
    def listed(self, newest_first: bytes) -> list[int]:
        return [turn - turn % 3 + 2 - turn % 3 for turn in super().listed(newest_first)]


class LeavingOutGaps(Numbered):
    def after_gap(self, lost: int, reports: tuple[Report, ...]) -> tuple[Report, ...]:
        return reports


class MiscountingGaps(Numbered):
    def after_gap(self, lost: int, reports: tuple[Report, ...]) -> tuple[Report, ...]:
        return (GapReport(lost + 1), *reports) if lost > 0 else reports


def with_fault(fault: type[Numbered], kind: type[Numbered]) -> type[Numbered]:
    return fault if kind is Numbered else type(fault.__name__, (fault, kind), {})


def examples(kind: type[Numbered], *, again: bool = True) -> list[tuple[bytes, list[int]]]:
    """Packets with their turns; ``again``: once, the same turn comes twice in a row."""
    rng = random.Random(11)
    made = [rng.randrange(6) * 3 + (0, 2)[at % 2] for at in range(300)]
    made[150] = made[149] if again else made[150]
    padded, found = [0, 0, *made], []
    for number, turn in enumerate(made):
        newest = padded[number : number + 3][::-1]
        times = [at * 170 % 65536 for at in (number + 9, number + 8, number + 7)]
        match kind.__name__:
            case "Timed":
                timed = zip(newest, times, strict=True)
                one = b"".join(bytes([turn, *ms.to_bytes(2)]) for turn, ms in timed)
            case "Bare":
                one = bytes([turn])
            case _:
                one = bytes([number % 256, *newest[: kind.history]])
        found.append((one, [turn]))
    return found


GIVEN = "test_packets_tell_the_turns_that_are_given_with_them"
REPEATS = "test_repeated_packets_tell_nothing_twice"
LOST = "test_what_is_lost_is_recovered_in_order_or_a_gap"
KINDS = (Numbered, Timed, Unnumbered, Lone)


def outcomes(decoder: type[Numbered], packets: Sequence[Any]) -> dict[str, str]:
    """What three tests say: nothing if they pass, else why they fail or cannot be made."""
    made, found = decoder_tests(decoder, packets=packets), {}
    for name in (GIVEN, REPEATS, LOST):
        try:
            getattr(made(), name)()
        except AssertionError as error:
            found[name] = f"failed: {error}"
        except SkipTest as error:
            found[name] = f"open: {error}"
    return found


def failing(decoder: type[Numbered], packets: Sequence[Any]) -> list[str]:
    found = outcomes(decoder, packets)
    return [name for name, why in found.items() if why.startswith("failed")]


@pytest.mark.parametrize("kind", part_of(KINDS))
def test_examples_alone_find_nothing_in_a_sound_decoder(kind: type[Numbered]) -> None:
    packets = examples(kind)
    assert outcomes(kind, packets) == {}
    assert outcomes(kind, [(data, turns_text(turns)) for data, turns in packets]) == {}
    assert [*outcomes(kind, [data for data, _ in packets])] == [GIVEN]


@pytest.mark.parametrize("kind", part_of(KINDS, 4))
@pytest.mark.parametrize(
    ("fault", "test"),
    [
        (ReversingHistory, LOST),
        (TellingRepeats, REPEATS),
        (TellingLateRepeats, REPEATS),
        (SwappingDirections, GIVEN),
        (LeavingOutGaps, LOST),
        (MiscountingGaps, LOST),
    ],
)
def test_examples_alone_find_a_fault(
    kind: type[Numbered], fault: type[Numbered], test: str
) -> None:
    """Before, most of these passed unless numbers were reported."""
    is_none = (kind, fault) in (
        (Lone, ReversingHistory),  # nothing to reverse
        (Timed, TellingLateRepeats),  # an old packet has only old turns
    )
    packets = examples(kind)
    assert (test in failing(with_fault(fault, kind), packets)) is not is_none
    bare = [data for data, _ in packets]
    assert (test in failing(with_fault(fault, kind), bare)) is not (is_none or test == GIVEN)


def test_a_long_history_hid_gaps_that_were_left_out() -> None:
    """Losses of up to three packets never went beyond a history of eight turns."""

    class Long(Unnumbered):
        history: ClassVar[int] = 8

    made = [turn for _, (turn,) in examples(Bare)]
    padded = [0] * 7 + made
    packets = [(bytes([n % 256, *padded[n : n + 8][::-1]]), [turn]) for n, turn in enumerate(made)]
    assert outcomes(Long, packets) == {}
    assert failing(with_fault(LeavingOutGaps, Long), packets) == [LOST]
    assert failing(with_fault(ReversingHistory, Long), packets) == [LOST]


def test_attitudes_between_the_turns_hid_gaps_that_were_left_out() -> None:
    """Most of the packets that were lost in a row reported no turns."""

    class Swinging(Unnumbered):
        history: ClassVar[int] = 4

        def received(self, characteristic: str, data: bytes) -> Decoded:
            if data == b"swing":
                return Decoded((AttitudeReport((1.0, 0.0, 0.0, 0.0)),))
            return super().received(characteristic, data)

    made = [turn for _, (turn,) in examples(Bare)][:100]
    padded, packets = [0] * 3 + made, list[tuple[bytes, list[int]]]()
    for n, turn in enumerate(made):
        packets += [(bytes([n, *padded[n : n + 4][::-1]]), [turn]), (b"swing", []), (b"swing", [])]
    assert [*outcomes(Swinging, packets)] == [REPEATS]  # no turn comes twice in a row
    assert failing(with_fault(LeavingOutGaps, Swinging), packets) == [LOST]


def test_the_kit_says_what_packets_cannot_show() -> None:
    """Of a code alone, neither repeats nor losses can be known; before, these tests just passed."""
    found = outcomes(Bare, examples(Bare))
    assert [*found] == [REPEATS, LOST]
    assert "one packet comes twice in a row for two turns" in found[REPEATS]
    assert "neither reports nor packets number the turns" in found[LOST]
    found = outcomes(Bare, examples(Bare, again=False))
    assert "no turn comes twice in a row" in found[REPEATS]
    assert failing(with_fault(SwappingDirections, Bare), examples(Bare)) == [GIVEN]


def test_two_turns_told_as_one_by_positions_are_right() -> None:
    """A decoder that sees positions only tells U2 if the packet between two U was lost."""

    class Positions(Numbered):
        position: bytes | None = None

        def received(self, characteristic: str, data: bytes) -> Decoded:
            if characteristic not in self.notify or len(data) != 20:
                return Decoded((BadPacket("no position", data),))
            before, self.position = self.position, data
            tables = enumerate(TURN_BYTES)
            found = [turn for turn, table in tables if before and before.translate(table) == data]
            if found or before == data:
                return Decoded(tuple(TurnReport(turn, None, None) for turn in found))
            lost = (GapReport(None),) if before else ()
            return Decoded((*lost, StateReport(data, None, None)))

    position = SOLVED.tobytes()
    packets: list[tuple[bytes, list[int]]] = [(position, [])]
    for _, turns in examples(Bare):
        position = position.translate(TURN_BYTES[turns[0]])
        packets.append((position, turns))
    assert outcomes(Positions, packets) == {}


def test_a_decoder_needs_something_to_be_tried_with() -> None:
    with pytest.raises(ValueError, match="a simulated cube, or some good packets"):
        decoder_tests(TurnwireDecoder)


HEARD = {
    "test_a_restart_of_the_cube_does_not_silence_it": (306, "c6f11a05"),
    "test_after_nonsense_it_finds_its_way_back": (8870, "b2f97917"),
    "test_changed_packets": (18886, "85cf337c"),
    "test_good_packets_give_turns": (833, "78e4e42c"),
    "test_it_claims_its_cube": (0, "e3b0c442"),
    "test_it_describes_itself_and_claims_no_stranger": (0, "e3b0c442"),
    "test_lost_packets_leave_no_wrong_position": (1616, "b628fbea"),
    "test_memory_is_bounded": (25044, "fbdffa59"),
    "test_on_a_good_radio_every_turn_is_told_once_and_at_once": (418, "383d2ebd"),
    "test_packets_of_another_characteristic": (1, "f6c7025c"),
    "test_packets_tell_the_turns_that_are_given_with_them": (0, "e3b0c442"),
    "test_repeated_packets_tell_nothing_twice": (2912, "de82a486"),
    "test_what_is_lost_is_recovered_in_order_or_a_gap": (3358, "887ef906"),
    "test_random_packets": (6889, "563ab05a"),
    "test_reordered_packets": (3382, "57044446"),
    "test_repeated_packets": (7126, "ba1ded95"),
    "test_repeats_are_dropped": (1246, "a4a5916c"),
    "test_the_clock_may_wrap": (329, "50f802b1"),
    "test_the_same_packets_mean_the_same": (6081, "894b6d3f"),
    "test_truncated_packets": (4342, "3593d25b"),
    "test_turns_are_told_in_order": (422, "3508e265"),
}
"""How many packets each test gives to a decoder, and a digest of them."""


class Listening(Sound):
    """Adds everything that it hears to a digest, one after the other in all its lives."""

    count: ClassVar[int] = 0
    heard: ClassVar[Any] = sha256()

    def connected(self) -> tuple[Write, ...]:
        self._note(b"connected")
        return super().connected()

    def received(self, characteristic: str, data: bytes) -> Decoded:
        self._note(characteristic.encode() + bytes(data))
        return super().received(characteristic, data)

    def _note(self, heard: bytes) -> None:
        type(self).count += 1
        self.heard.update(b"%d " % len(heard) + heard)


def heard_in(name: str) -> tuple[int, str]:
    """How many packets come in a test, and a digest of them."""
    Listening.count, Listening.heard = 0, sha256()
    try:
        getattr(decoder_tests(Listening, TurnwireCube)(), name)()
    except SkipTest:
        pytest.fail("of turnwire nothing is open")
    return Listening.count, Listening.heard.hexdigest()[:8]


@pytest.mark.parametrize("name", part_of(HEARD, 4))
def test_each_test_tries_what_it_tried(name: str) -> None:
    """Decoders elsewhere are held against the same packets as before."""
    assert heard_in(name) == HEARD[name]
    assert not tracemalloc.is_tracing()  # all that is done later would be slower


def test_no_test_of_conformance_is_left_out_here() -> None:
    made = dir(decoder_tests(Listening, TurnwireCube))
    assert {name for name in made if name.startswith("test_")} == {*HEARD}


@pytest.mark.parametrize("attack", ATTACKS)
def test_what_attacks_make_of_good_packets(attack: str) -> None:
    good = [bytes([n] * (n % 5)) for n in range(100)]
    hostile = ATTACKS[attack](good, random.Random(4))
    assert hostile == ATTACKS[attack](good, random.Random(4))
    match attack:
        case "truncated":
            assert hostile == [p[:n] for p in good[:60] for n in range(len(p))]
        case "noise":
            assert len(hostile) == 2001
            assert hostile[-1] == bytes(512)
            assert {len(p) for p in hostile[:-1]} == set(range(40))
        case "repeated":
            assert Counter(hostile) == {p: 5 * n for p, n in Counter(good).items()}
            assert hostile[:4] == [good[0]] * 3 + [good[1]]
        case "reordered":
            assert Counter(hostile[:100]) == Counter(good)
            assert hostile[:100] != good
            assert hostile[100:] == good[::-1]
        case "changed":
            assert len(hostile) == 6000
            differ = Counter(min(sum(a != b for a, b in zip(p, q, strict=True))
                                 for q in good if len(q) == len(p)) for p in hostile)  # fmt: skip
            assert set(differ) == {0, 1, 2, 3}


def test_a_half_turn_is_the_same_face_twice() -> None:
    assert faces_turned([0, 1, 5, 16]) == [0, 0, 0, 1, 5, 5]


def test_one_hostile_packet_is_one_of_four_kinds() -> None:
    rng = random.Random(8)
    good = [bytes(range(n, n + 12)) for n in range(0, 200, 12)]
    kinds: Counter[str] = Counter()
    for _ in range(2000):
        data = one_hostile(good, rng)
        if data in good:
            kinds["good"] += 1
        elif any(data == p[: len(data)] for p in good):
            kinds["cut"] += 1
        elif len(data) == 12 and any(
            sum(a != b for a, b in zip(data, p, strict=True)) <= 3 for p in good
        ):
            kinds["changed"] += 1
        else:
            kinds["random"] += 1
    # A quarter of each; a change may be none.
    assert all(400 < count < 620 for count in kinds.values())
    assert len(kinds) == 4


POSITION = SOLVED.tobytes()
TWISTED = bytes([*POSITION[:1], *POSITION[2:3], *POSITION[1:2], *POSITION[3:]])


@pytest.mark.parametrize(
    ("report", "right"),
    [
        (TurnReport(0, 0, 0), True), (TurnReport(17, None, None), True),
        (TurnReport(18, 0, 0), False), (TurnReport(-1, 0, 0), False),
        (TurnReport(3, -1, 0), False), (TurnReport(3, 0, -1), False),
        (TurnReport(3, 0, 1000), True), (TurnReport(3, 0, 1001), False),
        (StateReport(POSITION, 0, 1000), True), (StateReport(POSITION, -1, 5), False),
        (StateReport(POSITION, 0, 1001), False), (StateReport(POSITION[:19], 0, 5), False),
        (StateReport(bytes([54, *POSITION[1:]]), 0, 5), False),
        (StateReport(bytes([*POSITION[:19], POSITION[18]]), 0, 5), False),
        (StateReport(TWISTED, 0, 5), False),
        (BatteryReport(0), True), (BatteryReport(100), True),
        (BatteryReport(-1), False), (BatteryReport(101), False),
        (GapReport(None), True), (GapReport(1), True), (GapReport(0), False),
        (BadPacket("why", b""), True), (BadPacket("", b""), False),
        (AttitudeReport((0.0, 0.1, 0.0, 9.0)), True), (AttitudeReport((0.0,) * 4), False),
        (AttitudeReport((1.0, 0.0, 0.0, float("nan"))), False),
    ],
)  # fmt: skip
def test_values_out_of_range_are_found(report: Report, right: bool) -> None:
    class Timed(Sound):
        clock_wrap_ms: ClassVar[float | None] = 1000

    if right:
        look_at(Timed(), Decoded((report,)))
    else:
        with pytest.raises(AssertionError):
            look_at(Timed(), Decoded((report,)))
    if getattr(report, "cube_ms", None) is not None:
        with pytest.raises(AssertionError):
            look_at(Timeless(), Decoded((report,)))


def test_a_follower_adds_up_what_it_is_told() -> None:
    follower = Follower()
    for report in (TurnReport(0, 7, 1), GapReport(2), TurnReport(4, 9, 1), GapReport(3)):
        follower.take(report)
    assert (follower.turns, follower.seqs, follower.lost) == ([0, 4], [7, 9], 5)
    assert follower.position is None
    follower.take(StateReport(POSITION, 9, 1))
    follower.take(TurnReport(0, 10, 1))
    assert follower.position == apply_turns(SOLVED, [0]).tobytes()
    follower.take(GapReport(None))
    follower.take(GapReport(1))
    assert follower.lost is None
