"""Full disks, locks and missing rights during practice: reported, and no reported solve is lost."""

from __future__ import annotations

import json
import os
import re
import sqlite3
import subprocess
import sys
import threading
from contextlib import closing
from functools import partial
from typing import TYPE_CHECKING, Any

import pytest
from called import called
from examples import thorough
from forked import Forked
from hasty import set_ups_in_haste as set_ups_in_haste
from narrow import WORLDS, impatient, locked, narrowing, no_room, no_room_for_more, read_only

from livecube.edges.log_files import LogReader
from livecube.history.importing import recover
from livecube.history.store import DATABASE, History
from livecube.solves.reading import solves_in
from livecube.solves.records import Wanted

if TYPE_CHECKING:
    from collections.abc import Callable
    from contextlib import AbstractContextManager
    from pathlib import Path

_QUICKLY = ("--simulated", "--seed", "3", "--json", "--speed", "1000", "--person", "ada")
PRACTICE, LIVE = ("practice", "result"), ("live", "solve")
"""A command, and the event at the end of each of its solves."""
_FOUR = (*_QUICKLY, "--solves", "4", "--no-hints")


class Refusals:
    """What is to be done once the history has refused to keep something, at whatever speed.

    A test that waited for it where lines are heard might keep the history from being asked.
    """

    def __init__(self) -> None:
        self._any = False
        self._then: list[Callable[[], object]] = []

    def then(self, action: Callable[[], object]) -> None:
        """Do this at the next refusal, or now if there was one; it may be done twice."""
        self._then.append(action)
        if self._any:
            action()

    def come(self) -> None:
        """The history refuses."""
        self._any = True
        for action in self._then:
            action()


@pytest.fixture
def refusals(monkeypatch: pytest.MonkeyPatch) -> Refusals:
    """Those of the test's history."""
    keep, refusals = History.keep, Refusals()

    def watched(*arguments: Any) -> int | None:
        try:
            return keep(*arguments)
        except (OSError, sqlite3.Error):
            refusals.come()
            raise

    monkeypatch.setattr(History, "keep", watched)
    return refusals


@pytest.mark.parametrize(
    ("command", "room", "most"),
    [thorough(PRACTICE, 3, 300), thorough(PRACTICE, 3, 40_000), thorough(PRACTICE, 9, 300),
     (LIVE, 3, 300), thorough(LIVE, 3, 40_000)],
)  # fmt: skip
def test_a_disk_that_fills_up_loses_nothing_in_silence(
    tmp_path: Path,
    command: tuple[str, str],
    room: int,
    most: int,
    refusals: Refusals,
) -> None:
    """The disk is full from the end of the first solve to the end of another."""
    done = list[int]()
    with narrowing() as files_up_to:

        def heard(line: str) -> None:
            told = json.loads(line)
            if told["event"] == command[1]:
                done.append(told["ms"] if "ms" in told else round(1000 * told["seconds"]))
                if len(done) == 1:
                    files_up_to(most)
                elif len(done) == room:
                    if most < 40_000:
                        files_up_to(None)
                    else:
                        refusals.then(partial(files_up_to, None))

        ended = called(command[0], *_FOUR, folder=tmp_path, heard=heard)
    assert len(done) == 4, ended.err
    with History(tmp_path / "data") as history:
        kept = [one.ms for one in history.list(Wanted())]
    lost = [ms for ms in done if ms not in kept]
    assert [ms for ms in done if ms in kept] == kept
    said = re.findall(r"olve (\d+) is not kept", ended.err)
    assert [done.index(ms) + 1 for ms in lost] == sorted(map(int, said))
    assert "File too large" in ended.err or "disk" in ended.err
    if room < 4:
        assert not lost
    else:
        assert lost


@pytest.mark.parametrize(
    ("command", "world", "mended_at"),
    [(PRACTICE, WORLDS[0], 2), *(thorough(PRACTICE, world, 2) for world in WORLDS[1:]),
     thorough(PRACTICE, locked, None), thorough(LIVE, locked, 2), thorough(LIVE, no_room, None)],
)  # fmt: skip
def test_a_session_that_begins_where_nothing_can_be_kept_is_kept_when_there_is_room(
    tmp_path: Path,
    command: tuple[str, str],
    world: Callable[[Path], AbstractContextManager[Callable[[], None]]],
    mended_at: int | None,
) -> None:
    done = list[int]()
    with world(tmp_path / "data") as mend:

        def heard(line: str) -> None:
            told = json.loads(line)
            if told["event"] == command[1]:
                done.append(told["ms"] if "ms" in told else round(1000 * told["seconds"]))
                if len(done) == mended_at:
                    mend()

        ended = called(
            *(command[0], *_FOUR, "--solves", "3"),
            folder=tmp_path, heard=heard,
        )  # fmt: skip
    assert ended.status == 0, ended.err
    assert len(done) == 3
    first, *more = ended.err.splitlines()
    assert "this session cannot be kept now; each solve tries again" in first
    with History(tmp_path / "data", reading=True) as history:
        kept = [one.ms for one in history.list(Wanted(person="ada"))]
    if mended_at is None:
        assert kept == []
        assert len(more) == 3
        for number, sentence in enumerate(more, start=1):
            assert f"Solve {number} is not kept" in sentence
            assert "next start" not in sentence  # nothing is left to keep
    else:
        assert kept == done, ended.err
        assert all(sentence.endswith("is kept now.") for sentence in more), more
        assert not list((tmp_path / "data" / "open").glob("*"))


@pytest.mark.usefixtures("tables")
@pytest.mark.parametrize("command", [
    thorough("practice --solves 3 --no-hints"), "live --solves 3 --no-hints",
    thorough("drill made-pair --count 3"),
])  # fmt: skip
def test_what_is_done_while_another_program_has_the_history_locked_is_kept_afterwards(
    tmp_path: Path, command: str, refusals: Refusals
) -> None:
    done = list[int]()
    History(tmp_path / "data").close()
    database = tmp_path / "data" / DATABASE
    opened = sqlite3.connect(database, isolation_level=None, check_same_thread=False)
    with closing(opened) as other, impatient():

        def heard(line: str) -> None:
            told = json.loads(line)
            if told["event"] in ("solve", "drill-judged"):
                done.append(told["ms"] if "ms" in told else round(1000 * told["seconds"]))
                if len(done) == 1:
                    other.execute("BEGIN IMMEDIATE")
                elif len(done) == 3:
                    if "drill" in command:
                        other.rollback()
                    else:
                        refusals.then(other.rollback)

        ended = called(*command.split(), *_QUICKLY, folder=tmp_path, heard=heard)
    assert ended.status == 0, ended.err
    with History(tmp_path / "data") as history:
        table = "drill_try" if "drill" in command else "solve"
        kept = history.database.execute(f"SELECT ms FROM {table} ORDER BY id").fetchall()
    assert (len(done), kept) == (3, [(ms,) for ms in done])
    assert "locked" in ended.err
    assert "kept now." in ended.err.splitlines()[-1]


@pytest.mark.usefixtures("tables")
@pytest.mark.parametrize(
    ("world", "is_mended"),
    [
        thorough(no_room_for_more, True),
        thorough(read_only, True),
        (locked, True),
        thorough(no_room, False),
    ],
)
def test_drills_go_on_where_nothing_can_be_kept_and_are_kept_when_there_is_room(
    tmp_path: Path,
    world: Callable[[Path], AbstractContextManager[Callable[[], None]]],
    is_mended: bool,
) -> None:
    judged = list[dict[str, Any]]()
    with world(tmp_path / "data") as mend:

        def heard(line: str) -> None:
            told = json.loads(line)
            if told["event"] == "drill-judged":
                judged.append(told)
                if is_mended and len(judged) == 2:
                    mend()

        ended = called(
            *("drill", "made-pair", "--count", "3", "--seed", "1", "--simulated", "--json"),
            *("--speed", "1000", "--person", "ada"),
            folder=tmp_path, heard=heard,
        )  # fmt: skip
    assert ended.status == 0, ended.err
    assert len(judged) == 3
    first, last = ended.err.splitlines()
    assert "Drills cannot be kept now; each new drill tries again" in first
    with History(tmp_path / "data") as history:
        kept = history.database.execute("SELECT turns, ms FROM drill_try ORDER BY id").fetchall()
    if is_mended:
        assert "All drills are kept now" in last
        assert kept == [(one["turns"], one["ms"]) for one in judged]
    else:
        assert "3 drills are not kept" in last
        assert kept == []


def _solves_in(log: Path) -> list[int]:
    with LogReader(log) as reader:
        return [found.kept.listed.ms for found in solves_in(reader.header, reader)]


def test_what_live_tells_is_written_even_while_an_earlier_solve_is_still_being_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A kill may come while the database is slow, or locked for many seconds."""
    told, written, go_on = list[int](), list[list[int]](), threading.Event()
    keep = History.keep

    def slowly(*arguments: Any) -> int | None:
        go_on.wait()
        return keep(*arguments)

    def heard(line: str) -> None:
        one = json.loads(line)
        if one["event"] == "solve":
            told.append(round(1000 * one["seconds"]))
            (log,) = (tmp_path / "data" / "open").iterdir()
            written.append(_solves_in(log))
            if len(told) == 4:
                go_on.set()

    monkeypatch.setattr(History, "keep", slowly)
    done = called("live", *_FOUR, folder=tmp_path, heard=heard)
    assert done.status == 0, done.err
    # When the solve is reported late, the log holds more than the solve.
    assert len(written) == 4
    assert all(log[:number] == told[:number] for number, log in enumerate(written, start=1))


def _kept(folder: Path) -> list[int]:
    with History(folder / "data") as history:
        return [one.ms for one in history.list(Wanted())]


@pytest.mark.thorough
def test_a_live_run_that_is_killed_leaves_its_solves_and_what_was_under_way(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "livecube", "live", *_FOUR, "--solves", "100"]
    command += ["--speed", "100"]
    environment = {**os.environ, "LIVECUBE_DATA": str(tmp_path / "data")}
    done = []
    with Forked(
        command, text=True, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as running:
        assert running.stdout is not None
        for line in running.stdout:
            told = json.loads(line)
            done += [round(1000 * told["seconds"])] if told["event"] == "solve" else []
            if len(done) == 1 and told["event"] == "stage":
                running.kill()
    before = _kept(tmp_path)
    with History(tmp_path / "data") as history:
        recovered = recover(history)
        again = [history.solve(number).listed.ms for number in recovered.solves]
    assert _kept(tmp_path) == before + again  # kept solves are not reported again
    assert _kept(tmp_path)[: len(done)] == done
    assert len(recovered.unfinished) <= 1
    assert not list((tmp_path / "data" / "open").iterdir())


@pytest.mark.usefixtures("tables")
@pytest.mark.parametrize("command", [
    thorough("practice --solves 1 --no-hints"), "live --no-hints",
    thorough("drill made-pair --count 1"), thorough("drill fingers --rounds 1"),
    thorough("drill beat --silent"),
])  # fmt: skip
def test_what_a_virtual_solver_does_is_kept_under_a_name_that_is_given_and_no_other(
    tmp_path: Path, command: str
) -> None:
    own = tmp_path / "config" / "config.toml"
    own.parent.mkdir()
    own.write_text('[practice]\nperson = "me"\n', encoding="utf-8")
    asked = (*command.split(), "--simulated", "--seed", "3", "--json", "--speed", "1000")
    for more in ((), ("--person", "bo", "--no-history")):
        assert called(*asked, *more, folder=tmp_path).status == 0
        assert not (tmp_path / "data").exists()
    assert called(*asked, "--person", "bo", folder=tmp_path).status == 0
    with History(tmp_path / "data") as history:
        assert history.people() == ["bo"]
        kept = [history.database.execute(f"SELECT count(*) FROM {table}").fetchone()[0]
                for table in ("solve", "drill_try", "drill_round")]  # fmt: skip
    assert sum(kept) == 1
    assert called(*asked, "--person", " ", folder=tmp_path).status == 2


def test_what_is_due_is_asked_for_by_a_name(tmp_path: Path) -> None:
    done = called("drill", "due", "--simulated", folder=tmp_path)
    assert (done.status, done.out) == (2, "")
    assert "give --person" in done.err
