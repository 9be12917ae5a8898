"""The code does what turnwire.md says: the document's examples are run."""

from __future__ import annotations

import re
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from livecube_protocols.turnwire import GIVE_UP_AFTER, RETRY_AFTER, WINDOW, TurnwireDecoder
from livecube_protocols.turnwire_bytes import check_byte, decode, encode
from livecube_protocols.turnwire_cube import TurnwireCube
from livecube_protocols.turnwire_packets import (
    EVENTS,
    AgainRequest,
    BatteryPacket,
    Hello,
    HelloRequest,
    Snapshot,
    SnapshotRequest,
    TimedTurn,
    TooOld,
    Turns,
)
from livecube_protocols.turnwire_position import coordinates

from livecube.cube.notation import parse_turns
from livecube.cube.position import SOLVED, apply_turns, parse_turn, turn_name
from livecube.events import (
    AttitudeReport,
    BadPacket,
    BatteryReport,
    GapReport,
    Report,
    StateReport,
    TurnReport,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

DOCUMENT = (Path(__file__).parent.parent / "protocols/turnwire.md").read_text(encoding="utf-8")


def blocks(language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```$", DOCUMENT, re.MULTILINE | re.DOTALL)


def after(moves: str) -> bytes:
    return apply_turns(SOLVED, parse_turns(moves)).tobytes()


def fields(block: str) -> dict[str, str]:
    return dict(re.split(r"\s{2,}", line, maxsplit=1) for line in block.splitlines())


def timed_turns(text: str) -> tuple[TimedTurn, ...]:
    pairs = (item.split("@") for item in text.split())
    return tuple(TimedTurn(parse_turn(name), int(cube_ms)) for name, cube_ms in pairs)


def described(f: dict[str, str]) -> Any:
    session, seq, clock = (int(f.get(name, 0)) for name in ("session", "seq", "clock"))
    match f["type"]:
        case "turns":
            return Turns(session, seq, timed_turns(f["turns"]))
        case "snapshot":
            return Snapshot(session, seq, clock, after(f["position"]))
        case "battery":
            return BatteryPacket(session, seq, clock, int(f["percent"]))
        case "too old":
            return TooOld(session, seq, clock, int(f["oldest"]))
        case "hello":
            own = ("version", "capabilities", "history", "percent")
            return Hello(session, seq, clock, *(int(f[name]) for name in own))
        case "again?":
            return AgainRequest(seq, int(f["count"]))
        case kind:
            return {"hello?": HelloRequest(), "snapshot?": SnapshotRequest()}[kind]


@pytest.mark.parametrize("block", blocks("turnwire"))
def test_the_documents_packets_encode_and_decode_as_it_says(block: str) -> None:
    f = fields(block)
    packet, data = described(f), bytes.fromhex(f["bytes"])
    assert encode(packet).hex(" ") == data.hex(" ")
    assert decode(data) == packet
    assert len(data) <= 20
    numbers = ("corner permutation", "corner twists", "edge permutation", "edge flips")
    if "position" in f:
        assert coordinates(packet.position) == tuple(int(f[name]) for name in numbers)


def test_the_document_has_an_example_of_every_packet() -> None:
    kinds = {type(described(fields(block))) for block in blocks("turnwire")}
    assert kinds == {
        *(Turns, Snapshot, BatteryPacket, TooOld, Hello),
        *(HelloRequest, SnapshotRequest, AgainRequest),
    }


def test_the_documents_numbers_are_the_codes() -> None:
    assert f"{check_byte(b'123456789'):#x}" == "0xdf"
    assert "`123456789` it is **0xDF**" in DOCUMENT
    for moves in ("R", "F"):
        numbers = ", ".join(map(str, coordinates(after(moves))))
        assert re.search(rf"[Aa]fter {moves} alone (they are )?{numbers}[.;]", DOCUMENT)
    for number in (RETRY_AFTER, GIVE_UP_AFTER, WINDOW):
        assert re.search(rf"\b{number}\b", DOCUMENT.partition("## What the host does")[2])


@pytest.mark.parametrize("table", re.findall(r"\| offset .*?\n\n", DOCUMENT, re.DOTALL))
def test_the_documents_tables_leave_no_byte_out(table: str) -> None:
    rows = re.findall(r"^\| (\d+)\b[^|]*\| ([^ ]+) ", table, re.MULTILINE)
    for (offset, size), (following, _) in pairwise(rows):
        assert not size.isdigit() or int(offset) + int(size) == int(following)


def told(report: Report) -> str:
    match report:
        case TurnReport(turn, _, cube_ms):
            return f"{turn_name(turn)} at {cube_ms}"
        case StateReport(_, seq, _):
            return f"state after {seq}"
        case BatteryReport(percent):
            return f"battery {percent}"
        case GapReport(lost):
            return f"lost {lost}"
        case AttitudeReport():
            return "attitude"
        case BadPacket(reason, _):
            return f"bad packet: {reason}"


def conversation(script: str) -> Iterator[str]:
    """The packets when the cube turns and packets are lost as in the script."""
    cube, decoder = TurnwireCube(), TurnwireDecoder()
    cube_ms, said, to_host = 0, [w.data for w in decoder.connected()], list[bytes]()
    for line in script.splitlines():
        verb, _, rest = line.partition("  ")
        match verb.strip():
            case "at":
                cube_ms = int(rest)
                to_host += cube.idle(cube_ms)
                yield line
            case "turn":
                to_host += cube.turn(parse_turn(rest.strip()), cube_ms)
                yield line
            case "host":
                data = said.pop(0)
                to_host += cube.written(data, cube_ms)
                yield f"host  {data.hex(' ')}"
            case "lost":
                yield f"lost  {to_host.pop(0).hex(' ')}"
            case "cube":
                data = to_host.pop(0)
                decoded = decoder.received(EVENTS, data)
                said += [write.data for write in decoded.writes]
                yield f"cube  {data.hex(' ')}"
                yield from (f"told  {told(report)}" for report in decoded.reports)
    assert not said
    assert not to_host


@pytest.mark.parametrize("script", blocks("conversation"))
def test_the_documents_conversation_goes_as_it_says(script: str) -> None:
    assert "\n".join(conversation(script)) + "\n" == script
