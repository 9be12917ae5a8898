"""The commands as a user runs them, on real files; in their own processes where they must end."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest
from command import started
from examples import thorough
from forked import Forked
from narrow import without_privileges

from livecube.edges.automaton_file import load_hands
from livecube.edges.cache import load_bounds, load_tables

FIXTURES = Path(__file__).parent.parent / "fixtures"


def livecube(*arguments: str) -> subprocess.CompletedProcess[str]:
    return started(*arguments, COLUMNS="80")


def objects(text: str) -> list[dict[str, Any]]:
    return [json.loads(line) for line in text.splitlines()]


def test_live_follows_a_simulated_cube_and_records_a_log_that_replays_to_the_same(
    tmp_path: Path,
) -> None:
    log = tmp_path / "live.jsonl"
    done = livecube(
        *("live", "--simulated", "--seed", "5", "--solves", "2", "--speed", "1000"),
        *("--json", "--no-hints", "--log", str(log)),
    )
    assert done.returncode == 0, done.stderr
    live = [o for o in objects(done.stdout) if o["event"] in ("stage", "solve")]
    again = livecube("replay", str(log), "--json", "--no-hints")
    assert again.returncode == 0, again.stderr
    assert [o for o in objects(again.stdout) if o["event"] in ("stage", "solve")] == live
    solves = [o for o in live if o["event"] == "solve"]
    assert [solve["solved"] for solve in solves] == [True, True]
    assert all(len(solve["stages"]) == 8 for solve in solves)


def test_replay_gives_hints_and_says_how_long_they_took() -> None:
    done = livecube("replay", str(FIXTURES / "given-start.jsonl"), "--json")
    assert done.returncode == 0, done.stderr
    told = objects(done.stdout)
    assert told[-1]["event"] == "end"
    assert told[-1]["solves"] == 1
    assert told[-1]["advice_ms"]["max"] > 0
    hints = [o for o in told if o["event"] == "opportunity"]
    assert len(hints) >= 3  # one may stand for more than one pair
    assert all(o["moves"] and o["why"].endswith(".") for o in hints)


def test_replay_in_a_pipe_is_plain_text_and_80_columns_hold_the_table() -> None:
    done = livecube("replay", str(FIXTURES / "evening.jsonl"), "--no-hints")
    assert done.returncode == 0, done.stderr
    assert "\x1b" not in done.stdout
    table = [line for line in done.stdout.splitlines() if line.startswith("  ")]
    assert len(table) >= 5 * 9
    assert max(map(len, table)) <= 100


@pytest.mark.thorough
def test_hints_rows_do_what_they_say() -> None:
    from livecube.cube.holding import Holding, fixed_turns, parse_colour
    from livecube.cube.notation import parse_moves, parse_turns
    from livecube.cube.position import SOLVED, apply_turns
    from livecube.search.situation import Situation

    moves = "R U2 F' L D B2 R' U F D2 L' U2"
    done = livecube("hints", moves, "--cross", "white", "--json")
    assert done.returncode == 0, done.stderr
    advice = json.loads(done.stdout)
    assert (advice["cross"], advice["offset"], advice["solved_slots"]) == ("white", None, [])
    rows = advice["opportunities"]
    assert {tuple(row["slots"]) for row in rows if row["technique"] == "shortest"} == {
        ("blue-orange",), ("blue-red",), ("green-orange",), ("green-red",)
    }  # fmt: skip
    for row in rows:
        position = apply_turns(SOLVED, parse_turns(moves) + parse_turns(row["turns_fixed"]))
        after = Situation.of(position, parse_colour("white"))
        assert after.offset == 0
        names = [after.slot_name(s) for s in range(4) if after.solved >> s & 1]
        assert set(row["slots"]) <= set(names)
        holding = Holding.of(parse_colour(row["up"]), parse_colour(row["front"]))
        written = fixed_turns(parse_moves(row["moves"]), holding)[0]
        assert written == parse_turns(row["turns_fixed"])


@pytest.mark.parametrize(
    "moves", ["R U R'", thorough("D' F' U F D L U L' R' U R")], ids=["book", "search"]
)
def test_hints_need_no_cache_that_can_be_written_to(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, moves: str
) -> None:
    command = ("hints", moves, "--json")
    usual = json.loads(livecube(*command).stdout)
    bounds = load_bounds(load_hands())
    both = bounds.pieces, bounds.still
    tables = load_tables()
    monkeypatch.setattr("livecube.search.tables.build_tables", lambda moves, seen, step: tables)
    # Tables and kernels take half a minute to make; they are taken from the shared cache.
    monkeypatch.setattr(
        "livecube.search.bounds.piece_seconds",
        lambda moves, hands, kind, *, still: both[still][kind].copy(),
    )
    # Another process could not pass on its tables.
    monkeypatch.delattr("livecube.edges.apart.Apart")
    cache = tmp_path / "cache"
    cache.mkdir()
    cache.chmod(0o555)
    monkeypatch.setenv("LIVECUBE_CACHE", str(cache))  # compiled code stays where it is
    with without_privileges():
        done = livecube(*command)
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["opportunities"] == usual["opportunities"]
    assert not list(cache.iterdir())


def test_standard_error_is_empty_once_the_search_is_ready() -> None:
    livecube("hints", "R U R'")  # a machine's first start reports that it prepares the search
    done = livecube("hints", "R U R'")
    assert done.returncode == 0
    assert done.stdout
    assert not done.stderr


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["hints", "R U3"], "column 4"),
        (["hints", "R", "--up", "white"], "--up and --front go together"),
        (["hints", "R", "--up", "white", "--front", "yellow"], "cannot be held"),
        (["replay", "nowhere.jsonl"], "nowhere.jsonl: cannot be opened"),
        (["replay", "LOG", "--speed", "fast"], "--speed is 'fast'"),
        (["replay", "LOG", "--voice"], "--voice cannot keep up with --speed max"),
        (["replay", "LOG", "--hands", "nowhere.toml"], "nowhere.toml cannot be read"),
        (["live", "--simulated", "--hands", "LOG"], "is not TOML"),
        (["live", "--simulated", "--up", "white"], "--up and --front go together"),
        (["live", "--simulated", "--speed", "nan"], "nan is not a number"),
        (["bench", "--radio", "--rate", "nan"], "nan is not a number"),
        (["simulate", "LOG", "--seed", "1"], "exists"),
        (["live", "--simulated", "--typed"], "give one of --simulated"),
        (["live", "--simulated", "--log", "LOG"], "exists"),
    ],
)
def test_a_mistake_ends_with_status_2_and_one_message(
    arguments: list[str], said: str, tmp_path: Path
) -> None:
    log = tmp_path / "log.jsonl"
    log.write_bytes((FIXTURES / "given-start.jsonl").read_bytes())
    before = log.read_bytes()
    done = started(*(str(log) if word == "LOG" else word for word in arguments))
    assert done.returncode == 2
    assert said in done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == ""
    assert log.read_bytes() == before


def test_a_torn_log_is_followed_and_said_to_be_torn(tmp_path: Path) -> None:
    log = tmp_path / "torn.jsonl"
    log.write_bytes((FIXTURES / "given-start.jsonl").read_bytes()[:-9])
    done = livecube("replay", str(log), "--json", "--no-hints")
    assert done.returncode == 0
    assert "cut off" in done.stderr


def test_ctrl_c_leaves_a_whole_log(tmp_path: Path) -> None:
    log = tmp_path / "cut.jsonl"
    child = Forked(
        [sys.executable, "-m", "livecube", "live", "--simulated", "--seed", "5",
         "--speed", "20", "--no-hints", "--log", str(log)],
        stdout=subprocess.DEVNULL, stderr=subprocess.PIPE,
    )  # fmt: skip
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline and (
        not log.exists() or len(log.read_bytes().splitlines()) < 5
    ):
        time.sleep(0.05)
    child.send_signal(signal.SIGINT)
    _, complaint = child.communicate(timeout=300)
    assert child.returncode == 130
    assert b"Traceback" not in complaint
    assert log.read_bytes().endswith(b"\n")
    assert livecube("replay", str(log), "--json", "--no-hints").returncode == 0


@pytest.mark.thorough
def test_a_shell_completes_commands_options_and_choices(tmp_path: Path) -> None:
    (tmp_path / "livecube").write_text(f'#!/bin/sh\nexec {sys.executable} -m livecube "$@"\n')
    (tmp_path / "livecube").chmod(0o755)
    asked = """
        PATH="$PWD:$PATH"; eval "$completion"
        completed() {
            COMP_WORDS=("$@"); COMP_CWORD=$(($# - 1)); COMPREPLY=()
            _livecube_completion livecube; echo "${COMPREPLY[@]}"
        }
        completed livecube rep; completed livecube review --ke; completed livecube hints --level k
    """
    done = subprocess.run(
        ["bash", "-c", asked],
        capture_output=True, text=True, check=False, timeout=300, cwd=tmp_path,
        env={**os.environ, "completion": livecube("completion", "bash").stdout},
    )  # fmt: skip
    assert done.stdout.splitlines() == ["report replay", "--kept", "keen"]
    assert done.stderr == ""
