"""The history: solves are kept once, found, changed, and changes undone."""

from __future__ import annotations

import io
import json
import shutil
import sqlite3
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import pyarrow.parquet
import pytest
from click.testing import CliRunner, Result

from livecube.cli.history import history as command
from livecube.cube.holding import Holding
from livecube.cube.notation import parse_turns
from livecube.cube.position import SOLVED, apply_turns, inverse_turns, parse_turn
from livecube.edges.log_files import LogReader, LogWriter
from livecube.errors import UsageError
from livecube.events import HeldAs, SolveMark, State, Turn
from livecube.history.database import open_database
from livecube.history.exporting import COLUMNS, read_csv
from livecube.history.importing import import_log, log_files, recover
from livecube.history.kept_session import Session
from livecube.history.logs import OpenLog
from livecube.history.schema import MIGRATIONS
from livecube.history.sink import HistorySink
from livecube.history.store import DATABASE, History
from livecube.logs.lines import Header
from livecube.practice.news import Corrected, Discarded, Judged, Tally
from livecube.solves.reading import solves_in
from livecube.solves.records import Chance, Price, Wanted
from livecube.timing.results import Penalty, result_text
from livecube.virtual.session import session

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from livecube.events import CubeEvent

FIXTURES = Path(__file__).parent.parent / "fixtures"
EVENING = FIXTURES / "evening.jsonl"
STARTED = "2026-03-01T18:20:00Z"


@pytest.fixture
def history(tmp_path: Path) -> Iterator[History]:
    with History(tmp_path / "data") as opened:
        yield opened


@pytest.fixture
def evening(history: History) -> History:
    import_log(history, EVENING, "ada")
    return history


def write(path: Path, events: Sequence[CubeEvent], scramble: str | None = None) -> Path:
    with LogWriter(path, Header(STARTED, "simulation", "cube", scramble)) as writer:
        for event in events:
            writer.write(event)
    return path


def test_what_is_kept_is_what_the_virtual_solver_did(history: History, tmp_path: Path) -> None:
    done = session(11, 6)
    import_log(history, write(tmp_path / "a.jsonl", done.events()), "ada")
    kept = history.solves(Wanted())
    solved = [one for one in done.solves if one.solved]
    assert len(kept) == len(solved) == 6
    for one, truth in zip(kept, solved, strict=True):
        assert one.listed.ms == round(1000 * truth.seconds)
        assert one.listed.cross == truth.cross_colour
        assert [s.technique for s in one.stages if s.stage == "pair"] == [
            s.technique for s in truth.stages if s.stage == "pair"
        ]


@pytest.mark.parametrize("name", ["evening", "unmarked", "given-start"])
def test_the_log_of_each_solve_gives_the_same_solve_again(history: History, name: str) -> None:
    import_log(history, FIXTURES / f"{name}.jsonl", "ada")
    kept = history.solves(Wanted())
    assert kept
    for one in kept:
        with LogReader(history.folder / one.log) as reader:
            (again,) = solves_in(reader.header, reader)
        assert again.kept.stages == one.stages
        assert again.kept.listed.identity == one.listed.identity
        assert (again.kept.listed.ms, again.kept.listed.measured) == (
            one.listed.ms,
            one.listed.measured,
        )


def test_finished_solves_that_took_no_time_are_counted_and_not_kept(
    history: History, tmp_path: Path
) -> None:
    turns = [Turn(7.0, turn) for turn in parse_turns("R U R' U' L F2 L' B D2 B'")]
    back = [Turn(7.0, turn) for turn in inverse_turns([one.turn for one in turns])]
    for times in (0, 1, 2):
        came = import_log(history, write(tmp_path / f"{times}.jsonl", [*turns, *back] * times), "")
        assert came is not None
        assert (came.added, came.timeless) == ((), times)


def test_nothing_is_added_twice(evening: History, tmp_path: Path) -> None:
    before = evening.list(Wanted())
    assert before[0].identity == "d81d1090ab80410cedeb5b64c20237a7"  # as histories have kept it
    assert import_log(evening, EVENING, "ada") is None
    copy = tmp_path / "copy.jsonl"
    copy.write_bytes(EVENING.read_bytes() + b"\n")  # another file with the same solves
    came = import_log(evening, copy, "ada")
    assert came is not None
    assert (came.added, came.known) == ((), len(before))
    for log in log_files([evening.folder / "solves"]).logs:
        came = import_log(evening, log, "ada")
        assert came is not None
        assert not came.added
    assert evening.list(Wanted()) == before


def test_marks_tell_of_inspection_and_of_a_cube_one_turn_short(
    history: History, tmp_path: Path
) -> None:
    """A4d1: two seconds from 15.00 s on; 10f1: two seconds for one turn short."""
    events: list[CubeEvent] = [
        SolveMark(1.0, 1, "inspect"),
        HeldAs(2.0, Holding.of(5, 2)),
        SolveMark(16.5, 1, "start"),
        *(Turn(16.5 + at / 2, turn) for at, turn in enumerate(parse_turns("R' L L'"))),
        SolveMark(19.25, 1, "end"),
        SolveMark(20.0, 2, "inspect"),
        SolveMark(38.0, 2, "start"),
        Turn(38.0, parse_turn("F")),
        SolveMark(39.0, 2, "end"),
        SolveMark(50.0, 3, "start"),
        Turn(50.0, parse_turn("F'")),
        SolveMark(51.0, 3, "abandon"),
    ]
    import_log(history, write(tmp_path / "short.jsonl", events, "U R"), "ada")
    first, second = history.list(Wanted())
    assert first.measured == (Penalty("+2", "inspection"), Penalty("+2", "one turn short"))
    assert (first.ms, first.inspection_ms, first.solved) == (2750, 15_500, False)
    assert first.workings == "2.75 + 4 = 6.75"
    assert second.measured == (Penalty("DNF", "inspection"), Penalty("DNF", "not solved"))
    with LogReader(history.folder / history.solve(first.number).log) as reader:
        (again,) = solves_in(reader.header, reader)
    assert again.kept.listed.measured == first.measured


def test_filters(evening: History) -> None:
    import_log(evening, FIXTURES / "given-start.jsonl", "bo")
    every = evening.solves(Wanted())
    assert [s.listed for s in every] == evening.list(Wanted())
    technique = next(t for one in every for s in one.stages if (t := s.technique))
    evening.tag([every[0].listed.number], "cold-hands")
    for wanted, holds in (
        (Wanted(person="bo"), lambda one: one.listed.person == "bo"),
        (Wanted(cross="red"), lambda one: one.listed.cross == "red"),
        (Wanted(tag="cold-hands"), lambda one: one is every[0]),
        (
            Wanted(technique=technique),
            lambda one: technique in [stage.technique for stage in one.stages],
        ),
        (Wanted(since="2026-03-02"), lambda one: False),
        (Wanted(until="2026-03-01"), lambda one: True),
        (Wanted(until="2026-02"), lambda one: False),
    ):
        found = [one.identity for one in evening.list(wanted)]
        assert found == [one.listed.identity for one in every if holds(one)], wanted
    assert evening.list(Wanted(most=2)) == evening.list(Wanted())[-2:]
    assert evening.people() == ["ada", "bo"]


def test_changes_are_undone_one_by_one(evening: History) -> None:
    states = [evening.list(Wanted())]
    one, two = states[0][1].number, states[0][2].number
    changes: list[Callable[[], None]] = [
        lambda: evening.tag([one, two], "x"),
        lambda: evening.correct(one, (Penalty("+2"),)),
        lambda: evening.correct(one, (Penalty("DNF"),)),
        lambda: evening.delete([one]),
        lambda: evening.tag([two], "x", on=False),
    ]
    for change in changes:
        change()
        states.append(evening.list(Wanted()))
    assert len({str(state) for state in states}) == len(states)
    for before in reversed(states[:-1]):
        assert evening.undo() is not None
        assert evening.list(Wanted()) == before
    assert evening.undo() is None


def test_a_correction_shows_both(evening: History) -> None:
    number = evening.list(Wanted())[0].number
    evening.correct(number, (Penalty("+2"),))
    solve = evening.solve(number).listed
    assert solve.measured == ()
    assert solve.workings == f"17.04 + 2 = {result_text(solve.result)}, measured 17.04"
    evening.correct(number, None)
    assert evening.solve(number).listed.corrected is None


def test_chances_are_kept_beside_a_solve(evening: History) -> None:
    number = evening.list(Wanted())[0].number
    found = (Chance(2, "keyhole-corner", "blue-red", False, 350),)
    evening.note_chances(number, found)
    evening.note_chances(number, found)
    assert evening.chances(number) == found


def test_a_deleted_solve_is_not_imported_again(evening: History, tmp_path: Path) -> None:
    gone = evening.list(Wanted())[0]
    evening.delete([gone.number])
    copy = tmp_path / "copy.jsonl"
    copy.write_bytes(EVENING.read_bytes() + b"\n")
    import_log(evening, copy, "ada")
    assert gone.identity not in [one.identity for one in evening.list(Wanted())]
    with pytest.raises(UsageError, match="no solve has the number"):
        evening.solve(gone.number)


def one_solve() -> tuple[str, list[CubeEvent]]:
    with LogReader(FIXTURES / "given-start.jsonl") as reader:
        return str(reader.header.scramble), list(reader)


def open_log(history: History, number: int, events: Sequence[CubeEvent]) -> OpenLog:
    scramble, _ = one_solve()
    session_number = history.begin_session("ada", STARTED, "turnwire")
    log = OpenLog(
        history.folder, session_number, number, Header(STARTED, "turnwire", "cube", scramble)
    )
    for event in events:
        log.write(event)
    return log


def test_what_a_crash_left_is_recovered(history: History) -> None:
    _, events = one_solve()
    finished = open_log(history, 1, events)
    unfinished = open_log(history, 2, events[:-5])
    held = recover(history)  # both are under way: another program's, perhaps
    assert (held.solves, held.unfinished) == ((), ())
    finished.close()
    unfinished.close()
    with unfinished.path.open("a") as file:
        file.write('{"t": 99.0, "tu')  # torn
    found = recover(history)
    assert len(found.solves) == 1
    assert "kept now" in found.sentence
    assert "under way" in found.sentence
    assert [one.person for one in history.list(Wanted())] == ["ada"]
    assert [path.exists() for path in found.unfinished] == [True]
    assert recover(history).sentence == ""


def test_a_log_whose_solve_is_kept_already_only_goes(history: History) -> None:
    _, events = one_solve()
    log = open_log(history, 1, events)
    log.close()
    copy = log.path.with_name("9-9.jsonl")
    shutil.copy(log.path, copy)
    assert len({*recover(history).solves}) == 1
    assert len(history.list(Wanted())) == 1
    assert log_files([history.folder / "open"]).logs == ()


def test_a_history_of_an_older_version_gets_prices_and_keeps_its_chances(tmp_path: Path) -> None:
    old = sqlite3.connect(tmp_path / DATABASE)
    for statements in MIGRATIONS[:4]:
        for statement in statements.split(";"):
            old.execute(statement)
    old.execute("PRAGMA user_version = 4")
    old.commit()
    with History(tmp_path / "model") as model:
        import_log(model, EVENING, "ada")
        model.note_chances(1, [Chance(2, "keyhole-corner", "GR", True, 350)])
        for table in ("person", "solve", "chance"):
            known = [name for _, name, *_ in old.execute(f"PRAGMA table_info({table})")]
            rows = model.database.execute(f"SELECT {', '.join(known)} FROM {table}")
            old.executemany(f"INSERT INTO {table} VALUES ({', '.join('?' * len(known))})", rows)
    old.commit()
    old.close()
    with History(tmp_path) as history:
        assert history.chances(1) == (Chance(2, "keyhole-corner", "GR", True, 350),)
        assert history.prices(1) == ()
        price = Price(2, "keyhole-corner", 120, True)
        history.note_chances(1, history.chances(1), [price])
        assert history.prices(1) == (price,)


def test_a_database_of_a_newer_version_is_refused(tmp_path: Path) -> None:
    open_database(tmp_path / DATABASE).close()
    other = sqlite3.connect(tmp_path / DATABASE)
    other.execute(f"PRAGMA user_version = {len(MIGRATIONS) + 1}")
    other.close()
    with pytest.raises(UsageError, match="newer livecube"):
        History(tmp_path)


def test_what_is_no_database_is_refused_and_left_alone(tmp_path: Path) -> None:
    (tmp_path / DATABASE).write_bytes(b"my shopping list, in a file of this name " * 40)
    with pytest.raises(UsageError, match="is not a usable history"):
        History(tmp_path)
    assert (tmp_path / DATABASE).read_bytes().startswith(b"my shopping list")


def test_the_database_has_what_was_asked_for(history: History) -> None:
    database = sqlite3.connect(history.folder / DATABASE)
    try:
        assert database.execute("PRAGMA journal_mode").fetchone() == ("wal",)
        assert database.execute("PRAGMA user_version").fetchone() == (len(MIGRATIONS),)
        assert database.execute("PRAGMA foreign_key_check").fetchall() == []
        assert database.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    finally:
        database.close()


def run(*arguments: str, folder: Path) -> Result:
    return CliRunner().invoke(
        command, arguments, env={"LIVECUBE_DATA": str(folder)}, catch_exceptions=False
    )


def test_the_command_lists_shows_changes_and_exports(tmp_path: Path) -> None:
    folder = tmp_path / "data"
    logs = tmp_path / "logs"
    (logs / "deeper").mkdir(parents=True)
    shutil.copy(EVENING, logs / "deeper")
    assert "5 new solves" in run("import", str(logs), folder=folder).output
    assert "0 new solves" in run("import", str(logs), folder=folder).output
    run("tag", "calm", "2", "3", folder=folder)
    assert "17.04 + 2 = 19.04, measured 17.04" in run("penalty", "1", "+2", folder=folder).output
    run("delete", "4", folder=folder)
    told = [json.loads(line) for line in run("--json", folder=folder).output.splitlines()]
    assert [one["number"] for one in told] == [1, 2, 3, 5]
    assert [one["tags"] for one in told] == [[], ["calm"], ["calm"], []]
    assert told[0]["result_ms"] == 19_040
    shown = json.loads(run("show", "1", "--json", folder=folder).output)
    assert len(shown["stages"]) == 8
    assert "keyhole" in run("show", "2", folder=folder).output
    rows = read_csv(io.StringIO(run("export", folder=folder).output))
    assert tuple(rows[0]) == COLUMNS
    assert [row["tags"] for row in rows] == ["", "calm", "calm", ""]
    table = tmp_path / "solves.parquet"
    run("export", "--parquet", "--to", str(table), folder=folder)
    parquet = pyarrow.parquet.read_table(table).to_pylist()
    assert [
        {name: "" if value is None else str(value) for name, value in row.items()}
        for row in parquet
    ] == rows
    objects = run("export", "--json", "--tag", "calm", folder=folder).output.splitlines()
    assert [json.loads(line)["number"] for line in objects] == [2, 3]
    assert "brought back: 4" in run("undo", folder=folder).output


def test_a_log_that_cannot_be_read_is_told_and_the_others_are_in(tmp_path: Path) -> None:
    bad = tmp_path / "a-bad.jsonl"
    bad.write_text("not a log\n")
    with pytest.raises(UsageError, match="1 of 2 logs could not be read"):
        run("import", str(bad), str(EVENING), folder=tmp_path / "data")
    assert len(run("--json", folder=tmp_path / "data").output.splitlines()) == 5


async def test_what_cannot_be_kept_is_told_and_kept_by_the_next_start(history: History) -> None:
    _, events = one_solve()
    log = open_log(history, 1, events)
    log.close()
    complaints: list[str] = []
    with History(history.folder) as gone:
        sink = HistorySink(Session.begun(gone, 1), complaints.append)
    judged = Judged(0.0, 1, 15_724, None, (), Tally((), (), None))
    await sink.take(judged)  # its database is closed
    assert "cannot be kept now" in complaints[0]
    assert len(recover(history).solves) == 1


async def test_thrown_away_and_taken_back_leaves_nothing_to_undo(history: History) -> None:
    _, events = one_solve()
    open_log(history, 1, events).close()
    tally = Tally((), (), None)
    sink = HistorySink(Session.begun(history, 1), pytest.fail)
    await sink.take(Judged(0.0, 1, 15_724, None, (), tally))
    before = history.list(Wanted())
    assert len(before) == 1
    await sink.take(Discarded(1.0, 1, True, tally))
    assert history.list(Wanted()) == []
    await sink.take(Discarded(2.0, 1, False, tally))
    assert history.list(Wanted()) == before
    assert history.undo() is None
    await sink.take(Corrected(3.0, 1, 15_724, (), (Penalty("+2"),), tally))
    assert history.list(Wanted())[0].corrected == (Penalty("+2"),)


def test_a_mark_that_ends_a_solve_by_beginning_another_belongs_to_that_one() -> None:
    _, events = one_solve()
    turns = [event for event in events if isinstance(event, Turn)]
    given_up: list[CubeEvent] = [
        SolveMark(1.0, 1, "start"),
        *(replace(one, t=2.0) for one in turns[:5]),
    ]
    position = apply_turns(SOLVED, parse_turns(one_solve()[0])).tobytes()
    again: list[CubeEvent] = [
        SolveMark(20.0, 2, "inspect"), State(20.0, position), SolveMark(31.5, 2, "start"),
        *(replace(one, t=31.5 + one.t - turns[0].t) for one in turns), SolveMark(99.0, 2, "end"),
    ]  # fmt: skip
    header = Header(STARTED, "x", "cube", one_solve()[0])
    (found,) = solves_in(header, [*given_up, *again])
    assert found.kept.listed.inspection_ms == 11_500
    assert isinstance(found.events[0], SolveMark | State)
