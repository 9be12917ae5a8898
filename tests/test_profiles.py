"""Profiles: the reports of their decoder."""

from __future__ import annotations

import functools
import tomllib
from dataclasses import replace
from importlib.metadata import EntryPoint, EntryPoints
from typing import TYPE_CHECKING, Any

import pytest
from examples import examples
from hypothesis import given
from hypothesis import strategies as st
from profile_texts import EVENTS, NAMES, PLAIN, PROFILES, ROOT, TEXTS

from livecube.conformance import decoder_tests
from livecube.cube.geometry import sticker_cycle
from livecube.cube.notation import facelets_text, parse_facelets, parse_turns
from livecube.cube.position import SOLVED, apply_turns, parse_turn
from livecube.decoding import Advertisement, Write
from livecube.edges.log_files import LogReader
from livecube.errors import PositionError, ProfileError, UsageError
from livecube.events import (
    BadPacket,
    BatteryReport,
    GapReport,
    Packet,
    Report,
    StateReport,
    TurnReport,
)
from livecube.profiles.building import WrongError, built
from livecube.profiles.checks import Check, crc
from livecube.profiles.decoder import BEHIND, RETRY_AFTER, decoder_class
from livecube.profiles.fields import Entries, Field
from livecube.profiles.parsing import parse_profile
from livecube.profiles.states import PieceCode
from livecube.profiles.transforms import GROUP
from livecube.profiles.values import Claim
from livecube.profiles.writing import profile_text
from livecube.virtual.profile_cube import ProfileCube

if TYPE_CHECKING:
    from livecube.profiles.fields import Order

TestSkerry = decoder_tests(
    decoder_class(PROFILES["skerry"]), functools.partial(ProfileCube, PROFILES["skerry"])
)
TestCairn = pytest.mark.thorough(
    decoder_tests(
        decoder_class(PROFILES["cairn"]), functools.partial(ProfileCube, PROFILES["cairn"])
    )
)


def told(text: str, *packets: str) -> list[Report]:
    decoder = decoder_class(parse_profile(text, "test.toml"))()
    return [
        report
        for packet in packets
        for report in decoder.received(EVENTS, bytes.fromhex(packet)).reports
    ]


U, R_, F2 = (parse_turn(name) for name in ("U", "R'", "F2"))


# Bytes written by hand.


def test_turns_are_told_with_number_and_time() -> None:
    reports = told(PLAIN, "1 064 01 00".replace(" ", ""), "20c80201")
    assert reports == [TurnReport(U, 1, 1000), TurnReport(R_, 2, 2000)]


def test_a_lost_packet_is_read_from_the_list_of_the_next_one() -> None:
    reports = told(PLAIN, "10640100", "30c80302")
    assert reports == [TurnReport(U, 1, 1000), TurnReport(R_, 2, 1500), TurnReport(F2, 3, 2000)]


def test_what_the_list_does_not_hold_is_a_gap() -> None:
    reports = told(PLAIN, "10640100", "50c80302")
    assert reports[1:] == [GapReport(2), TurnReport(R_, 4, 2000), TurnReport(F2, 5, 2000)]


def test_repeats_and_stragglers_are_dropped_and_a_new_count_is_a_gap() -> None:
    straggler = "0fff0100"
    assert told(PLAIN, "10640100", "10640100", *[straggler] * (BEHIND - 1)) == [
        TurnReport(U, 1, 1000)
    ]
    reports = told(PLAIN, "10640100", *[straggler] * BEHIND)
    assert reports[1:] == [GapReport(None), TurnReport(U, 0, 40950)]


@pytest.mark.parametrize(
    ("packet", "reason"),
    [("106409", "no packet"), ("1064010000", "no packet"), ("10640900", "code 9 is no turn")],
)
def test_what_makes_no_sense_is_a_bad_packet(packet: str, reason: str) -> None:
    (report,) = told(PLAIN, packet)
    assert isinstance(report, BadPacket)
    assert report.reason.startswith(reason)


def test_fields_lie_where_the_orders_have_them() -> None:
    data = bytes([0x12, 0x34, 0x56])
    assert Field(0, 16, "big").read(data) == 0x1234
    assert Field(0, 16, "little").read(data) == 0x3412
    assert Field(4, 8, "big").read(data) == 0x23
    assert Field(4, 8, "little").read(data) == 0x41
    assert Field(5, 3, "big").read(data) == 0b010
    assert Field(15, 2, "little").read(data) == 0b00
    assert Field(14, 3, "big").read(data) == 0b000


@given(st.integers(0, 60), st.integers(1, 32), st.sampled_from(["little", "big"]), st.data())
def test_fields_are_read_as_they_are_written(
    start: int, bits: int, order: Any, data: st.DataObject
) -> None:
    field = Field(start, bits, order)
    value = data.draw(st.integers(0, field.values - 1))
    packet = bytearray(12)
    field.write(packet, value)
    assert field.read(bytes(packet)) == value
    assert sum(byte.bit_count() for byte in packet) == value.bit_count()


@pytest.mark.parametrize(
    ("width", "polynomial", "initial", "turned", "final", "expected"),
    [  # the check values of "123456789" that the published catalogues of parameters give
        (8, 0x07, 0x00, False, 0x00, 0xF4),
        (8, 0x31, 0x00, True, 0x00, 0xA1),
        (16, 0x1021, 0xFFFF, False, 0x0000, 0x29B1),
        (16, 0x1021, 0x0000, True, 0x0000, 0x2189),
        (16, 0x8005, 0xFFFF, True, 0x0000, 0x4B37),
        (16, 0x1021, 0xFFFF, True, 0xFFFF, 0x906E),
    ],
)
def test_published_check_values(
    width: int, polynomial: int, initial: int, turned: bool, final: int, expected: int
) -> None:
    found = crc(b"123456789", width, polynomial, initial, reflect_in=turned, reflect_out=turned)
    assert found ^ final == expected
    if not turned:
        assert crc(b"123456789", width, polynomial, initial) == found


# Positions.


def test_a_solved_cube_by_pieces_is_all_in_order() -> None:
    code = PROFILES["skerry"].state
    assert code is not None
    assert code.rows(SOLVED.tobytes()) == [[*range(8)], [0] * 8, [*range(12)], [0] * 12]


def test_a_turn_by_pieces_is_as_seen_on_a_cube() -> None:
    """After F the corner of UFL is at UFR, with its U sticker on the right."""
    code = PROFILES["skerry"].state
    assert isinstance(code, PieceCode)
    corners, twists, edges, flips = code.rows(apply_turns(SOLVED, [parse_turn("F")]).tobytes())
    assert corners == [1, 5, 2, 3, 0, 4, 6, 7]
    assert twists == [1, 2, 0, 0, 2, 1, 0, 0]
    assert edges[:5] == [9, 1, 2, 3, 8]
    assert sum(flips) == 4


@pytest.mark.parametrize("name", NAMES)
@given(turns=st.lists(st.integers(0, 17), max_size=40))
def test_positions_are_read_as_they_are_written(name: str, turns: list[int]) -> None:
    code = PROFILES[name].state
    assert code is not None
    position = apply_turns(SOLVED, turns).tobytes()
    assert code.position(code.rows(position)) == position


@examples(30)
@given(st.lists(st.integers(0, 17), max_size=30), st.data())
def test_stickers_are_judged_as_facelets_are(turns: list[int], data: st.DataObject) -> None:
    code = PROFILES["cairn"].state
    assert code is not None
    (row,) = code.rows(apply_turns(SOLVED, turns).tobytes())
    for _ in range(data.draw(st.integers(0, 2))):
        i, j = data.draw(st.integers(0, 47)), data.draw(st.integers(0, 47))
        row[i], row[j] = row[j], row[i]
    letters = dict(zip((0, 4, 2, 1, 5, 3), "ULFRBD", strict=True))
    shown = ["ULFRBD"[f // 9] for f in range(54)]
    for facelet, colour in zip(code.facelets, row, strict=True):  # type: ignore[union-attr]
        shown[facelet] = letters[colour]
    try:
        expected: bytes | None = parse_facelets("".join(shown)).tobytes()
    except PositionError:
        expected = None
    try:
        found: bytes | None = code.position([row])
    except PositionError:
        found = None
    assert found == expected


@pytest.mark.parametrize("name", ["cairn", "skerry"])
def test_a_position_that_no_turns_lead_to_is_refused(name: str) -> None:
    code = PROFILES[name].state
    assert code is not None
    whole = SOLVED.tobytes()
    assert code.position(code.rows(whole)) == whole
    for pieces in ([0], [19], [0, 1], [18, 19]):  # a twist, a flip, two pieces that swap
        spoilt = bytearray(whole)
        if len(pieces) == 1:
            (piece,) = pieces
            spoilt[piece] = sticker_cycle(spoilt[piece])[1]
        else:
            one, two = pieces
            spoilt[one], spoilt[two] = spoilt[two], spoilt[one]
        with pytest.raises(PositionError):
            code.position(code.rows(bytes(spoilt)))


def test_turns_follow_from_positions_and_what_no_turn_explains_is_a_gap() -> None:
    cube = ProfileCube(PROFILES["cairn"])
    decoder = decoder_class(PROFILES["cairn"])()
    packets = [packet for turn in (0, 5, 9, 9, 17) for packet in cube.turn(turn, 0)]
    reports = [r for p in packets[:2] for r in decoder.received(cube.events, p).reports]
    first = apply_turns(SOLVED, [0]).tobytes()
    assert reports == [StateReport(first, 1, None), TurnReport(5, 2, None)]
    # The first of two quarters was lost: its time is unknown.
    gap, state = decoder.received(cube.events, packets[3]).reports
    assert (gap, type(state)) == (GapReport(2), StateReport)
    decoder.received(cube.events, packets[4])
    cube.turn(0, 0)
    (last,) = cube.turn(3, 0)
    gap, state = decoder.received(cube.events, last).reports
    assert gap == GapReport(2)
    assert isinstance(state, StateReport)
    assert state.position == cube.position


def test_after_a_gap_the_position_is_asked_for_until_it_comes() -> None:
    cube, decoder = ProfileCube(PROFILES["skerry"]), decoder_class(PROFILES["skerry"])()
    packets = [packet for number in range(60) for packet in cube.turn(0, 100 * number)]
    decoder.received(cube.events, packets[0])
    answers = [decoder.received(cube.events, packet) for packet in packets[20:50]]
    asked = [number for number, answer in enumerate(answers) if answer.writes]
    assert asked == [0, RETRY_AFTER, 2 * RETRY_AFTER, 3 * RETRY_AFTER]
    (request,) = answers[0].writes
    (state,) = cube.written(request.data, 9000)
    decoded = decoder.received(cube.events, state)
    assert [type(r) for r in decoded.reports] == [GapReport, StateReport, BatteryReport]
    assert decoded.writes == ()


# Captures.


@pytest.mark.parametrize("name", NAMES)
def test_a_capture_is_decoded_to_the_turns_that_were_asked_for(name: str) -> None:
    decoder, position = decoder_class(PROFILES[name])(), SOLVED.tobytes()
    reports: list[Report] = []
    with LogReader(ROOT / f"fixtures/{name}.capture.jsonl") as log:
        for event in log:
            if isinstance(event, Packet):
                reports += decoder.received(event.char, event.data).reports
    for report in reports:
        assert not isinstance(report, BadPacket | GapReport)
        if isinstance(report, TurnReport):
            position = apply_turns(
                parse_facelets(facelets_text(_array(position))), [report.turn]
            ).tobytes()
        elif isinstance(report, StateReport):
            position = report.position
    assert position == SOLVED.tobytes()


def _array(position: bytes) -> Any:
    import numpy as np

    return np.frombuffer(position, dtype=np.uint8)


class Mirror:
    """A transform that inverts all bits, and raises if it gets none."""

    def incoming(self, characteristic: str, data: bytes) -> bytes:
        if not data:
            raise RuntimeError
        return bytes(byte ^ 0xFF for byte in data)

    outgoing = incoming


class Deaf(Mirror):
    """A transform that cannot write."""

    def outgoing(self, characteristic: str, data: bytes) -> bytes:
        raise RuntimeError


def test_a_transform_makes_packets_plain_and_its_faults_are_bad_packets(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    text = PLAIN.replace('name = "plain"', 'name = "plain"\ntransform = "mirror"')
    text = text.replace(
        "[[packet]]", f'[send]\nconnect = [{{ to = "{EVENTS}", hex = "0f" }}]\n[[packet]]'
    )
    decoder = decoder_class(parse_profile(text, "test.toml"), Mirror)()
    assert decoder.connected() == (Write(EVENTS, b"\xf0"),)
    mirrored = bytes(byte ^ 0xFF for byte in bytes.fromhex("10640100"))
    assert decoder.received(EVENTS, mirrored).reports == (TurnReport(U, 1, 1000),)
    (bad,) = decoder.received(EVENTS, b"").reports
    assert bad == BadPacket("the transform mirror fails", b"")
    deaf = decoder_class(parse_profile(text, "test.toml"), Deaf)()
    assert deaf.connected() == ()  # a write that the transform rejects is not sent
    written = profile_text(parse_profile(text, "test.toml"))
    assert parse_profile(written, "again.toml") == parse_profile(text, "test.toml")
    for names, known in ((), "none"), (("b", "a"), "a, b"):
        own = EntryPoints(EntryPoint(name, "test_profiles:Mirror", GROUP) for name in names)
        monkeypatch.setattr(
            "livecube.profiles.transforms.installed", {GROUP: own.select(group=GROUP)}.__getitem__
        )
        with pytest.raises(UsageError) as refused:
            decoder_class(parse_profile(text, "test.toml"))
        assert str(refused.value) == f"no transform is called 'mirror'; installed: {known}"


def test_a_claim_fits_what_has_all_that_it_names() -> None:
    company, other = 0x1234, 0x4321
    seen = Advertisement("Skerry 12", ("one", "two"), ((company, b"\x01"),))
    assert not Claim().fits(seen)  # it names nothing
    fitting = [
        Claim(name="Skerry"),
        Claim(service="two"),
        Claim(manufacturer=company),
        Claim("Sk", "one", company),
    ]
    assert all(claim.fits(seen) for claim in fitting)
    wrong = [Claim("kerry"), Claim("Sk", "three"), Claim("Sk", "one", other), Claim("X", "one")]
    assert not any(claim.fits(seen) for claim in wrong)
    nameless = Advertisement(None, ("one",), ())
    assert Claim(service="one").fits(nameless)
    assert not Claim(name="S").fits(nameless)


SUM = 'kind = "sum", at = 3, bits = 8'
CRC = 'kind = "crc", at = 3, bits = 8, polynomial = 0x07'


@pytest.mark.parametrize(
    ("line", "check"),
    [
        (SUM, Check("sum", Field(24, 8, "big"), 0, 3)),
        (SUM + ", first = 1, last = 3", Check("sum", Field(24, 8, "big"), 1, 3)),
        (SUM + ", first = 2", Check("sum", Field(24, 8, "big"), 2, 3)),
        (SUM + ", initial = 255, final = 1", Check("sum", Field(24, 8, "big"), 0, 3, 0, 255,
                                                   final=1)),
        ('kind = "xor", at = 0, bits = 8, first = 1, last = 4', Check("xor", Field(0, 8, "big"),
                                                                      1, 4)),
        (CRC + ", initial = 9", Check("crc", Field(24, 8, "big"), 0, 3, 7, 9)),
        (CRC + ", reflect_in = true", Check("crc", Field(24, 8, "big"), 0, 3, 7, reflect_in=True)),
    ],
)  # fmt: skip
def test_a_check_covers_all_before_it_if_nothing_else_is_said(line: str, check: Check) -> None:
    (layout,) = parse_profile(PLAIN + f"check = {{ {line} }}\n", "test.toml").layouts
    assert layout.check == check
    assert check.behind == 0


@pytest.mark.parametrize(
    ("line", "said"),
    [
        (f"check = {{ {SUM}, first = 3 }}", "none, or too many"),
        (f"check = {{ {SUM}, last = 5 }}", "none, or too many"),
        (f"check = {{ {SUM}, last = 4 }}", "covers itself"),
        ('check = { kind = "xor", at = 0, bits = 8, last = 4 }', "covers itself"),
        (f"check = {{ {SUM}, initial = 256 }}", "which 8 bits cannot hold"),
        (f"check = {{ {SUM}, final = 256 }}", "which 8 bits cannot hold"),
        (f"check = {{ {SUM}, polynomial = 7 }}", "only then"),
        ('check = { kind = "xor", at = -2, bits = 8 }', "must end the packet: at = -1"),
        ('check = { kind = "xor", at = -1, bits = 8, last = 3 }', "must end the packet: at = -1"),
        ('check = { kind = "xor", at = -1, bits = 8, first = 3 }', "covers nothing in 4 bytes"),
        ('check = { kind = "xor", at = -2, bits = 16 }', "stands in the check value"),
        ('mask = "01 02 03 04 05"', "is longer than the 4 bytes"),
        ("longest = 3", "is less than length"),
        ("battery = { at = 3, bit = 1, bits = 8 }", "lies beyond the 4 bytes"),
        ("match = [{ at = 3, bits = 8, value = 256 }]", "which 8 bits cannot hold"),
    ],
)
def test_a_packet_that_makes_no_sense_is_refused(line: str, said: str) -> None:
    with pytest.raises(ProfileError, match=said):
        parse_profile(PLAIN + line + "\n", "test.toml")


def test_a_turn_does_not_stand_in_the_check_value_of_the_shortest_packet() -> None:
    lines = 'longest = 5\ncheck = { kind = "xor", at = -1, bits = 8 }\n'
    (layout,) = parse_profile(PLAIN + lines, "test.toml").layouts  # it ends just before that
    assert layout.check is not None
    assert layout.check.behind == 1
    later = PLAIN.replace("at = 2, bits = 8, count = 2, stride = 8", "at = 3, bits = 8")
    with pytest.raises(ProfileError, match="stands in the check value"):
        parse_profile(later + lines, "test.toml")


def test_a_packet_may_be_as_long_as_it_says_and_hold_fields_to_its_end() -> None:
    lines = "battery = { at = 3, bits = 8 }\nmatch = [{ at = 3, bit = 7, bits = 1, value = 1 }]\n"
    (layout,) = parse_profile(PLAIN + lines + "longest = 4\n", "test.toml").layouts
    assert (layout.shortest, layout.longest) == (4, 4)
    assert layout.battery == Field(24, 8, "big")
    assert layout.match == ((Field(31, 1, "big"), 1),)
    (layout,) = parse_profile(PLAIN + "longest = 5\n", "test.toml").layouts
    assert (layout.shortest, layout.longest, layout.battery) == (4, 5, None)


def test_a_packet_that_comes_again_told_an_old_turn_after_connecting() -> None:
    """It is sent at rest, too: the first one is no turn, and neither is one with its number."""
    text = PLAIN + "again = true\n"
    profile = parse_profile(text, "test.toml")
    assert parse_profile(profile_text(profile), "again.toml") == profile
    turns = [r for r in told(text, "70000100", "70100100", "80200201") if isinstance(r, TurnReport)]
    assert [(turn.turn, turn.seq) for turn in turns] == [(R_, 8)]
    assert len(told(PLAIN, "70000100")) == 1
    unnumbered = text.replace("counter", "battery").replace(", count = 2, stride = 8", "")
    assert len(told(unnumbered, "70000100", "70000100", "70100100")) == 1 + 1  # charge and turn
    with pytest.raises(ProfileError, match="needs a counter or a clock"):
        parse_profile(unnumbered.replace("clock = {", "match = [{ value = 0,").replace(
            "bits = 12 }", "bits = 12 }]"), "test.toml")  # fmt: skip


VARYING = PLAIN.replace("length = 4", "length = 4\nlongest = 9").replace("count = 2", "count = 6")


@pytest.mark.parametrize("check", ["", 'check = { kind = "xor", at = -1, bits = 8, first = 1 }\n'])
def test_a_list_as_long_as_its_packet_told_only_the_turns_of_the_shortest(check: str) -> None:
    """Five of six turns were lost, though the packet that came had all of them."""
    profile = parse_profile(VARYING + check, "test.toml")
    assert parse_profile(profile_text(profile), "again.toml") == profile
    decoder, cube = decoder_class(profile)(), ProfileCube(profile)
    made = [0, 11, 7, 0, 0, 11, 7]
    packets = [data for turn in made for data in cube.turn(turn, 100)]
    lengths = [5, 6, 7, 8, 9] if check else [4, 5, 6, 7, 8]
    assert [len(data) for data in packets[1:6]] == lengths
    told = []
    for data in (packets[0], packets[4 if check else 5], packets[6]):
        told += [r for r in decoder.received(EVENTS, data).reports if isinstance(r, TurnReport)]
    assert [report.turn for report in told] == made
    assert [report.seq for report in told] == [*range(1, 8)]
    for data in packets:
        changed = bytes([*data[:-1], data[-1] ^ 5])
        (bad,) = decoder.received(EVENTS, changed).reports if check else (BadPacket("", b""),)
        assert isinstance(bad, BadPacket)


def test_a_mask_is_taken_off_before_anything_is_read() -> None:
    lines = 'mask = "5a0F 01"\nmatch = [{ at = 3, bits = 8, value = 0 }]\n'
    profile = parse_profile(PLAIN + lines, "test.toml")
    assert parse_profile(profile_text(profile), "again.toml") == profile
    decoder, cube = decoder_class(profile)(), ProfileCube(profile)
    (first,) = cube.turn(0, 1000)
    assert first == bytes([0x10 ^ 0x5A, 0x64 ^ 0x0F, 0x01 ^ 0x01, 0])
    assert decoder.received(EVENTS, first).reports == (TurnReport(U, 1, 1000),)
    (bad,) = decoder.received(EVENTS, bytes([*first[:3], 1])).reports
    assert bad == BadPacket("no packet of this profile", bytes([*first[:3], 1]))


def test_places_have_their_own_order_and_names_or_those_of_the_pieces() -> None:
    text = TEXTS["skerry"]
    state = parse_profile(text, "one.toml").state
    assert isinstance(state, PieceCode)
    assert state.corners.places == state.corners.pieces
    places = ("RUF", *state.corners.pieces[:0:-1])
    turned = text.replace("says =", f"corner_places = {[*places]}\nsays =")
    other = parse_profile(turned, "one.toml").state
    assert isinstance(other, PieceCode)
    assert (other.corners.pieces, other.corners.places) == (state.corners.pieces, places)
    assert other.edges == state.edges
    table = tomllib.loads(text)
    table["pieces"]["edges"][3] = "UF"
    with pytest.raises(WrongError, match=r"^names UF twice$") as wrong:
        built(table)
    assert wrong.value.path == ("pieces", "edges", 3)


def test_a_position_is_sent_as_its_table_says() -> None:
    """By pieces in four rows, or by stickers in one."""
    pieces, stickers = (tomllib.loads(TEXTS[name]) for name in ("skerry", "cairn"))
    words = (
        r"^must have corners, twists, edges, flips with a table \[pieces\], or stickers with a "
        r"table \[stickers\]$"
    )
    rows = ("corners", "twists", "edges", "flips")
    one, at = next((p, n) for n, p in enumerate(pieces["packet"]) if "corners" in p)
    other, behind = next((p, n) for n, p in enumerate(stickers["packet"]) if "stickers" in p)
    for table, index, own, foreign in (
        (pieces, at, one, other), (stickers, behind, other, one)
    ):  # fmt: skip
        assert built(table).layouts[index].state
        kept = {key: own[key] for key in (*rows, "stickers") if key in own}
        for wrong in (
            {key: foreign[key] for key in (*rows, "stickers") if key in foreign},
            kept | {key: foreign[key] for key in (*rows, "stickers") if key in foreign},
            {key: kept[key] for key in [*kept][1:]} or {"corners": foreign["corners"]},
        ):
            changed = {key: value for key, value in own.items() if key not in kept} | wrong
            packets = [*table["packet"][:index], changed, *table["packet"][index + 1 :]]
            with pytest.raises(WrongError, match=words) as error:
                built(table | {"packet": packets})
            assert error.value.path == ("packet", index)
        bare = {key: value for key, value in table.items() if key not in ("pieces", "stickers")}
        with pytest.raises(WrongError, match=words):
            built(bare)


@pytest.mark.parametrize(
    ("first", "last", "words"),
    [
        (0, 40, None), (39, 40, None), (0, None, None), (41, 45, None), (41, 50, None),
        (0, 41, "covers itself"), (40, 41, "covers itself"), (40, 45, "covers itself"),
        (40, None, "covers the bytes from 40 to before 40: none, or too many"),
        (41, 51, "covers the bytes from 41 to before 51: none, or too many"),
    ],
)  # fmt: skip
def test_a_check_value_covers_bytes_before_it_or_behind_it(
    first: int, last: int | None, words: str | None
) -> None:
    table = tomllib.loads(PLAIN)
    check = {"kind": "sum", "at": 40, "bits": 8, "first": first}
    check |= {} if last is None else {"last": last}
    (packet,) = table["packet"]
    changed = table | {"packet": [packet | {"length": 50, "check": check}]}
    if words is None:
        own = built(changed).layouts[0].check
        assert own == Check("sum", Field(320, 8, "big"), first, last or 40)
    else:
        with pytest.raises(WrongError, match=f"^{words}$"):
            built(changed)


@pytest.mark.parametrize(
    ("check", "first", "words"),
    [
        ({"at": -1, "bits": 8}, 0, None), ({"at": -2, "bits": 16}, 0, None),
        ({"at": -1, "bits": 8, "first": 1}, 1, None), ({"at": -1, "bits": 8, "first": 8}, 8, None),
        ({"at": -2, "bits": 16, "first": 7}, 7, None),
        ({"at": -1, "bits": 8, "first": 9}, 9, "covers nothing in 10 bytes"),
        ({"at": -2, "bits": 16, "first": 8}, 8, "covers nothing in 10 bytes"),
        ({"at": -2, "bits": 8}, 0, "must end the packet: at = -1, and no last"),
        ({"at": -2, "bits": 16, "last": 7}, 0, "must end the packet: at = -2, and no last"),
    ],
)  # fmt: skip
def test_a_check_value_may_end_the_packet(
    check: dict[str, int], first: int, words: str | None
) -> None:
    table = tomllib.loads(PLAIN)
    (packet,) = table["packet"]
    changed = table | {"packet": [packet | {"length": 10, "check": {"kind": "xor"} | check}]}
    if words is None:
        own = built(changed).layouts[0].check
        assert own == Check("xor", Field(0, check["bits"], "big"), first, check["at"])
    else:
        with pytest.raises(WrongError, match=f"^{words}$"):
            built(changed)


def test_without_a_first_byte_all_bytes_before_a_check_value_are_covered() -> None:
    table = tomllib.loads(PLAIN)
    (packet,) = table["packet"]
    check = {"kind": "xor", "at": 8, "bits": 8, "order": "little"}
    own = built(table | {"packet": [packet | {"length": 10, "check": check}]}).layouts[0].check
    assert own == Check("xor", Field(64, 8), 0, 8)


INSIDE = "lies beyond the 4 bytes of the packet"


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"longest": 4}, None), ({"longest": 3}, "is less than length"),
        ({"mask": "01020304"}, None),
        ({"mask": "0102030405"}, "is longer than the 4 bytes of the packet"),
        ({"mask": "0102030405", "longest": 5}, None),
        ({"match": [{"at": 3, "bits": 2, "value": 3}]}, None),
        ({"match": [{"at": 3, "bits": 2, "value": 4}]},
         "has the value 4, which 2 bits cannot hold"),
        ({"match": [{"at": 3, "bit": 1, "bits": 7, "value": 3}]}, None),
        ({"match": [{"at": 3, "bit": 1, "bits": 8, "value": 3}]}, INSIDE),
        ({"match": [{"at": 4, "bits": 1, "value": 1}], "longest": 9}, INSIDE),
        ({"counter": {"at": 0, "bits": 4, "wrap": 16}}, None),
        ({"counter": {"at": 0, "bits": 4, "wrap": 17}}, "is 17, more than its bits can count"),
        ({"clock": {"at": 0, "bit": 4, "bits": 12, "wrap": 4096}}, None),
        ({"clock": {"at": 0, "bit": 4, "bits": 12, "wrap": 4097}},
         "is 4097, more than its bits can count"),
        ({"turn": {"at": 2, "bits": 5, "count": 3, "stride": 5}}, None),
        ({"turn": {"at": 2, "bits": 5, "count": 3, "stride": 4}},
         "has a stride that is less than its bits"),
        ({"turn": {"at": 2, "bits": 5, "count": 1, "stride": 4}}, None),
        ({"turn": {"at": 2, "bits": 6, "count": 3, "stride": -8}}, None),
        ({"turn": {"at": 2, "bits": 6, "count": 4, "stride": -8}}, INSIDE),
        ({"turn": {"at": 2, "bits": 6, "count": 3, "stride": -5}},
         "has a stride that is less than its bits"),
        ({"again": True}, None),
        ({"battery": {"at": 3, "bits": 8}}, None), ({"battery": {"at": 4, "bits": 8}}, INSIDE),
    ],
)  # fmt: skip
def test_what_makes_no_sense_in_a_packet_is_refused_from_there_on(
    changes: dict[str, Any], words: str | None
) -> None:
    table = tomllib.loads(PLAIN)
    (packet,) = table["packet"]
    assert packet["length"] == 4
    changed = table | {"packet": [packet | changes]}
    if words is None:
        built(changed)
    else:
        with pytest.raises(WrongError, match=f"^{words}$"):
            built(changed)


def test_entries_are_read_as_far_as_the_packet_goes() -> None:
    for count in (1, 2, 3):
        row = Entries(Field(0, 8), count, 8)
        assert row.read_in(b"\1\2\3", count) == [1, 2, 3][:count]
        if count == 1:  # a field alone is read, whatever the end
            assert row.read_in(b"\1\2\3", 0) == [1]
        else:
            assert row.read_in(b"\1\2\3", count - 1) == [1, 2, 3][: count - 1]


@pytest.mark.parametrize("order", ["little", "big"])
@pytest.mark.parametrize(("start", "stride"), [(4, 16), (36, -16)])
def test_a_row_is_read_and_written_as_its_fields_are(order: Order, start: int, stride: int) -> None:
    row = Entries(Field(start, 12, order), 3, stride)
    room, numbers = bytearray(8), [0x801, 0x7FE, 0xFFF]
    row.write(room, [*numbers, 5])
    data = bytes(room)
    assert row.read(data) == [field.read(data) for field in row.fields] == numbers
    # Beyond the packet's end all bits are 0.
    within = [
        number if field.end <= 32 else 0 for number, field in zip(numbers, row.fields, strict=True)
    ]
    assert row.read(data[:4]) == within
    assert row.read(b"") == [0, 0, 0]


@pytest.mark.parametrize("twist", ["clockwise", "counterclockwise"])
def test_a_corner_has_three_twists(twist: Any) -> None:
    code = PROFILES["skerry"].state
    assert isinstance(code, PieceCode)
    code = replace(code, twist=twist)
    position = apply_turns(SOLVED, parse_turns("R U F2 L'")).tobytes()
    rows = code.rows(position)
    assert code.position(rows) == position
    rows[1][2] = 3
    with pytest.raises(PositionError, match=r"^no piece \d with twist 3$"):
        code.position(rows)


def test_what_is_sent_at_one_time_only_is_written() -> None:
    whole = PROFILES["skerry"]
    for profile in (replace(whole, on_connect=()), replace(whole, on_gap=())):
        assert profile != whole
        assert parse_profile(profile_text(profile), "one.toml") == profile


@pytest.mark.parametrize(("first_ms", "ticks", "listed"), [(1002, 4095, 3), (1001, 4096, 2)])
def test_a_turn_is_listed_if_the_time_since_it_fits_into_its_bits(
    first_ms: int, ticks: int, listed: int
) -> None:
    """Twelve bits for 1024 ticks a second, in Skerry's packets of the latest six turns."""
    cube = ProfileCube(PROFILES["skerry"])
    turns = PROFILES["skerry"].layouts[0].turns
    assert turns is not None
    assert turns.elapsed is not None
    for turn, ms in ((0, first_ms), (3, 5001), (6, 5251)):
        (packet,) = cube.turn(turn, ms)
    assert sum(code != turns.none for code in turns.codes.read(packet)) == listed
    assert turns.elapsed.read(packet)[:3] == [256, ticks if listed == 3 else 0, 0]
