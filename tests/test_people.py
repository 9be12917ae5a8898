"""People: who is meant, and that each solve is one person's whatever is done to the roster."""

from __future__ import annotations

import asyncio
import json
import os
import re
import sqlite3
import time
import zipfile
from collections import Counter
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any, Final
from unittest.mock import patch

import click
import pytest
from called import called
from click.testing import CliRunner
from examples import examples, part_of
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from livecube.advice.speaker import Manner
from livecube.cli.meeting import Meeting
from livecube.cli.options import HintsAsked, hint_options
from livecube.composition.assembly import find_decoder
from livecube.composition.choosing import ChosenCube
from livecube.composition.choosing import Wanted as WantedCube
from livecube.composition.live import Followed, LivePart, Solver
from livecube.composition.pipeline import Pipeline
from livecube.composition.publishing import Publishing
from livecube.composition.run import Output, Run, Wishes
from livecube.composition.sources import CubeSource, SimulatedSource, Simulation
from livecube.cube.holding import Holding
from livecube.dashboard.messages import Message
from livecube.dashboard.outbox import Outbox
from livecube.decoding import Advertisement
from livecube.drills.keeping import DrillKeeper
from livecube.edges.bleak_radio import BleakRadio
from livecube.edges.log_files import LogReader
from livecube.edges.radio import Sighting
from livecube.edges.remembered import RememberedCube, remember_cube
from livecube.edges.sinks import Board
from livecube.errors import KeepingError, UsageError
from livecube.history.forgetting import forget_person
from livecube.history.importing import import_log
from livecube.history.logs import OpenLog
from livecube.history.people import HABITS, People
from livecube.history.rescuing import rescue
from livecube.history.schema import MIGRATIONS
from livecube.history.store import DATABASE, History
from livecube.logs.lines import Header
from livecube.solves.people import (
    LONGEST_NAME,
    Asked,
    Person,
    known_person,
    parse_person,
    person_kept,
    person_meant,
    persons_read,
)
from livecube.solves.reading import solves_in
from livecube.solves.records import Wanted
from livecube.stages.tracker import Tracker
from livecube.views.live_screen import LiveScreen

if TYPE_CHECKING:
    from livecube.composition.sources import Source
    from livecube.solves.reading import FoundSolve

FIXTURES: Final = Path(__file__).parent.parent / "fixtures"
ADA: Final = Person(1, "Ada", ("Ice cube",), {"level": "keen"})
BO: Final = Person(2, "bo", ("AA:BB",))


# Names, and who is meant.


@pytest.mark.parametrize(
    ("text", "name"),
    [("Ada", "Ada"), ("  Ada \t Lund ", "Ada Lund"), ("A\u0308da", "Äda"), ("x" * 40, "x" * 40)],
)
def test_a_name_is_kept_as_it_is_shown(text: str, name: str) -> None:
    assert parse_person(text) == name
    assert parse_person(name) == name


@pytest.mark.parametrize(
    "text", ["", " \t", "a\x1b[31mb", "a\u202eb", "a\0b", "x" * (LONGEST_NAME + 1), "any", " ANY "]
)
def test_what_is_no_name_is_refused(text: str) -> None:
    with pytest.raises(UsageError):
        parse_person(text)


@pytest.mark.parametrize(
    ("people", "asked", "kept", "read"),
    [
        ((), Asked(), "me", None),
        ((), Asked(configured="Eve"), "Eve", None),
        ((ADA,), Asked(), "Ada", "Ada"),
        ((ADA,), Asked(said="ADA"), "Ada", "Ada"),
        ((ADA, BO), Asked("bo", ("ice CUBE",), "Ada"), "bo", "bo"),
        ((ADA, BO), Asked(None, ("ice CUBE", "x"), "bo"), "Ada", "Ada"),
        ((ADA, BO), Asked(None, ("x", "aa:bb"), "Ada"), "bo", "bo"),
        ((ADA, BO), Asked(None, ("x",), "bo"), "bo", "bo"),
    ],
)
def test_the_option_comes_before_the_cube_and_that_before_the_configuration(
    people: tuple[Person, ...], asked: Asked, kept: str, read: str | None
) -> None:
    assert person_kept(people, asked) == kept
    assert persons_read(people, asked).name == read
    assert persons_read(people, asked).title == (read if len(people) > 1 else None)


@pytest.mark.parametrize(
    ("people", "asked", "meant"),
    [
        ((), Asked(), None),
        ((ADA,), Asked(), "Ada"),
        ((ADA, BO), Asked(), None),
        ((ADA,), Asked("eve", ("ice cube",), "ada"), None),
        ((ADA, BO), Asked("ADA", ("aa:bb",), "bo"), "Ada"),
        ((ADA, BO), Asked(None, ("aa:bb",), "Ada"), "bo"),
        ((ADA, BO), Asked(None, ("x",), "ada"), "Ada"),
        ((ADA,), Asked(configured="eve"), None),
    ],
)
def test_settings_are_those_of_a_person_who_is_clear(
    people: tuple[Person, ...], asked: Asked, meant: str | None
) -> None:
    person = person_meant(people, asked)
    assert (person and person.name) == meant
    with pytest.raises(UsageError):
        person_meant(people, replace(asked, said=" "))


def test_a_name_is_that_of_whoever_writes_it_so() -> None:
    small = replace(BO, name="ada")
    for name, found in (("ada", small), ("Ada", ADA), ("ADA", small)):
        assert known_person((small, ADA), name) is found
    with pytest.raises(UsageError, match="--person is empty"):
        known_person((ADA,), " ")
    with pytest.raises(UsageError, match="no people are known yet"):
        known_person((), "Ada")
    for asked in (Asked("ADA"), Asked(configured="ADA")):
        assert person_kept((ADA,), asked) == "Ada"
    with pytest.raises(UsageError, match="--person is empty"):
        person_kept((ADA,), Asked(" "))
    with pytest.raises(UsageError, match=r"41$"):
        parse_person(41 * "x")
    for people in ((), (ADA,)):
        everybody = persons_read(people, Asked("any"))
        assert (everybody.name, everybody.title) == (None, None)
    nobody = persons_read((), Asked(configured="Ada"))
    assert (nobody.name, nobody.title) == (None, None)
    unshown = replace(ADA, name="a\x1b")
    assert persons_read((unshown, BO), Asked("a\x1b")).title == r"'a\x1b'"
    assert persons_read((replace(ADA, name=" "), BO), Asked(None, ("Ice Cube",))).title == "' '"


def test_nothing_is_mixed_unless_that_is_asked_for() -> None:
    for choose in (person_kept, persons_read):
        with pytest.raises(UsageError, match=r"Ada, bo.*--person NAME"):
            choose((ADA, BO), Asked())
    assert persons_read((ADA, BO), Asked("Any")).title == "everybody"
    with pytest.raises(UsageError, match="everybody"):
        person_kept((ADA, BO), Asked("any"))
    with pytest.raises(UsageError, match="nobody is called 'eve'; the people are Ada, bo"):
        persons_read((ADA, BO), Asked("eve"))
    with pytest.raises(UsageError, match="configuration says person 'eve'"):
        persons_read((ADA, BO), Asked(configured="eve"))
    with pytest.raises(UsageError, match=r"'a\\x1b'"):
        known_person((replace(ADA, name="a\x1b"),), "eve")


# Histories of older versions.


def older(folder: Path, version: int) -> None:
    """A history of an older version: Ada has two solves, somebody without a name has one."""
    with closing(sqlite3.connect(folder / DATABASE)) as old:
        for migration in MIGRATIONS[:version]:
            for statement in migration.split(";"):
                old.execute(statement)
        old.executemany("INSERT INTO person (id, name) VALUES (?, ?)", [(1, "Ada"), (3, "any")])
        old.execute("INSERT INTO session VALUES (4, 1, '2026-01-01T10:00:00Z', 'turnwire')")
        old.executemany(
            "INSERT INTO solve (id, identity, person, session, started, ms, turns, solved, gap, "
            "log) VALUES (?, ?, ?, ?, '2026-01-01T10:00:00Z', 9000, 50, 1, 0, 'solves/a.jsonl')",
            [(1, "a", 1, 4), (2, "b", 1, None), (7, "c", 2, None)],
        )
        old.execute("INSERT INTO imported (digest, name, imported) VALUES ('d', 'n', '')")
        old.execute(f"PRAGMA user_version = {version}")
        old.commit()


@pytest.mark.parametrize("version", range(1, 5))  # the fifth migration makes the roster
def test_a_history_of_each_older_version_gets_a_roster_and_keeps_its_solves(
    tmp_path: Path, version: int
) -> None:
    older(tmp_path, version)
    with History(tmp_path) as history:
        counted = {one.person.name: one.solves for one in People(history).kept()}
        assert counted == {"Ada": 2, "person 2": 1, "any-3": 0}
        assert history.database.execute("PRAGMA foreign_key_check").fetchall() == []
        assert history.session_person(4) == "Ada"
        assert history.begin_session("ada", "2026-01-02T10:00:00Z", "x") == 5
        assert forget_person(history, "Ada").solves == 2
        assert history.begin_session("Eve", "2026-01-02T10:00:00Z", "x") == 6
        assert history.people() == ["person 2", "any-3", "Eve"]


@pytest.mark.parametrize("version", part_of(range(1, len(MIGRATIONS)), 3))
def test_a_rescue_reads_an_older_version_too(tmp_path: Path, version: int) -> None:
    older(tmp_path, version)
    rescue(tmp_path)
    with History(tmp_path) as history:
        assert [one.person for one in history.list(Wanted())] == ["Ada", "Ada"]  # bo is nobody


# A session goes on whatever its person is called.


def found_solves() -> list[FoundSolve]:
    with LogReader(FIXTURES / "evening.jsonl") as reader:
        return list(solves_in(reader.header, reader))


def test_a_session_goes_on_under_a_new_name_and_not_for_somebody_forgotten(tmp_path: Path) -> None:
    first, second, *_, last = found_solves()
    with History(tmp_path) as history:
        people = People(history)
        session = history.begin_session("Ada", "2026-01-01T10:00:00Z", "x")
        history.keep(first, "Ada", session)
        people.rename("ada", "Eve")
        history.keep(second, "Ada", session)
        assert {one.person for one in history.list(Wanted())} == {"Eve"}
        forget_person(history, "Eve")
        again = history.begin_session("Bo", "2026-01-01T10:00:00Z", "x")
        assert again != session
        with pytest.raises(KeepingError, match="forgotten"):
            history.keep(last, "Ada", session)
        assert history.people() == ["Bo"]
    assert not list((tmp_path / "solves").rglob("*.jsonl"))


def test_drills_go_on_under_a_new_name_and_not_for_somebody_forgotten(tmp_path: Path) -> None:
    complaints: list[str] = []
    keeper = DrillKeeper(tmp_path, "Ada", complaints.append)
    with History(tmp_path) as history:
        keeper.keep_round("beat", {})
        People(history).rename("Ada", "Eve")
        keeper.keep_round("beat", {})
        assert [(one.person.name, one.drills) for one in People(history).kept()] == [("Eve", 2)]
        assert [one["what"] for one in People(history).drills("Eve")] == ["round", "round"]
        assert forget_person(history, "Eve").drills == 2
        assert not complaints
        keeper.keep_round("beat", {})
        keeper.close(complaints.append)
        assert history.people() == []
    assert "Ada was forgotten" in complaints[0]
    assert "1 drill is not kept" in complaints[1]


def test_what_cannot_be_deleted_leaves_the_person_there(tmp_path: Path) -> None:
    with History(tmp_path) as history:
        import_log(history, FIXTURES / "given-start.jsonl", "Ada")
        (one,) = history.solves(Wanted())
        log = tmp_path / one.log
        content = log.read_bytes()
        log.unlink()
        log.mkdir()
        with pytest.raises(KeepingError, match="cannot be deleted"):
            forget_person(history, "Ada")
        assert len(history.list(Wanted(person="Ada"))) == 1
        log.rmdir()
        log.write_bytes(content)
        assert forget_person(history, "Ada").solves == 1
    assert not list((tmp_path / "solves").glob("*"))


def test_part_of_a_session_moves_into_a_session_of_its_own(tmp_path: Path) -> None:
    with History(tmp_path) as history:
        people = People(history)
        session = history.begin_session("Ada", "2026-01-01T10:00:00Z", "x")
        one, two, three = [history.keep(s, "Ada", session) or 0 for s in found_solves()[:3]]
        people.add("Bo")
        with pytest.raises(UsageError, match="Ada has no solve 99"):
            people.move("Ada", "Bo", [one, 99])
        with pytest.raises(UsageError, match="nobody is called 'Eve'"):
            people.move("Ada", "Eve", [one])
        people.move("Ada", "Bo", [two])
        (moved,) = history.list(Wanted(person="Bo"))
        assert moved.session not in (None, session)
        assert history.session_person(moved.session or 0) == "Bo"
        history.delete([three])
        assert people.move("Ada", "Bo", Wanted()) == [one, three]
        assert history.session_person(session) == "Bo"
        history.undo()
        assert len(history.list(Wanted(person="Bo"))) == 3


def test_a_forgotten_persons_solves_are_not_brought_back_nor_are_others_lost(
    tmp_path: Path,
) -> None:
    with History(tmp_path) as history:
        import_log(history, FIXTURES / "given-start.jsonl", "Bo")
        import_log(history, FIXTURES / "evening.jsonl", "Ada")
        (his,) = history.list(Wanted(person="Bo"))
        hers = [one.number for one in history.list(Wanted(person="Ada"))]
        history.tag([his.number, hers[0]], "calm")
        history.delete([hers[1]])
        history.delete([hers[2], his.number])
        forget_person(history, "Ada")
        assert history.undo() == f"brought back: {his.number}"
        assert history.undo() == f"tag calm taken from: {his.number}"
        assert history.undo() is None
        assert import_log(history, FIXTURES / "evening.jsonl", "Ada") is not None


# The roster against a model.

NAMES: Final = ("Quillon", "quillon", "Zebulah", "Ottoline Vance", "Ywain", "Äda Xu")
"""They stand in no other bytes of a history; two are the same but for case."""
SOLVES: Final = found_solves()


@settings(examples(12), stateful_step_count=20)
class Roster(RuleBasedStateMachine):
    """A real history beside a dictionary of solves."""

    def __init__(self) -> None:
        super().__init__()
        self.place = TemporaryDirectory()
        self.folder = Path(self.place.name)
        self.history = History(self.folder)
        self.people = People(self.history)
        self.model: dict[str, set[str]] = {}
        """Identities of solves by name."""
        self.added = 0
        self.theirs: dict[str, set[str]] = {}
        """Cubes, what was learned, and earlier names, by present name."""
        self.gone: set[str] = set()
        """All names of forgotten people, and identities of their solves."""

    def teardown(self) -> None:
        self.history.close()
        self.place.cleanup()

    def known(self, name: str) -> str | None:
        return next((one for one in self.model if one.lower() == name.lower()), None)

    @rule(name=st.sampled_from(NAMES))
    def add(self, name: str) -> None:
        if self.known(name) is not None:
            with pytest.raises(UsageError, match="there already"):
                self.people.add(name)
            return
        self.added += 1
        cube, habits = f"cube-{self.added}-", f"habits-{self.added}-"
        self.people.add(name, {"level": "keen"}, [cube])
        self.people.note_learned(name, HABITS, habits, 3)
        self.model[name] = set()
        self.theirs[name] = {cube, habits}
        self.gone.discard(name)

    @rule(name=st.sampled_from(NAMES), at=st.integers(0, len(SOLVES) - 1), session=st.booleans())
    def keep(self, name: str, at: int, session: bool) -> None:
        one = SOLVES[at]
        identity = one.kept.listed.identity
        is_new = all(identity not in solves for solves in self.model.values())
        where = self.history.begin_session(name, "2026-01-01T10:00:00Z", "x") if session else None
        kept = self.history.keep(one, name, where)
        assert (kept is not None) == is_new
        if self.known(name) is None and (session or is_new):
            self.model[name] = set()
            self.gone.discard(name)
        if is_new:
            self.model[self.known(name) or name].add(identity)
            self.gone.discard(identity)
        if kept is not None and at % 2:
            self.history.tag([kept], "calm")

    @rule(old=st.sampled_from(NAMES), new=st.sampled_from(NAMES))
    def rename(self, old: str, new: str) -> None:
        was, there = self.known(old), self.known(new)
        if was is None or there not in (None, was):
            with pytest.raises(UsageError):
                self.people.rename(old, new)
            return
        self.people.rename(old, new)
        self.model[new] = self.model.pop(was)
        self.theirs[new] = {was, *self.theirs.pop(was, ())}
        self.gone -= {new, was}

    @rule(source=st.sampled_from(NAMES), to=st.sampled_from(NAMES), part=st.booleans())
    def move(self, source: str, to: str, part: bool) -> None:
        giver, taker = self.known(source), self.known(to)
        if giver is None or taker is None or giver == taker:
            with pytest.raises(UsageError):
                self.people.move(source, to, Wanted())
            return
        theirs = self.history.list(Wanted(person=giver))
        going = theirs[: len(theirs) // 2] if part else theirs
        self.people.move(source, to, [one.number for one in going] if part else Wanted())
        moved = {one.identity for one in going}
        self.model[giver] -= moved
        self.model[taker] |= moved

    @precondition(lambda self: self.model)
    @rule(data=st.data())
    def forget(self, data: Any) -> None:
        name = data.draw(st.sampled_from(sorted(self.model)))
        found = forget_person(self.history, name.upper())
        theirs = self.model.pop(name)
        assert (found.solves, found.whole) == (len(theirs), True)
        self.gone |= {name, *theirs, *self.theirs.pop(name, ())}

    @invariant()
    def each_solve_is_one_persons(self) -> None:
        kept = Counter((one.person, one.identity) for one in self.history.list(Wanted()))
        model = {(name, one) for name, solves in self.model.items() for one in solves}
        assert kept == Counter(model)
        assert {one.person.name: one.solves for one in self.people.kept()} == {
            name: len(solves) for name, solves in self.model.items()
        }
        assert self.history.database.execute("PRAGMA foreign_key_check").fetchall() == []

    @invariant()
    def a_session_is_of_one_person(self) -> None:
        mixed = self.history.database.execute(
            "SELECT count(*) FROM solve JOIN session ON session.id = solve.session "
            "WHERE session.person != solve.person"
        ).fetchone()
        assert mixed == (0,)

    @invariant()
    def nothing_is_left_of_anyone_forgotten(self) -> None:
        logs = {path.stem for path in self.folder.rglob("*.jsonl")}
        assert logs == {one for solves in self.model.values() for one in solves}
        if self.gone:
            files = [path for path in self.folder.rglob("*") if path.is_file()]
            whole = b"".join(path.read_bytes() for path in files)
            for trace in self.gone:
                if trace.lower() not in {name.lower() for name in self.model}:
                    assert trace.encode() not in whole, trace


TestRoster = Roster.TestCase


# The command.


def test_a_home_of_one_needs_no_names_and_one_of_two_says_whose(tmp_path: Path) -> None:
    def told(*arguments: str) -> str:
        done = called(*arguments, folder=tmp_path)
        assert done.status == 0, done.err
        return done.out

    told("history", "import", str(FIXTURES / "evening.jsonl"))
    alone = [told("history"), told("history", "show", "1"), told("trends")]
    assert not any("me" in re.findall(r"\w+", one) for one in alone)
    told("people", "add", "Bo\N{LATIN SMALL LETTER O WITH STROKE}")
    told("people", "rename", "ME", "Ada")
    told("people", "move", "ada", "BO\N{LATIN CAPITAL LETTER O WITH STROKE}", "2", "3")
    refused = (
        *("history", "trends", "review --last", "report a.html", "history export"),
        *("drill due --typed", "history import x", "live --typed", "practice --typed"),
        *("review --missing", "again --technique plain"),
    )
    for command in refused:
        done = called(*command.split(), folder=tmp_path)
        assert (done.status, done.out) == (2, ""), command
        assert "Ada, Boø" in done.err, command
        assert "--person NAME" in done.err, command
    assert told("history", "--person", "Ada").startswith("solves of Ada\n")
    assert told("trends", "--person", "ada").startswith("Ada: 3 solves")
    assert json.loads(told("trends", "--person", "any", "--json"))["solves"] == 5
    assert "2026-03-01 18:21   Boø" in told("history", "show", "2")
    everybody = told("history", "--person", "any").splitlines()
    assert [line.split()[1] for line in everybody[3:8]] == ["Ada", "Boø", "Boø", "Ada", "Ada"]
    (tmp_path / "config").mkdir()
    (tmp_path / "config" / "config.toml").write_text('[practice]\nperson = "boø"\n')
    assert told("history").startswith("solves of Boø\n")


@pytest.mark.thorough
def test_nothing_of_anyone_forgotten_is_left_in_any_folder(tmp_path: Path) -> None:
    def told(*arguments: str) -> list[dict[str, Any]]:
        done = called(*arguments, "--json", folder=tmp_path)
        assert done.status == 0, done.err
        return [json.loads(line) for line in done.out.splitlines()]

    add = ("people", "add", "Ottoline", "--cube", "Ice Quillon")
    with patch.dict(os.environ, {"LIVECUBE_STATE": str(tmp_path / "state")}):
        told(*add)
        told("people", "add", "Bo")
        told("history", "import", str(FIXTURES / "evening.jsonl"), "--person", "Ottoline")
        told("history", "import", str(FIXTURES / "given-start.jsonl"), "--person", "Bo")
        rows = told("history", "--person", "ottoline")
        remember_cube(RememberedCube("AA:BB", "Ice Quillon", "turnwire"))
        outbox = Outbox(tmp_path / "state" / "outbox-1.sqlite", print)
        outbox.add([Message(7, "solve/latest", {"id": "zebulah", "seconds": 9}, retain=True)])
        outbox.close()
    (tmp_path / "data" / "unfinished").mkdir()
    with History(tmp_path / "data") as history:
        session = history.begin_session("ottoline", "2026-01-01T10:00:00Z", "Zebulah")
    (tmp_path / "data" / "unfinished" / f"{session}-1-2.jsonl").write_text("zebulah")
    log = tmp_path / "data" / "solves" / "2026-03" / f"{rows[0]['identity']}.9.part"
    log.write_text("zebulah")
    told("people", "export", "Ottoline", str(tmp_path / "o.zip"))
    with zipfile.ZipFile(tmp_path / "o.zip") as out:
        out.extractall(tmp_path / "copy")
    assert called("people", "forget", "Ottoline", folder=tmp_path).status == 2  # asks first
    (gone,) = told("people", "forget", "ottoline", "--yes")
    assert (gone["forgotten"], gone["solves"]) == ("Ottoline", len(rows))
    assert any("mqtt forget" in sentence for sentence in gone["left"])
    traces = [b"ottoline", b"quillon", b"zebulah", *(one["identity"].encode() for one in rows)]
    for place in ("data", "state"):
        for path in (tmp_path / place).rglob("*"):
            there = (path.read_bytes() if path.is_file() else b"") + path.name.encode()
            assert not [trace for trace in traces if trace in there.lower()], path
    assert [one["person"] for one in told("history")] == ["Bo"]
    told("history", "import", str(tmp_path / "copy" / "logs"), "--person", "Ottoline")
    again = told("history", "--person", "Ottoline")
    assert [one["identity"] for one in again] == [one["identity"] for one in rows]
    assert {one["number"] for one in again}.isdisjoint(one["number"] for one in rows)


def test_settings_of_a_person_are_checked_as_a_whole(tmp_path: Path) -> None:
    def told(*arguments: str) -> dict[str, Any]:
        done = called("people", *arguments, "--json", folder=tmp_path)
        assert done.status == 0, done.err
        settings: dict[str, Any] = json.loads(done.out)["settings"]
        return settings

    assert told("add", "Ada", "--level", "bold", "--cross", "white red") == {
        "level": "bold",
        "cross": "white red",
    }
    refused = {
        "--up yellow": "--up and --front go together",
        "--cross pink": "'pink' is not a cross colour",
        "--focus nonsense": "no technique 'nonsense'",
        "--hands no-such-file": "no-such-file cannot be read",
        "--within nan": "nan is not a number",
        "--no-cube Ice": "Ada has no cube 'Ice'",
    }
    for options, why in refused.items():
        done = called("people", "set", "Ada", *options.split(), folder=tmp_path)
        assert (done.status, done.out) == (2, ""), options
        assert why in done.err
    changed = told("set", "ada", "--clear", "level", "--voice")
    assert changed == {"cross": "white red", "voice": True}
    done = called("history", "import", "no-such", "--person", "Adda", folder=tmp_path)
    assert "Adda is new beside Ada" in done.err


def test_a_session_under_way_is_not_forgotten(tmp_path: Path) -> None:
    with History(tmp_path) as history:
        number = history.begin_session("Ada", "2026-01-01T10:00:00Z", "turnwire")
        header = Header("2026-01-01T10:00:00Z", "turnwire", "cube", None)
        log = OpenLog(tmp_path, number, 1, header)
        with pytest.raises(KeepingError, match="under way"):
            forget_person(history, "Ada")
        log.close()
        assert forget_person(history, "Ada").whole
    assert not log.path.exists()


@pytest.mark.parametrize("name", ["", "  ", "a\x1b[2J", "x" * 41, "ANY", "\u202eada"])
def test_hostile_names_are_refused_everywhere_in_the_same_way(tmp_path: Path, name: str) -> None:
    told = set()
    for command in (("people", "add", name), ("live", "--simulated", "--person", name)):
        done = called(*command, folder=tmp_path)
        assert (done.status, done.out) == (2, "")
        assert "\x1b" not in done.err
        told.add(done.err)
    assert len(told) == 1
    assert not [*tmp_path.rglob("*.jsonl")]


def at_cube(name: str, *options: str) -> Solver:
    """Who turns a cube by radio with this name, when ``live`` has found it."""
    found: list[Solver] = []

    @click.command()
    @click.option("--person")
    @hint_options
    def following(person: str | None, hints: HintsAsked) -> None:
        followed = Meeting(person, hints, (None, None), keeps=True, virtual=False).followed(
            None, by_radio=True
        )
        sighting = Sighting("AA:BB", name, -40, Advertisement(name, (), ()))
        source = CubeSource(BleakRadio(), WantedCube(), None)
        source._chosen = ChosenCube(sighting, "turnwire", find_decoder("turnwire"))
        found.append(followed.at_cube(source) if followed.at_cube else followed.solver)

    done = CliRunner().invoke(following, options)
    if done.exception is not None:
        raise done.exception
    return found[0]


def test_a_cubes_owner_is_met_when_it_is_found_with_settings_of_their_own(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("data", "config", "state"):
        monkeypatch.setenv(f"LIVECUBE_{name.upper()}", str(tmp_path / name))
    (tmp_path / "config").mkdir()
    (tmp_path / "config" / "config.toml").write_text('[hints]\nlevel = "keen"\nwhen = "after"\n')
    alone = at_cube("x")
    assert (alone.person, alone.title, alone.wishes.level) == ("me", "", "keen")
    with History(tmp_path / "data") as history:
        mine = {"level": "bold", "cross": "yellow red", "up": "yellow", "front": "green"}
        People(history).add("Ada", mine, ["Ice cube"])
        People(history).add("Bo", {"hands": "left"}, ["Fire cube"])
        People(history).note_learned("Bo", HABITS, "{}", 9)
    ada, bo = at_cube("ICE cube"), at_cube("fire cube", "--level", "calm")
    assert (ada.person, ada.title, ada.habits) == ("Ada", "Ada", None)
    assert (ada.wishes.level, ada.wishes.manner.when, ada.wishes.hands) == ("bold", "after", None)
    assert (ada.wishes.manner.crosses, ada.holding) == ((5, 3), Holding.of(5, 2))
    assert (bo.person, bo.wishes.level, bo.holding) == ("Bo", "calm", None)
    assert bo.wishes.hands is not None
    assert bo.habits is not None
    assert at_cube("ice cube", "--person", "bo").wishes.level == "keen"
    with pytest.raises(UsageError, match=r"Ada, Bo.*--person NAME"):
        at_cube("another cube")


def test_the_solves_of_a_run_belong_to_whom_the_found_cube_says(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("LIVECUBE_DATA", str(tmp_path))
    with History(tmp_path) as history:
        People(history).add("Ada")
        People(history).add("Bo")
    met: list[str] = []

    def at_cube(source: Source) -> Solver:
        met.append(source.title)
        quiet = Wishes(None, None, Manner(crosses=(5,)), voice=False)
        return Solver("bo", quiet, Holding.of(5, 2), title="Bo")

    nobody = Solver(None, Wishes("bold", None, Manner(), voice=False))
    pipeline = Pipeline(Tracker(), time.perf_counter)
    part = LivePart(
        pipeline,
        Publishing(None, None, plain=False, off=True),
        Followed(nobody, None, at_cube),
        log=None,
        begin=asyncio.Event(),
    )
    board: Board[Any] = Board(LiveScreen(""))
    Run(SimulatedSource(Simulation(1, 1, 1000)), Output(board, as_json=True)).go(part)
    assert met == ["simulated cube, seed 1"]
    assert board.shown.source == "simulated cube, seed 1, Bo"
    assert pipeline.manner.crosses == (5,)
    assert '"event": "solve"' in capsys.readouterr().out
    with History(tmp_path) as history:
        assert [one.person for one in history.list(Wanted())] == ["Bo"]
