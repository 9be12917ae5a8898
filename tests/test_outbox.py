"""The outbox: in order, bounded, whole after a crash, and usable when the disk fails."""

from __future__ import annotations

import json
import signal
import sqlite3
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from forked import Forked
from hypothesis import given
from hypothesis import strategies as st

from livecube.dashboard.messages import Message
from livecube.dashboard.outbox import Outbox
from livecube.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Callable

    from livecube.dashboard.told import Letter


def message(seq: int, name: str = "stage", *, size: int = 0) -> Message:
    body = {"id": str(seq), "filling": "x" * size}
    return Message(seq, name, body, retain=name == "link", detail=name == "stage")


def seqs(outbox: Outbox) -> list[int]:
    return [letter.seq for letter in outbox.oldest(10**6)]


def silent(sentence: str) -> None:
    raise AssertionError(sentence)


def test_what_waits_is_there_after_a_restart_and_what_was_sent_is_not(tmp_path: Path) -> None:
    file = tmp_path / "deep" / "outbox.sqlite"
    outbox = Outbox(file, silent)
    outbox.add([message(n) for n in range(1, 6)])
    outbox.sent(outbox.oldest(2))
    outbox.close()
    again = Outbox(file, silent)
    assert seqs(again) == [3, 4, 5]
    assert again.seq == 5
    assert file.stat().st_mode & 0o777 == 0o600
    again.close()


def test_only_the_last_of_each_state_waits_and_the_one_that_was_sent_is_known(
    tmp_path: Path,
) -> None:
    outbox = Outbox(tmp_path / "o.sqlite", silent)
    outbox.add([message(1, "link"), message(2, "solve"), message(3, "link")])
    assert seqs(outbox) == [2, 3]
    assert outbox.states() == []  # the broker has got none
    outbox.sent(outbox.oldest(9))
    outbox.add([message(4, "link")])
    assert [letter.payload for letter in outbox.states()] == [message(3, "link").payload]
    assert outbox.state("link") == message(4, "link").body
    assert outbox.state("session") is None
    outbox.close()


def test_what_was_sent_lately_is_told_again_marked_and_bounded(tmp_path: Path) -> None:
    now = 0.0
    file = tmp_path / "o.sqlite"
    outbox = Outbox(file, silent, now=lambda: now)
    for seq in range(1, 501, 2):
        outbox.add([message(seq, "stage"), message(seq + 1, "solve")])
        outbox.sent(outbox.oldest(9))
        now += 1.0
    outbox.close()
    outbox = Outbox(file, silent)  # a killed program sends it again, too
    again = outbox.again()
    solves = [one.seq for one in again if one.name == "solve"]
    stages = [one.seq for one in again if one.name == "stage"]
    assert solves == list(range(302, 501, 2))  # a hundred, all younger than half an hour
    assert stages == list(range(439, 501, 2))  # those of half a minute
    assert [one.seq for one in again] == sorted(solves + stages)
    told = [json.loads(one.payload) for one in again]
    assert all(body.pop("again") is True for body in told)
    assert told == [message(one.seq).body for one in again]
    outbox.close()


class Forgetful:
    """A broker that is killed at times, and then has only what it had stored."""

    def __init__(self) -> None:
        self.had: list[Letter] = []
        self.handed = 0
        self.written: tuple[list[Letter], int] = ([], 0)
        self.seen: list[str] = []
        """Ids of solves at a consumer that drops repetitions."""

    def hand_on(self, most: int) -> None:
        for letter in self.had[self.handed : self.handed + most]:
            body = json.loads(letter.payload)
            bodies = body["solves"] if letter.name == "solve/recent" else [body]
            of = [one["id"] for one in bodies if letter.name.startswith("solve")]
            self.seen += [one for one in of if one not in self.seen]
        self.handed = min(self.handed + most, len(self.had))

    def write(self) -> None:
        self.written = (list(self.had), self.handed)

    def die(self) -> None:
        self.had, self.handed = list(self.written[0]), self.written[1]


def solves_made(first: int, number: int) -> list[Message]:
    """Messages of solves, each with a stage, and then the last twelve, as a desk sends them."""
    made = []
    for n in range(first, first + number):
        solves = [{"id": f"solve {m}"} for m in range(max(0, n - 11), n + 1)]
        made += [
            message(3 * n + 1),
            Message(3 * n + 2, "solve", solves[-1], retain=False),
            Message(3 * n + 3, "solve/recent", {"id": f"r{n}", "solves": solves}, retain=True),
        ]
    return made


@given(st.lists(st.one_of(
    st.tuples(st.just("solves"), st.integers(1, 16)),
    st.tuples(st.just("sent"), st.integers(1, 10)),
    st.tuples(st.just("cut off"), st.integers(1, 10)),
    st.tuples(st.just("handed on"), st.integers(1, 30)),
    st.tuples(st.sampled_from(["written", "killed"]), st.just(0)),
), max_size=40))  # fmt: skip
def test_whatever_a_broker_forgets_each_solve_is_seen_once_and_in_order(
    happening: list[tuple[str, int]],
) -> None:
    outbox, broker, made = Outbox(None, silent, now=lambda: 0.0), Forgetful(), 0
    for what, number in [*happening, ("cut off", 5)]:
        match what:
            case "solves" if made < 90:  # more is not promised
                outbox.add(solves_made(made, number))
                made += number
            case "sent":
                broker.had += (letters := outbox.oldest(number))
                outbox.sent(letters)
            case "handed on":
                broker.hand_on(number)
            case "written":
                broker.write()
            case "cut off" | "killed":
                if what == "killed":
                    broker.die()
                else:  # the broker has them, but its answer was lost
                    broker.had += outbox.oldest(number)
                broker.had += outbox.again()
                broker.had += outbox.states()
    broker.had += outbox.oldest(10**6)
    broker.hand_on(10**6)
    assert broker.seen == [f"solve {n}" for n in range(made)]
    outbox.close()


@given(st.lists(st.sampled_from(["stage", "solve", "link"]), max_size=60), st.integers(1, 12))
def test_without_room_the_oldest_details_go_before_the_oldest_solves(
    kinds: list[str], most: int
) -> None:
    outbox = Outbox(None, silent, most=most)
    waiting: list[Message] = []
    lost = {"stage": 0, "solve": 0}
    for seq, kind in enumerate(kinds, start=1):
        outbox.add([message(seq, kind)])
        waiting = [m for m in waiting if kind != "link" or m.name != "link"]
        waiting.append(message(seq, kind))
        for doomed in ("stage", "solve"):
            for old in [m for m in waiting if m.name == doomed]:
                if len(waiting) > most:
                    waiting.remove(old)
                    lost[doomed] += 1
    assert seqs(outbox) == [m.seq for m in waiting]
    assert outbox.dropped == (lost["stage"], lost["solve"])
    outbox.close()


def test_a_full_file_drops_what_is_worth_least_and_goes_on(tmp_path: Path) -> None:
    outbox = Outbox(tmp_path / "o.sqlite", silent, most_bytes=1024 * 1024)
    for seq in range(1, 2001, 2):
        outbox.add([message(seq, "stage", size=1500), message(seq + 1, "solve", size=500)])
    waiting = outbox.oldest(10**6)
    details, others = outbox.dropped
    assert others == 0
    assert 0 < details < 1000
    assert len(waiting) == 2000 - details
    assert [one.seq for one in waiting if one.name == "solve"] == list(range(2, 2001, 2))
    assert waiting[-1].seq == 2000
    outbox.close()


WRITER = """
import sys
sys.path.insert(0, "{tests}")
from test_outbox import message, Outbox, silent
from pathlib import Path
outbox = Outbox(Path(sys.argv[1]), silent)
print("ready", flush=True)
for seq in range(outbox.seq + 1, 10**6, 3):
    outbox.add([message(seq + n) for n in range(3)])
    print(seq + 2, flush=True)
"""


def test_killed_at_any_moment_it_has_all_that_was_kept_and_no_half_of_anything(
    tmp_path: Path,
) -> None:
    file, told = tmp_path / "o.sqlite", 0
    script = WRITER.format(tests=Path(__file__).parent)
    for lines in (2, 40):
        writer = Forked(
            [sys.executable, "-c", script, str(file)], stdout=subprocess.PIPE, text=True
        )
        assert writer.stdout is not None
        for _ in range(lines):
            said = writer.stdout.readline().strip()
        told = told if said == "ready" else int(said)
        with pytest.raises(UsageError, match="another livecube publishes"):
            Outbox(file, silent)
        writer.send_signal(signal.SIGKILL)
        writer.wait()
        writer.stdout.close()
        outbox = Outbox(file, silent)
        assert outbox.seq >= told
        assert outbox.seq % 3 == 0
        assert seqs(outbox) == list(range(1, outbox.seq + 1))
        outbox.close()


def test_a_damaged_file_is_set_aside_and_said(tmp_path: Path) -> None:
    file, said = tmp_path / "o.sqlite", list[str]()
    file.write_bytes(b"this is no database" * 1000)
    outbox = Outbox(file, said.append)
    outbox.add([message(1)])
    outbox.close()
    assert "damaged" in said[0]
    assert (tmp_path / "o.broken").read_bytes().startswith(b"this is no database")
    again = Outbox(file, silent)
    assert seqs(again) == [1]
    again.close()


def in_the_way(path: Path) -> Path:
    path.write_text("a file where the folder should be")
    return path / "o.sqlite"


def a_folder(path: Path) -> Path:
    (path / "o.sqlite").mkdir(parents=True)
    return path / "o.sqlite"


@pytest.mark.parametrize("make", [in_the_way, a_folder])
def test_without_a_file_it_works_in_memory_and_says_so(
    make: Callable[[Path], Path], tmp_path: Path
) -> None:
    said: list[str] = []
    outbox = Outbox(make(tmp_path / "state"), said.append)
    outbox.add([message(1), message(2, "link")])
    assert seqs(outbox) == [1, 2]
    assert len(said) == 1
    assert "kept in memory" in said[0]
    outbox.close()


def test_a_file_that_can_be_written_no_more_costs_nothing(tmp_path: Path) -> None:
    file, said = tmp_path / "o.sqlite", list[str]()
    outbox = Outbox(file, said.append)
    outbox.add([message(n) for n in (1, 2, 3)])
    outbox._db.execute("PRAGMA query_only = 1")  # as if the disk had become read-only
    outbox.add([message(4)])
    outbox.sent(outbox.oldest(1))
    outbox.add([message(5)])
    assert seqs(outbox) == [2, 3, 4, 5]
    assert len(said) == 1
    assert "cannot be written" in said[0]
    outbox.close()
    outbox = Outbox(file, silent)  # it sends the same again; ids mark repetitions
    assert seqs(outbox) == [1, 2, 3]
    outbox.close()


def test_a_file_of_another_form_is_no_reason_to_stop(tmp_path: Path) -> None:
    file, said = tmp_path / "o.sqlite", list[str]()
    other = sqlite3.connect(file)
    other.execute("CREATE TABLE waiting (something TEXT)")
    other.commit()
    other.close()
    outbox = Outbox(file, said.append)
    outbox.add([message(1)])
    assert seqs(outbox) == [1]
    assert said
    outbox.close()
