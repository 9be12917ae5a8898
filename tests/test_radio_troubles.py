"""Errors of Bluetooth with what to do about them; typed cubes and captures."""

from __future__ import annotations

import json
import sys
from typing import TYPE_CHECKING, Any

import pytest
from bleak.exc import (
    BleakBluetoothNotAvailableError,
    BleakBluetoothNotAvailableReason,
    BleakDBusError,
    BleakDeviceNotFoundError,
    BleakError,
    BleakGATTProtocolError,
)
from command import started

from livecube.cube.holding import fixed_turns
from livecube.cube.notation import parse_moves
from livecube.cube.position import turn_name
from livecube.edges.radio import explain
from livecube.errors import RADIO_TROUBLES

if TYPE_CHECKING:
    from pathlib import Path

REASONS = {
    BleakBluetoothNotAvailableReason.NO_BLUETOOTH: "no adapter",
    BleakBluetoothNotAvailableReason.NO_BLE_CENTRAL_ROLE: "no adapter",
    BleakBluetoothNotAvailableReason.POWERED_OFF: "switched off",
    BleakBluetoothNotAvailableReason.DENIED_BY_USER: "no permission",
    BleakBluetoothNotAvailableReason.DENIED_BY_SYSTEM: "no permission",
    BleakBluetoothNotAvailableReason.DENIED_BY_UNKNOWN: "no permission",
    BleakBluetoothNotAvailableReason.UNKNOWN: "other",
}


def test_each_reason_of_bleaks_is_known() -> None:
    assert set(REASONS) == set(BleakBluetoothNotAvailableReason)


@pytest.mark.parametrize(
    ("error", "trouble", "words"),
    [
        *(
            (BleakBluetoothNotAvailableError("as bleak says", reason), trouble, "")
            for reason, trouble in REASONS.items()
        ),
        (FileNotFoundError(2, "No such file"), "no service", "service is not running"),
        (ConnectionRefusedError(111, "refused"), "no service", "service is not running"),
        (PermissionError(13, "no"), "no permission", "does not let livecube"),
        (
            BleakDBusError("org.freedesktop.DBus.Error.ServiceUnknown", ["no bluez"]),
            "no service",
            "service is not running",
        ),
        (
            BleakDBusError("org.freedesktop.DBus.Error.AccessDenied", ["no"]),
            "no permission",
            "does not let livecube",
        ),
        (BleakDBusError("org.bluez.Error.NotReady", []), "switched off", "switched off"),
        (BleakDBusError("org.bluez.Error.InProgress", []), "held", "another program"),
        (
            BleakDBusError("org.bluez.Error.NotPermitted", ["Notify acquired"]),
            "held",
            "another program",
        ),
        (BleakError("Could not get GATT services: Access Denied"), "held", "another program"),
        (BleakDeviceNotFoundError("AA:BB", "gone"), "not found", "turn a face"),
        (TimeoutError(), "no answer", "my cube does not answer"),
        (BleakError("Not connected"), "no answer", "bring it near"),
        (BleakGATTProtocolError(0x0E), "other", "Unlikely Error"),
        (ValueError(), "other", "ValueError"),
    ],
)
def test_each_trouble_is_told_with_what_to_do(error: Exception, trouble: str, words: str) -> None:
    told = explain(error, "my cube")
    assert told.trouble == trouble
    assert told.trouble in RADIO_TROUBLES
    assert words in str(told)
    assert ";" in str(told)  # what is wrong; what to do


def objects(text: str) -> list[dict[str, Any]]:
    return [json.loads(line) for line in text.splitlines()]


@pytest.mark.skipif(sys.platform != "linux", reason="the service is asked for by D-Bus")
def test_a_machine_without_bluetooth_is_told_from_one_that_is_broken(tmp_path: Path) -> None:
    nowhere = {"DBUS_SYSTEM_BUS_ADDRESS": f"unix:path={tmp_path}/none"}
    for command in (["scan"], ["live"], ["live", "--cube", "x"]):
        done = started(*command, **nowhere)
        assert done.returncode == 2
        assert "service is not running; install bluez" in done.stderr
        assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--simulated", "--typed"], "give one of --simulated, --virtual-radio and --typed"),
        (["--simulated", "--cube", "x"], "are for a cube by radio"),
        (["--simulated", "--capture"], "give --log FILE too"),
        (["--simulated", "--scramble", "R"], "--scramble goes with --typed"),
        (["--typed", "--capture"], "typed turns have none"),
        (["--decoder", "none such"], "no decoder is called 'none such'; installed: "),
    ],
)
def test_what_does_not_go_together_is_refused(arguments: list[str], words: str) -> None:
    done = started("live", *arguments)
    assert done.returncode == 2
    assert words in done.stderr


def followed(text: str) -> list[dict[str, Any]]:
    """The happenings without the accounts of clock and end, which differ in each run."""
    return [told for told in objects(text) if told["event"] not in ("clock", "end")]


@pytest.mark.thorough
def test_a_capture_is_decoded_once_more_to_the_same(tmp_path: Path) -> None:
    log = tmp_path / "capture.jsonl"
    done = started(
        *("live", "--virtual-radio", "--seed", "5", "--speed", "100", "--json", "--no-hints"),
        *("--log", str(log), "--capture"),
    )
    assert done.returncode == 0, done.stderr
    lines = objects(log.read_text(encoding="utf-8"))
    assert (lines[0]["source"], lines[0]["link"]) == ("turnwire", "virtual radio")
    packets = [line for line in lines[1:] if line.get("mark") == "packet"]
    assert len(packets) > len([line for line in lines if "turn" in line]) > 50
    live = followed(done.stdout)
    again = started("replay", str(log), "--packets", "--json", "--no-hints")
    assert again.returncode == 0, again.stderr
    assert followed(again.stdout) == live
    assert any(told["event"] == "solve" and told["solved"] for told in live)
    wrong = started("replay", str(log), "--packets", "--decoder", "none such")
    assert wrong.returncode == 2
    assert "no such decoder is installed" in wrong.stderr


def test_a_log_without_packets_cannot_be_decoded_again(tmp_path: Path) -> None:
    log = tmp_path / "log.jsonl"
    assert started("simulate", str(log), "--seed", "5").returncode == 0
    done = started("replay", str(log), "--packets")
    assert done.returncode == 2
    assert "holds no packets; livecube live --log FILE --capture keeps them" in done.stderr


def test_turns_are_typed_as_they_are_written(tmp_path: Path) -> None:
    log = tmp_path / "typed.jsonl"
    moves = "R U2 R' x M' r d' y2 F E2 b"
    done = started(
        *("live", "--typed", "--json", "--no-hints", "--log", str(log)),
        text=f"{moves} L\b f\x7f ?",  # moves taken back and unknown keys are no turns
    )
    assert done.returncode == 0, done.stderr
    told = objects(done.stdout)
    header = json.loads(log.read_text(encoding="utf-8").splitlines()[0])
    assert (header["source"], header["clock"], header["link"]) == ("typed", "host", "keyboard")
    turns, holding = fixed_turns(parse_moves(moves))
    assert [one["turn"] for one in told if one["event"] == "turn"] == list(map(turn_name, turns))
    held = [one for one in told if one["event"] == "holding"]
    assert (held[0]["up"], held[0]["front"]) == ("white", "green")
    assert (held[-1]["up"], held[-1]["front"]) == (holding.up, holding.front)


def test_a_typed_cube_may_stand_scrambled_and_is_solved_by_typing() -> None:
    done = started(
        *("live", "--typed", "--json", "--no-hints", "--scramble", "F R U R' U' F'"),
        text="F U R U' R' F'",
    )
    assert done.returncode == 0, done.stderr
    (solve,) = [one for one in objects(done.stdout) if one["event"] == "solve"]
    assert solve["solved"]
    assert solve["turns"] == 6
