"""Full disks, strange files, hostile arguments: one sentence each, and no kept solve is lost."""

from __future__ import annotations

import csv
import io
import json
import os
import shutil
import sqlite3
import subprocess
import sys
import time
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

import pytest
from called import called
from examples import part_of, thorough
from forked import Forked
from narrow import impatient, locked, narrowing, without_rights_to_write

from livecube.edges.log_files import LogReader
from livecube.errors import LogError
from livecube.history.exporting import read_csv
from livecube.history.importing import import_log
from livecube.history.store import DATABASE, History
from livecube.solves.reading import solves_in

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

FIXTURES = Path(__file__).parent.parent / "fixtures"
EVENING = FIXTURES / "evening.jsonl"
FULL = Path("/dev/full")
WHOLE = 2**63


@pytest.fixture(scope="module")
def evening(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("evening")
    with History(folder) as history:
        import_log(history, EVENING, "ada")
        history.tag([2], "calm")
        history.correct(2, ())
    return folder


@pytest.fixture
def kept(tmp_path: Path, evening: Path) -> Path:
    """A folder whose history holds five solves, the second tagged and corrected."""
    shutil.copytree(evening, tmp_path / "data")
    return tmp_path


def process(*arguments: str, folder: Path, stdout: IO[str]) -> subprocess.CompletedProcess[str]:
    """The command in a process of its own; help in a new one, whose end writes output again."""
    own = {f"LIVECUBE_{name}": str(folder / name.lower()) for name in ("DATA", "STATE", "CONFIG")}
    anew = [sys.executable, "-m", "livecube", *arguments]
    popen: type[subprocess.Popen[str]] = subprocess.Popen if "--help" in arguments else Forked
    with popen(
        anew, text=True, env={**os.environ, **own}, stdin=subprocess.DEVNULL, stdout=stdout,
        stderr=subprocess.PIPE,
    ) as run:  # fmt: skip
        _, said = run.communicate(timeout=300)
    return subprocess.CompletedProcess(arguments, run.returncode, None, said)


def header(**entries: Any) -> str:
    return json.dumps({"livecube_log": 1, "clock": "cube", **entries})


def one_log(path: Path, *, begin: str | None = None, at: Callable[[float], float] = float) -> Path:
    """A log of one finished solve: its header, and the time of each line, may be changed."""
    lines = (FIXTURES / "given-start.jsonl").read_text(encoding="utf-8").splitlines()
    events = [json.loads(line) for line in lines[1:]]
    told = [json.dumps({**event, "t": at(event["t"])}) for event in events]
    scramble = json.loads(lines[0])["scramble"]
    begin = begin or header(started="2026-03-01T18:20:00Z", scramble=scramble)
    path.write_text("\n".join([begin, *told]) + "\n", encoding="utf-8")
    return path


# A data folder that cannot be written.


def test_a_read_only_history_is_read_and_not_called_broken(kept: Path) -> None:
    data = kept / "data"
    with without_rights_to_write(data, data / DATABASE):
        listed = called("history", "--json", folder=kept)
        told = called("history", "delete", "1", folder=kept)
    assert listed.status == 0, listed.err
    assert len(listed.out.splitlines()) == 5
    assert told.status in (1, 2)
    assert "cannot be written" in told.err
    assert "broken" not in told.err
    assert "move" not in told.err


def test_what_a_read_only_history_had_not_moved_into_its_file_yet_is_read_too(kept: Path) -> None:
    held = kept / "held"
    with History(kept / "data") as history:  # so that closing it does not move the last change
        history.tag([3], "late")
        shutil.copytree(history.folder, held)
        with without_rights_to_write(held):
            done = called("history", "--tag", "late", "--json", folder=kept)
            other = called(
                "history", "--tag", "late", "--json", folder=kept, LIVECUBE_DATA=str(held)
            )
    assert len(done.out.splitlines()) == 1
    assert other.status == 0, other.err
    assert len(other.out.splitlines()) == 1


def test_where_nothing_can_be_made_there_are_no_solves(tmp_path: Path) -> None:
    with without_rights_to_write(tmp_path):
        done = called("history", folder=tmp_path)
    assert (done.status, done.out) == (0, "no solves\n")


def _break(database: Path) -> None:
    """Pages in the middle of a file overwritten, as a dying disk does."""
    with sqlite3.connect(database) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        (page,) = connection.execute("SELECT rootpage FROM sqlite_master WHERE name = 'stage'")
        (size,) = connection.execute("PRAGMA page_size").fetchone()
    connection.close()
    with database.open("rb+") as file:
        file.seek((page[0] - 1) * size)
        file.write(b"\xa5" * size)


def test_a_broken_history_is_rescued_with_its_tags_and_corrections(kept: Path) -> None:
    _break(kept / "data" / DATABASE)
    broken = called("history", "show", "2", folder=kept)
    assert broken.status in (1, 2)
    assert "livecube history rescue" in broken.err
    done = called("history", "rescue", folder=kept)
    assert done.status == 0, done.err
    (solve,) = [
        one
        for line in called("history", "--json", folder=kept).out.splitlines()
        if (one := json.loads(line))["tags"] == ["calm"]
    ]
    assert solve["corrected"] == []
    assert len(called("history", "--json", folder=kept).out.splitlines()) == 5
    stages = json.loads(called("history", "show", str(solve["number"]), "--json", folder=kept).out)
    assert len(stages["stages"]) == 8
    assert list((kept / "data").glob("history.broken-*.sqlite"))


_NAMED = ("CACHE", "CONFIG", "DATA", "STATE")


@pytest.mark.parametrize("inside", ["", "folder"])
@pytest.mark.parametrize("name", _NAMED)
@pytest.mark.parametrize("command", ["history", "config", "hands", "live --simulated"])
def test_a_file_where_a_folder_is_wanted(
    tmp_path: Path, command: str, name: str, inside: str
) -> None:
    file = tmp_path / "file"
    file.write_text("")
    named = {f"LIVECUBE_{name}": str(file / inside)}
    done = called(*command.split(), folder=tmp_path, heard=lambda line: None, **named)
    assert done.status == 2
    assert done.out == ""
    assert f"{file} is a file, but livecube needs a folder there; check LIVECUBE_{name}" in done.err
    assert done.err.count("\n") == 1
    assert file.read_text() == ""


def test_help_is_given_whatever_the_environment_names(tmp_path: Path) -> None:
    file = tmp_path / "file"
    file.write_text("")
    for command in (("hints", "--help"), ("history", "-h"), ("--help",), ("--version",)):
        done = called(*command, folder=tmp_path, LIVECUBE_CACHE=str(file))
        assert (done.status, done.err) == (0, "")


# Imports.


@pytest.mark.thorough
def test_strange_files_in_a_folder_are_passed_over_and_the_others_are_in(tmp_path: Path) -> None:
    logs = tmp_path / "logs"
    logs.mkdir()
    os.mkfifo(logs / "a-pipe.jsonl")
    (logs / "b-device.jsonl").symlink_to("/dev/zero")
    (logs / "c-nowhere.jsonl").symlink_to("nothing")
    (logs / "d-folder.jsonl").mkdir()
    one_log(logs / "e-half-a-letter.jsonl", begin=header(started="2026-03-01", source="\ud800"))
    one_log(logs / "f-far.jsonl", at=lambda t: t * 1e300)
    (logs / "g-bytes.jsonl").write_bytes(b"\xff\xfe\x00")
    shutil.copy(EVENING, logs / os.fsdecode(b"h-\xff.jsonl"))
    one_log(logs / "i-good.jsonl")
    done = called("history", "import", str(logs), folder=tmp_path)
    assert done.status == 2
    assert "6 new solves" in done.out
    for name in ("a-pipe", "b-device", "c-nowhere", "e-half-a-letter", "f-far", "g-bytes"):
        assert name in done.err + done.out
    again = called("history", "import", str(logs), "--json", folder=tmp_path)
    assert sum(len(json.loads(line)["added"]) for line in again.out.splitlines()) == 0


def test_a_pipe_that_is_named_is_refused_and_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.jsonl")
    for command in (("history", "import"), ("replay",), ("review",), ("write",)):
        done = called(*command, str(tmp_path / "pipe.jsonl"), folder=tmp_path)
        assert done.status == 2
        assert "not a regular file" in done.err


def test_a_log_behind_a_byte_order_mark_is_read(tmp_path: Path) -> None:
    log = tmp_path / "marked.jsonl"
    log.write_bytes(b"\xef\xbb\xbf" + EVENING.read_bytes())
    assert "5 new solves" in called("history", "import", str(log), folder=tmp_path).out


def test_a_configuration_and_hands_behind_a_byte_order_mark_are_read(tmp_path: Path) -> None:
    (tmp_path / "config").mkdir()
    (tmp_path / "config" / "config.toml").write_bytes(b'\xef\xbb\xbf[practice]\nperson = "ada"\n')
    assert "ada" in called("config", folder=tmp_path).out
    hands = tmp_path / "hands.toml"
    hands.write_bytes(b"\xef\xbb\xbf" + called("hands", folder=tmp_path).out.encode())
    assert (
        called("live", "--hands", str(hands), "--capture", folder=tmp_path).err.count("TOML") == 0
    )


@pytest.mark.parametrize("started", ["yesterday", "2026-02-30T10:00:00Z", "2026-03-01T25:00", 7])
def test_a_log_that_was_started_at_no_time_is_refused(tmp_path: Path, started: object) -> None:
    log = tmp_path / "log.jsonl"
    log.write_text(header(started=started) + "\n")
    with pytest.raises(LogError, match='"started"'), LogReader(log):
        pass


def test_a_log_whose_turns_have_all_one_time_has_no_result(tmp_path: Path) -> None:
    log = one_log(tmp_path / "still.jsonl", at=lambda t: 5.0)
    done = called("history", "import", str(log), folder=tmp_path)
    assert "0 new solves" in done.out
    assert "no time" in done.err + done.out
    assert called("history", folder=tmp_path).out == "no solves\n"


# Full disks.


@pytest.mark.skipif(not FULL.exists(), reason="this system has no device that is full")
@pytest.mark.parametrize("arguments", [
    ("history", "--json"), thorough(("--help",)),
    thorough((
        "practice", "--simulated", "--speed", "1000", "--solves", "1", "--no-hints", "--no-history"
    )),
    ("replay", str(EVENING), "--json", "--no-hints"),
])  # fmt: skip
def test_output_to_a_full_disk_is_told_in_a_sentence(
    kept: Path, arguments: tuple[str, ...]
) -> None:
    with FULL.open("w") as full:
        done = process(*arguments, folder=kept, stdout=full)
    assert done.returncode == 1
    assert "No space left" in done.stderr
    assert done.stderr.count("\n") == 1, done.stderr


@pytest.mark.parametrize(
    "arguments",
    [
        ("history", "export", "--to", "{}"),
        ("history", "export", "--json", "--to", "{}"),
        ("simulate", "{}", "--seed", "1", "--solves", "9"),
        thorough(("report", "{}.html")),
    ],
)
def test_what_a_full_disk_cuts_off_is_told_and_does_not_block_the_next(
    kept: Path, arguments: tuple[str, ...]
) -> None:
    target = kept / "target"
    command = [one.format(target) for one in arguments]
    with narrowing() as files_up_to:
        files_up_to(1_000)
        done = called(*command, folder=kept)
    assert done.status in (1, 2)
    assert "target" in done.err
    again = called(*command, folder=kept)
    assert again.status == 0, again.err


# CSV.


def test_a_cell_that_a_spreadsheet_would_run_is_text_and_reads_back(kept: Path) -> None:
    names = ["=1+1", "+1", "-1", "@now", "\tx", "'=quoted", "plain", "'apostrophe", "\rx"]
    with History(kept / "data") as history:
        for name in names:
            history.tag([1], name)
    text = called("history", "export", "--csv", folder=kept).out
    cells = [cell for row in csv.reader(io.StringIO(text, newline="")) for cell in row]
    assert not [cell for cell in cells if cell.startswith(("=", "+", "-", "@", "\t", "\r"))]
    rows = read_csv(io.StringIO(text, newline=""))
    assert rows[0]["tags"] == " ".join(sorted(names))


def test_each_dangerous_beginning_is_made_harmless_and_read_back() -> None:
    from livecube.history.exporting import as_read, harmless

    for text in ("=1", "+2", "-3", "@a", "\tb", "\rc", "'=d", "''+e", "'f", "g", "", "'"):
        assert harmless(text)[:1] not in ("=", "+", "-", "@", "\t", "\r")
        assert as_read(harmless(text)) == text


# Hostile arguments.


@pytest.mark.parametrize("number", [WHOLE, -WHOLE - 1, 10**40])
@pytest.mark.parametrize("arguments", [
    ("history", "show"), ("history", "delete"), ("history", "tag", "calm"), ("history", "--last"),
    ("trends", "--session"), ("trends", "--last"), ("trends", "--seed"), ("report", "--session"),
    ("scramble", "--seed"), ("review",), ("again",), ("drill", "plain", "--seed"),
    ("simulate", "no/never.jsonl", "--seed"), ("live", "--simulated", "--seed"),
])  # fmt: skip
def test_a_number_beyond_64_bits_is_refused(
    tmp_path: Path, arguments: tuple[str, ...], number: int
) -> None:
    done = called(
        *arguments, str(number), *(["x.html"] * (arguments[0] == "report")), folder=tmp_path
    )
    assert done.status == 2
    assert done.err


@pytest.mark.parametrize("arguments", [
    "history --person {}", "history --tag {}", "history tag {} 1", "trends --technique {}",
    "practice --typed --person {}", "hints {}", "inspect {}", "explain {}", "drill {}",
    "drill plain --simulated --person {}", "learn --cube x --name {}", "replay log --speed {}",
    "history --since {}", "report --person {} x.html", "history import log --person {}",
])  # fmt: skip
def test_an_argument_that_is_not_utf8_is_refused(tmp_path: Path, arguments: str) -> None:
    done = called(*(one.format("\udcff") for one in arguments.split()), folder=tmp_path)
    assert done.status == 2
    assert "UTF-8" in done.err or "udcff" in done.err


def test_a_file_name_that_is_not_utf8_is_a_file_name(tmp_path: Path) -> None:
    log = tmp_path / os.fsdecode(b"\xff.jsonl")
    shutil.copy(EVENING, log)
    done = called("replay", str(log), "--json", "--no-hints", folder=tmp_path)
    assert done.status == 0, done.err
    missing = called("replay", "\udcff", folder=tmp_path)
    assert missing.status == 2
    assert "cannot be opened" in missing.err


@pytest.mark.parametrize("day", ["2026-02-30", "2026-13", "0000", "2026-00-01", "9999-99-99"])
@pytest.mark.parametrize("option", ["--since", "--until"])
def test_a_day_that_does_not_exist_is_refused(tmp_path: Path, option: str, day: str) -> None:
    done = called("history", option, day, folder=tmp_path)
    assert done.status == 2
    assert day in done.err


@pytest.mark.parametrize("arguments", part_of([
    "history delete 1", "history undo", "history tag late 1 3", "history tag calm 2 --off",
    "history penalty 1 +2", "history penalty 2 measured", "history import {log}",
    "history import {log} --json", "history rescue",
], 4))  # fmt: skip
def test_a_database_that_another_program_keeps_locked_is_said_to_be_locked(
    kept: Path, arguments: str
) -> None:
    command = arguments.format(log=one_log(kept / "log.jsonl")).split()
    before = called("history", "export", "--json", folder=kept).out
    with locked(kept / "data"):
        done = called(*command, folder=kept)
        read = called("history", "export", "--json", folder=kept)
    assert (done.status, done.out) == (1, ""), done
    assert "is locked by another program; end that program, or try again" in done.err
    assert done.err.count("\n") == 1
    assert (read.out, read.status) == (before, 0)
    assert called("history", "export", "--json", folder=kept).out == before
    assert not list((kept / "data").glob("*broken*"))
    again = called(*command, folder=kept)
    assert again.status == 0, again.err
    after = called("history", "export", "--json", folder=kept).out
    assert (after == before) == (command[1] == "rescue")


def test_a_history_that_a_session_has_open_is_not_moved_aside_under_it(kept: Path) -> None:
    with History(kept / "data") as session, impatient():
        done = called("history", "rescue", folder=kept)
        session.tag([1], "late")
    assert done.status == 1
    assert "another program" in done.err
    assert '"late"' in called("history", "--json", folder=kept).out


# Times and sessions.


@pytest.fixture
def in_tokyo(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setenv("TZ", "Asia/Tokyo")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


@pytest.mark.usefixtures("in_tokyo")
def test_times_are_those_of_the_place_and_an_evening_may_cross_midnight(tmp_path: Path) -> None:
    late, next_day = one_log(tmp_path / "a.jsonl"), one_log(tmp_path / "b.jsonl")
    for log, hour in ((late, "14:55"), (next_day, "15:05")):  # 23:55, 00:05
        text = log.read_text(encoding="utf-8")
        log.write_text(text.replace("T18:20:00Z", f"T{hour}:00Z"), encoding="utf-8")
        assert "1 new solve," in called("history", "import", str(log), folder=tmp_path).out
    listed = called("history", folder=tmp_path).out
    assert "2026-03-01 23:55" in listed
    assert "2026-03-02 00:05" in listed
    for options, found in (
        ("--since 2026-03-02", 1), ("--until 2026-03-01", 1), ("--since 2026-03-03", 0),
        ("--since 2026 --until 2026-03", 2), ("--until 2026-02", 0), ("--until 2025", 0),
    ):  # fmt: skip
        out = called("history", *options.split(), "--json", folder=tmp_path).out
        assert len(out.splitlines()) == found, options
    assert "from 2026-03-01 to 2026-03-02" in called("trends", folder=tmp_path).out
    assert "2026-03-02 00:05" in called("history", "show", "2", folder=tmp_path).out


def test_the_number_that_session_asks_for_is_shown(tmp_path: Path) -> None:
    with History(tmp_path / "data") as history:
        numbers = [history.begin_session("ada", f"2026-03-0{n}T18:20:00Z", "x") for n in (1, 2)]
        with LogReader(EVENING) as reader:
            for at, found in enumerate(solves_in(reader.header, reader)):
                history.keep(found, "ada", numbers[at % 2])
    rows = [line.split() for line in called("history", folder=tmp_path).out.splitlines()[:6]]
    assert rows[0][1] == "session"
    assert [row[1] for row in rows[1:]] == ["1", "2", "1", "2", "1"]
    assert "session 2" in called("history", "show", "2", folder=tmp_path).out
    assert "2 solves" in called("trends", "--session", "2", folder=tmp_path).out
