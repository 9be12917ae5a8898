"""A data set of reviewed solves: the history's figures, whatever breaks off, and without names."""

from __future__ import annotations

import json
import shutil
import threading
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar
from unittest.mock import patch

import numpy as np
import pyarrow.parquet as pq
import pytest
from command import started
from examples import thorough
from reviewed import each_review_once as each_review_once

from livecube.archive import logs as logs_module
from livecube.archive.columns import Archive
from livecube.archive.folder import (
    Making,
    opened,
    people_of,
    read_rows,
    table_of,
    write_making,
    write_parts,
)
from livecube.archive.logs import batches_of, found_logs
from livecube.archive.rows import splits_of
from livecube.archive.schema import FOLDERS, TABLES
from livecube.composition import archiving, reviewing
from livecube.composition.archiving import add_batches, review_logs
from livecube.composition.assembly import load_advisor, load_holdings
from livecube.composition.reviewing import (
    begun_kept,
    chances_of,
    plans_of,
    prices_of,
    review_of,
)
from livecube.edges.automaton_file import load_hands
from livecube.edges.log_files import LogWriter
from livecube.errors import KeepingError, UsageError
from livecube.history.importing import import_log
from livecube.history.store import History
from livecube.logs.lines import Header
from livecube.solves.records import Wanted
from livecube.timing.results import Penalty
from livecube.trends.making import trends_of
from livecube.trends.worth import PLAINLY
from livecube.virtual.session import session

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from livecube.archive.logs import Log
    from livecube.composition.archiving import Reviewed, Sent
    from livecube.trends.measures import WorthColumns

MAKING = Making("calm", "hands", "version")
FORMAT = Path(__file__).parent.parent / "livecube" / "formats" / "data-set.md"


class Result:
    """A result that is there."""

    def __init__(self, value: Reviewed) -> None:
        self._value = value

    def result(self) -> Reviewed:
        return self._value


class Desk:
    """In place of a cluster: reviews each batch at once, and each log only once ever."""

    known: ClassVar[dict[tuple[str, ...], Reviewed]] = {}

    def nthreads(self) -> dict[str, int]:
        return {"here": 1}

    def submit(
        self, function: Callable[..., Reviewed], logs: Sequence[Sent], level: str, key: str
    ) -> Result:
        names = tuple(log.digest for log in logs)
        if names not in self.known:
            self.known[names] = function(logs, level)
        return Result(self.known[names])

    def cancel(self, futures: Sequence[Result]) -> None: ...


def write_log(
    path: Path, seed: int, solves: int = 1, started: str = "2026-03-01T18:00:00Z"
) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    with LogWriter(path, Header(started, f"virtual {seed}", "cube")) as writer:
        for event in session(seed, solves).events():
            writer.write(event)


@pytest.fixture(scope="module")
def known() -> dict[tuple[str, str, str], Any]:
    """The rows of logs, see :func:`reviewed_once`."""
    return {}


@pytest.fixture
def reviewed_once(known: dict[tuple[str, str, str], Any]) -> Iterator[None]:
    """For tests of how rows get into files: a log has the same rows in each batch."""
    real = archiving._rows_of_log

    def rows_of_log(log: Sent, level: str) -> list[dict[str, list[dict[str, Any]]]]:
        key = log.digest, log.person, level
        if key not in known:
            known[key] = real(log, level)
        return [*known[key]]

    with patch.object(archiving, "_rows_of_log", rows_of_log):
        yield


@pytest.fixture(scope="module")
def logs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Logs of two people in two months, one of them broken, one a copy under another name."""
    folder: Path = tmp_path_factory.mktemp("logs")
    write_log(folder / "ana" / "1.jsonl", 1, 2)
    write_log(folder / "ana" / "2.jsonl", 2, 1, "2026-04-01T18:00:00Z")
    write_log(folder / "ben" / "1.jsonl", 3, 1)
    (folder / "ben" / "torn.jsonl").write_text("no log\n")
    shutil.copy(folder / "ben" / "1.jsonl", folder / "ben" / "again.jsonl")
    with (folder / "ben" / "longer.jsonl").open("w") as file:  # the same solve in another log
        file.write(
            (folder / "ben" / "1.jsonl").read_text()
            + '{"t": 99.0, "ev": "battery", "percent": 9}\n'
        )
    return folder


def found(logs: Path) -> tuple[Log, ...]:
    return found_logs([logs], lambda path: path.parent.name, lambda logs: None).logs


def add(logs: Path, to: Path) -> tuple[int, int]:
    with opened(to, MAKING) as data:
        batches = [*batches_of(found(logs), data.logs)]
        data.forget_waiting({batch.key for batch in batches})
        return add_batches(data, batches, Desk(), "calm", lambda logs: None)


def content(folder: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def test_the_figures_are_those_of_the_history(logs: Path, tmp_path: Path) -> None:
    advisor, holdings = load_advisor(), load_holdings()
    with History(tmp_path / "history") as history:
        history.hindsight = holdings.hindsight
        number = history.begin_session("ana", "2026-03-01T17:59:00Z", "practice")
        for one in found(logs / "ana"):
            import_log(history, one.path, one.person)
        history.database.execute("UPDATE solve SET session = ? WHERE id = 1", (number,))
        for solve in history.list(Wanted()):
            review = review_of(begun_kept(history, solve.number), advisor, load_hands())
            parts = chances_of(review), prices_of(review), plans_of(review)
            history.note_chances(solve.number, *parts)
        history.correct(2, (Penalty("+2"),))
        history.tag([3], "late")
        history.database.commit()
    assert add(tmp_path / "history", tmp_path / "archive") == (3, 0)
    archive = Archive(tmp_path / "archive")
    with History(tmp_path / "history", reading=True) as history:
        for wanted in (
            Wanted(),
            Wanted(person="ana", until="2026-03-31"),
            Wanted(since="2026-04-01"),
            Wanted(until=history.list(Wanted())[0].started),
            Wanted(tag="late"),
            Wanted(cross=history.list(Wanted())[0].cross),
            Wanted(technique="plain"),
            Wanted(most=2),
        ):
            told = []
            for source in (history, archive):
                columns, chances = source.columns(wanted)
                focus = source.practised(wanted, ["keyhole-corner", "keyhole-edge"], 9.0)
                rng = np.random.default_rng(1)
                measured = source.worth(wanted), source.losses(wanted)
                told.append(trends_of(columns, chances, rng, focus, *measured))
            assert told[0] == told[1]
            assert told[0] is not None
            assert told[0].losses is not None
            assert told[0].losses.pairs > 0
        pairs = [worth_rows(source.worth(Wanted())) for source in (history, archive)]
        assert pairs[0] == pairs[1] != []
        loss_rows = [sorted(s.losses(Wanted()).parts_ms.tolist()) for s in (history, archive)]
        assert loss_rows[0] == loss_rows[1]
        assert [splits_of(solve.stages)["whole"] for solve in history.solves(Wanted())] == [
            True
        ] * 3
    sessions = archive.columns(Wanted())[0].session
    assert sorted(sessions.tolist()) == [-1, -1, 0]


def worth_rows(columns: WorthColumns) -> list[tuple[Any, ...]]:
    names = np.array(columns.techniques)[columns.technique]
    others = (columns.place, columns.ms, columns.price_ms, columns.taken)
    return sorted(zip(names.tolist(), *(one.tolist() for one in others), strict=True))


def test_pairs_that_show_a_techniques_worth_are_found_in_tables_drawn_at_random(
    tmp_path: Path,
) -> None:
    rng = np.random.default_rng(3)
    solve = {"person": "ana", "month": "2026-03", "is_dnf": False, "whole": True, "session": "s"}
    zero = dict.fromkeys(("ms", "turns", "plus", "cross_ms", "pairs_ms", "orient_ms"), 0)
    zero |= dict.fromkeys(("permute_ms", "pause_ms"), 0)
    kinds = ("cross", *["pair"] * 4, "orient", "permute", "auf")
    stages, prices, plans, expected, lost_ms = [], [], [], [], []
    for number in range(60):
        named = rng.choice(["plain", "shortest", "keyhole-edge", "x"], 8).tolist()
        its = [
            {
                "solve": number,
                "stage": place,
                "kind": kind,
                "ms": 100 * number + place,
                "technique": named[place],
                "slots": [],
                "shared": bool(rng.random() < 0.2),
                "gap": bool(rng.random() < 0.1),
                "inferred": bool(rng.random() < 0.1),
                "pause_ms": 10 * place,
            }
            for place, kind in enumerate(kinds)
        ]
        stages += its
        for place in range(1, 5):
            own = 900 + int(rng.integers(200))
            plan = {"solve": number, "stage": place, "plan_ms": 900, "own_ms": own, "slots": []}
            plans.append(plan | {"slow_ms": number, "turning_ms": 5, "pause_ms": 7})
            one, after = its[place], its[place + 1]
            alone = not one["shared"] and not (after["shared"] and after["kind"] == "pair")
            if alone and not one["gap"] and not one["inferred"]:
                lost_ms.append([10 * place - 7, one["ms"] - 10 * place - 5, number, own - 900])
            for name in ("keyhole-edge", "plain", "x"):
                taken = named[place] == name
                price = {"solve": number, "stage": place, "technique": name, "taken": taken}
                prices.append(price | {"price_ms": 10 * number + place})
                one, after = its[place], its[place + 1]
                lost = one["shared"] or one["gap"] or after["gap"]
                if name != "plain" and not lost and (taken or named[place] in PLAINLY):
                    expected.append((name, place, one["ms"], 10 * number + place, taken))
    tables = {
        "solves": [{**solve, **zero, "solve": n, "cross": "white"} for n in range(60)],
        "stages": stages,
        "prices": prices,
        "plans": plans,
    }
    write_parts(tmp_path, {name: table_of(name, tables.get(name, [])) for name in TABLES})
    write_making(tmp_path, MAKING)
    assert worth_rows(Archive(tmp_path).worth(Wanted())) == sorted(expected)
    assert sorted(Archive(tmp_path).losses(Wanted()).parts_ms.tolist()) == sorted(lost_ms)
    # A data set of an older livecube has no such columns; it can still be added to.
    (part,) = (tmp_path / "plans").rglob("*.parquet")
    pq.write_table(pq.ParquetFile(part).read().drop_columns(["turning_ms", "pause_ms"]), part)
    assert len(Archive(tmp_path).losses(Wanted()).solve) == 0
    more = {name: [row for row in its if row["solve"] == 7] for name, its in tables.items()}
    write_parts(tmp_path, {name: table_of(name, more.get(name, [])) for name in TABLES})
    assert {*Archive(tmp_path).losses(Wanted()).parts_ms[:, 2].tolist()} == {7}


@pytest.mark.thorough
@pytest.mark.usefixtures("reviewed_once")
def test_the_files_are_the_same_whatever_the_batches(
    logs: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert add(logs, tmp_path / "one") == (4, 1)
    monkeypatch.setattr(logs_module, "_MOST_LOGS", 1)
    monkeypatch.setattr(archiving, "_MERGED", 1)
    add(logs, tmp_path / "other")
    assert content(tmp_path / "one") == content(tmp_path / "other")
    assert people_of(tmp_path / "one") == ["ana", "ben"]
    notes = [
        json.loads(line) for line in (tmp_path / "one" / "logs.jsonl").read_text().splitlines()
    ]
    assert {"/".join(Path(one["log"]).parts[-2:]): one["solves"] for one in notes} == {
        "ana/1.jsonl": 2, "ana/2.jsonl": 1, "ben/1.jsonl": 1, "ben/longer.jsonl": 1,
        "ben/torn.jsonl": 0,
    }  # fmt: skip
    (torn,) = (note for note in notes if note["broken"])
    assert torn["log"].endswith("torn.jsonl")
    assert "JSON" in torn["broken"]


@pytest.mark.usefixtures("reviewed_once")
def test_adding_again_adds_nothing(logs: Path, tmp_path: Path) -> None:
    add(logs / "ana", tmp_path / "archive")
    before = content(tmp_path / "archive")
    assert add(logs / "ana", tmp_path / "archive") == (0, 0)
    assert content(tmp_path / "archive") == before
    assert add(logs, tmp_path / "archive") == (1, 1)
    with pytest.raises(UsageError, match="level calm, and this is bold"):
        opened(tmp_path / "archive", replace(MAKING, level="bold"))
    with opened(tmp_path / "archive", MAKING), pytest.raises(KeepingError, match="another"):
        opened(tmp_path / "archive", MAKING).__enter__()


@pytest.mark.usefixtures("reviewed_once")
@pytest.mark.parametrize("move", [thorough("replace"), "rename", thorough("write_bytes")])
def test_nothing_is_lost_or_twice_wherever_it_breaks_off(
    logs: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, move: str
) -> None:
    """With three batches of which two are merged."""
    monkeypatch.setattr(logs_module, "_MOST_LOGS", 1)
    monkeypatch.setattr(archiving, "_MERGED", 2)
    logs = shutil.copytree(logs / "ana", tmp_path / "ana")
    (logs / "torn.jsonl").write_text("no log\n")
    add(logs, tmp_path / "whole")
    real, to, broken = getattr(Path, move), tmp_path / "archive", 0
    opened(to, MAKING)
    while True:
        left = broken

        def breaks(path: Path, *arguments: Any, **named: Any) -> Any:
            nonlocal left
            if path.is_relative_to(to):
                left -= 1
                if left == -1:
                    raise MemoryError
            return real(path, *arguments, **named)

        monkeypatch.setattr(Path, move, breaks)
        try:
            add(logs, to)
        except MemoryError:
            broken += 1
        else:
            break
        finally:
            monkeypatch.setattr(Path, move, real)
        add(logs, to)
        assert content(to) == content(tmp_path / "whole")
        shutil.rmtree(to)
        opened(to, MAKING)
    assert broken >= 2


def test_published_without_names(logs: Path, tmp_path: Path) -> None:
    add(logs, tmp_path / "archive")
    done = started("archive", "publish", str(tmp_path / "archive"), "--to", str(tmp_path / "new"))
    assert done.returncode == 0, done.stderr
    assert "not anonymous" in done.stdout
    assert people_of(tmp_path / "new") == ["1", "2"]
    before, after = (Archive(tmp_path / name).columns(Wanted()) for name in ("archive", "new"))
    assert sorted(before[0].ms) == sorted(after[0].ms)
    assert sorted(before[1].saved_ms) == sorted(after[1].saved_ms)
    assert {after[0].first, after[0].last} == {"2026-02-23T00:00:00Z", "2026-03-30T00:00:00Z"}
    for path in (tmp_path / "new").rglob("*"):
        assert "ana" not in path.name
        assert "ben" not in path.name
    solves = pq.read_table(tmp_path / "new" / "solves").to_pylist()
    assert sorted(one["solve"] for one in solves) == [0, 1, 2, 3]
    assert {one[name] for one in solves for name in ("identity", "scramble")} == {None}
    again = started("archive", "publish", str(tmp_path / "archive"), "--to", str(tmp_path / "new"))
    assert again.returncode == 2
    assert "not empty" in again.stderr
    with pytest.raises(UsageError, match="published"):
        opened(tmp_path / "new", replace(MAKING, names=False))


@pytest.mark.parametrize("name", ["../../up", "a/b=c%2F", "Zoë Ōta", "..", "person=x"])
def test_a_name_stays_within_the_folder_and_comes_back(name: str, tmp_path: Path) -> None:
    row = dict.fromkeys(pq_names(), None) | {
        "solve": 1,
        "person": name,
        "month": "2026-03",
        "ms": 9,
    }
    tables = {table: table_of(table, [row] if table == "solves" else []) for table in TABLES}
    write_parts(tmp_path / "set", tables)
    assert [one.name for one in tmp_path.iterdir()] == ["set"]
    assert {one.name for one in (tmp_path / "set").iterdir()} == {*TABLES}
    assert people_of(tmp_path / "set") == [name]
    solves = read_rows(tmp_path / "set", "solves", ["person"]).to_pylist()
    assert [one["person"] for one in solves] == [name]


def pq_names() -> list[str]:
    return [*TABLES["solves"].names, *FOLDERS.names]


def test_a_fault_of_ours_sets_one_log_aside(logs: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(*arguments: object) -> None:
        raise RuntimeError("a fault")

    monkeypatch.setattr(reviewing.Reviewer, "review", fails)
    sent = [archiving._read(one) for one in found(logs / "ana")]
    reviewed = review_logs(sent, "calm")
    assert {note.broken for note in reviewed.notes} == {"cannot be reviewed: RuntimeError: a fault"}


def test_the_format_names_every_column() -> None:
    text = FORMAT.read_text()
    for table, schema in TABLES.items():
        section = text.split(f"## {table}\n")[1].split("\n## ")[0]
        for field in schema:
            assert (
                f"| `{field.name}` | {kind_of(field)} | {field.metadata[b'about'].decode()} |"
                in section
            )


def kind_of(field: Any) -> str:
    kind = getattr(field.type, "value_type", field.type)
    return f"list of {kind}" if str(field.type).startswith("list") else str(kind)


def test_other_workers_are_started_for_those_that_dask_gave_up(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A worker that was killed while it started was lost for good: without any, it hung."""
    monkeypatch.setattr(archiving, "_LOST_S", 0.0)
    monkeypatch.setattr(archiving, "_LOOK_S", 0.001)
    scaled = threading.Event()

    class Some:
        worker_spec: ClassVar[dict[int, str]] = {0: "lost", 1: "there"}

        def nthreads(self) -> dict[str, int]:
            return {"there": 1} | ({"new": 1} if scaled.is_set() else {})

        def scale(self, wanted: int) -> None:
            assert wanted == 3
            scaled.set()

    with archiving._replacing(Some(), Some()):
        assert scaled.wait(60)
