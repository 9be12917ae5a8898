"""Logs: every event reads back, and torn logs are mended."""

from __future__ import annotations

import json
from datetime import datetime
from typing import TYPE_CHECKING, Final

import pytest
from examples import part_of
from hypothesis import given
from hypothesis import strategies as st

from livecube.clock import CubeClock
from livecube.cube.geometry import FACES, OPPOSITE
from livecube.cube.holding import Holding
from livecube.cube.notation import parse_turns
from livecube.cube.position import SOLVED, apply_turns, turns_text
from livecube.edges.log_files import LogReader, LogWriter
from livecube.errors import LogError, UsageError
from livecube.events import (
    DEVICE_KEYS,
    SOLVE_PHASES,
    Asked,
    Attitude,
    AttitudeReport,
    Battery,
    BatteryReport,
    ClockAccount,
    ClueAsked,
    CubeEvent,
    DeviceInfo,
    Gap,
    HeldAs,
    LinkChange,
    Packet,
    Reset,
    SolveMark,
    State,
    Turn,
)
from livecube.logs.lines import Header, event_line, header_line, parse_event, parse_header

if TYPE_CHECKING:
    from pathlib import Path

    from livecube.events import Report

HEADER: Final = Header("2026-03-01T18:20:00Z", "Würfel", "cube", "R U2 F'", "radio")
EVENTS: Final[list[CubeEvent]] = [
    State(0.0, bytes(apply_turns(SOLVED, parse_turns("R U2 F'")).tolist())),
    HeldAs(0.5, Holding.of(FACES.index("D"), FACES.index("F"))),
    SolveMark(1.0, 1, "start"),
    Turn(1.25, 0, host=7.5, seq=3),
    Turn(1.25, 17, inferred=True),
    Gap(2.0, None),
    Gap(2.0, 3, since=1.5),
    Attitude(2.25, (1.0, 0.0, -0.5, 0.5)),
    ClockAccount(2.25, 12.5, 3.25),
    ClockAccount(2.25, None, 3.25),
    Battery(2.5, 71),
    HeldAs(2.75, None),
    Packet(3.0, "ab/µ", b"\x00\xff"),
    Packet(3.0, "ab", b"", host=8.25),
    LinkChange(3.1, up=False),
    LinkChange(3.2, up=True),
    DeviceInfo(3.3, (("maker", "Würfel"), ("firmware", "1.2"))),
    Asked(3.5, (0, 4)),
    Asked(3.75, None),
    Reset(4.0),
]

seconds = st.floats(-1e6, 1e6).map(lambda t: round(t, 6))  # written to the microsecond
whole = st.integers(0, 2**63)
sequences = st.lists(st.integers(0, 17), max_size=30)
held = st.sampled_from([(u, f) for u in range(6) for f in range(6) if f not in (u, OPPOSITE[u])])
KINDS: Final[dict[str, st.SearchStrategy[CubeEvent]]] = {
    "turn": st.builds(
        Turn,
        seconds,
        st.integers(0, 17),
        host=st.none() | seconds,
        seq=st.none() | whole,
        inferred=st.booleans(),
    ),
    "state": st.builds(
        State, seconds, sequences.map(lambda s: bytes(apply_turns(SOLVED, s).tolist()))
    ),
    "gap": st.builds(Gap, seconds, st.none() | whole, since=st.none() | seconds),
    "clock": st.builds(ClockAccount, seconds, st.none() | st.floats(-1e3, 1e3), st.floats(0, 1e4)),
    "battery": st.builds(Battery, seconds, st.integers(0, 100)),
    "attitude": st.builds(
        Attitude, seconds, st.tuples(*[st.integers(-9, 9).map(float)] * 4).filter(any)
    ),
    "asked": st.builds(Asked, seconds, st.none() | sequences.map(tuple)),
    "packet": st.builds(Packet, seconds, st.text(), st.binary(max_size=40), st.none() | seconds),
    "link": st.builds(LinkChange, seconds, st.booleans()),
    "device": st.builds(
        lambda t, told: DeviceInfo(t, tuple((k, told[k]) for k in DEVICE_KEYS if k in told)),
        seconds,
        st.dictionaries(st.sampled_from(DEVICE_KEYS), st.text()),
    ),
    "solve": st.builds(SolveMark, seconds, whole, st.sampled_from(SOLVE_PHASES)),
    "holding": st.builds(lambda t, h: HeldAs(t, Holding.of(*h)), seconds, held),
    "any-holding": st.builds(HeldAs, seconds, st.none()),
    "reset": st.builds(Reset, seconds),
    "clue": st.builds(ClueAsked, seconds),
}
headers = st.builds(
    Header,
    st.just("") | st.datetimes().map(datetime.isoformat),
    st.text(),
    st.sampled_from(["cube", "host"]),
    st.none() | sequences.map(turns_text),
)


def written(*events: CubeEvent, header: Header = HEADER) -> bytes:
    """The expected bytes of a log."""
    return "".join(f"{line}\n" for line in (header_line(header), *map(event_line, events))).encode()


def read(path: Path, data: bytes | None = None) -> tuple[list[CubeEvent], bool]:
    """The events of a log, and whether it was torn."""
    if data is not None:
        path.write_bytes(data)
    with LogReader(path) as reader:
        return list(reader), reader.torn


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "log.jsonl"


# There and back.


@pytest.mark.parametrize("t", [1e11, -1e11])
def test_the_latest_and_the_earliest_time_read_back(t: float) -> None:
    assert parse_event(event_line(Reset(t))) == Reset(t)


def test_names_stand_in_a_log_as_people_write_them() -> None:
    assert '"Würfel № 2"' in header_line(Header("", "Würfel № 2", "cube"))


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_of_event_reads_back(kind: str) -> None:
    @given(KINDS[kind])
    def reads_back(event: CubeEvent) -> None:
        line = event_line(event)
        assert parse_event(line) == event
        assert "\n" not in line
        assert json.loads(line).get("mark", "turn") == kind

    reads_back()


@given(headers)
def test_header_reads_back(header: Header) -> None:
    line = header_line(header)
    assert parse_header(line) == header
    assert "\n" not in line
    assert header.position == bytes(
        apply_turns(SOLVED, parse_turns(header.scramble or "")).tolist()
    )


def test_lines_are_those_of_the_published_format() -> None:
    # The examples of the format's own description.
    assert parse_event('{"t": 12.041, "turn": "R"}') == Turn(12.041, parse_turns("R")[0])
    line = """{"t": 12.101, "turn": "U'", "host": 12.113, "seq": 41}"""
    assert parse_event(line) == Turn(12.101, parse_turns("U'")[0], host=12.113, seq=41)
    assert event_line(Turn(12.101, parse_turns("U'")[0], host=12.113, seq=41)) == line
    assert event_line(Reset(1.0)) == '{"t": 1.0, "mark": "reset"}'
    solve = '{"t": 9.1, "mark": "solve", "id": 7, "phase": "abandon"}'
    assert parse_event(solve) == SolveMark(9.1, 7, "abandon")
    holding = '{"t": 9.1, "mark": "holding", "up": "yellow", "front": "green"}'
    assert parse_event(holding) == HeldAs(9.1, Holding.of(FACES.index("D"), FACES.index("F")))
    assert event_line(HeldAs(9.1, Holding.of(5, 2))) == holding


def test_a_log_is_written_line_by_line_and_read_back(path: Path) -> None:
    with LogWriter(path, HEADER) as writer:
        for number, event in enumerate(EVENTS):
            assert path.read_bytes() == written(*EVENTS[:number])  # flushed at once
            writer.write(event)
    assert path.read_bytes() == written(*EVENTS)
    assert read(path) == (EVENTS, False)
    with LogReader(path) as reader:
        assert reader.header == HEADER


def test_other_line_ends_blank_lines_and_what_is_unknown(path: Path) -> None:
    line = b'{"mark": "lunch"}\r\n\r\n{"x": [1, {"t": NaN}]}\n\n{"t":1,"turn":"R","new":{"a":[]}}\n'
    assert read(path, written() + line) == ([Turn(1.0, parse_turns("R")[0])], False)
    header = '{"new": 1, "livecube_log": 1, "mark": "x"}\n'
    assert read(path, header.encode()) == ([], False)
    with LogReader(path) as reader:
        assert reader.header == Header("", "", "host", None)
        assert reader.header.position == bytes(SOLVED.tolist())


# Torn logs.


@pytest.mark.parametrize("number", part_of(range(len(EVENTS)), 4))
def test_a_log_cut_at_every_byte(path: Path, number: int) -> None:
    """At every byte of the header and of the first event, or of another event after the first."""
    events = EVENTS[:1] + EVENTS[1:][number - 1 : number]
    data = written(*events)
    header = data.index(b"\n")
    for cut in range(len(written(*events[:1])) if number else 0, len(data)):
        part = data[:cut]
        if cut < header:
            path.write_bytes(part)
            with pytest.raises(LogError) as caught:
                LogReader(path)
            assert (caught.value.file, caught.value.line) == (str(path), 1 if cut else 0)
            continue
        lines = part[header + 1 :].split(b"\n")
        complete = data[cut : cut + 1] == b"\n"  # only the line end is missing
        count = len(lines) if complete and cut > header else len(lines) - 1
        assert read(path, part) == (events[:count], bool(lines[-1]) and not complete)


@pytest.mark.thorough
def test_resuming_after_a_cut_at_every_byte(path: Path) -> None:
    data = written(*EVENTS[:3])
    header = data.index(b"\n")
    for cut in range(len(data)):
        path.write_bytes(data[:cut])
        before = read(path)[0] if cut >= header else []
        with LogWriter(path, HEADER, resume=True) as writer:
            writer.write(Reset(5.0))
        assert path.read_bytes() == written(*before, Reset(5.0))


def test_resuming_a_long_torn_line_and_a_new_log(path: Path) -> None:
    with LogWriter(path, HEADER, resume=True) as writer:
        writer.write(Reset(0.0))
    whole_lines = path.read_bytes()
    path.write_bytes(whole_lines + b'{"t": 1, "mark": "packet", "hex": "' + b"0" * 10_000)
    with LogWriter(path, Header("", "", "host"), resume=True):
        assert path.read_bytes() == whole_lines == written(Reset(0.0))


def test_no_file_is_overwritten(path: Path) -> None:
    path.write_bytes(b"dear diary")
    with pytest.raises(UsageError, match="exists"):
        LogWriter(path, HEADER)
    with pytest.raises(UsageError, match="cannot be written"):
        LogWriter(path / "below", HEADER)
    with pytest.raises(UsageError, match="cannot be written"):
        LogWriter(path.parent, HEADER, resume=True)
    for foreign in (b"dear diary", b'{"a": 1}\n{"b": ', b"\n", b"\xff\n"):
        path.write_bytes(foreign)
        with pytest.raises(LogError) as caught:
            LogWriter(path, HEADER, resume=True)
        assert caught.value.line == 1
        assert path.read_bytes() == foreign


@pytest.mark.parametrize("quaternion", [(0.0,) * 4, (float("nan"), 1.0, 0.0, 0.0), (1e9,) * 4])
def test_a_quaternion_that_no_reader_takes_was_written(quaternion: tuple[float, ...]) -> None:
    w, x, y, z = quaternion
    with pytest.raises(ValueError, match="is not a rotation"):
        event_line(Attitude(1.0, (w, x, y, z)))
    clock = CubeClock(None)
    reports: list[Report] = [
        AttitudeReport((w, x, y, z)),
        BatteryReport(101),
        AttitudeReport((1.0, 0, 0, 0)),
    ]
    events = clock.events(reports, 2.0)
    assert events == [Attitude(0.0, (1.0, 0, 0, 0))]


@pytest.mark.parametrize(
    ("quaternion", "written"),
    [
        ((0.5, -0.25, 0.0, 0.12344), "[0.5, -0.25, 0.0, 0.1234]"),
        ((0.0, -0.1, 0.05, 0.0), "[0.0, -0.1, 0.05, 0.0]"),
        ((0.0, -0.08, 0.04, 0.0), "[0.0, -1.0, 0.5, 0.0]"),
    ],
)
def test_only_a_small_quaternion_is_scaled(
    quaternion: tuple[float, float, float, float], written: str
) -> None:
    assert f'"quaternion": {written}' in event_line(Attitude(1.0, quaternion))


def test_nothing_was_left_of_a_very_small_quaternion() -> None:
    read = parse_event(event_line(Attitude(1.0, (2e-5, 0.0, -1e-5, 0.0))))
    assert read == Attitude(1.0, (1.0, 0.0, -0.5, 0.0))
