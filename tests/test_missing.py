"""Reviews of all solves that have none, and missed chances that come again."""

from __future__ import annotations

import json
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from advising import advisor_at
from command import started
from examples import thorough
from forked import Forked
from hasty import set_ups_in_haste as set_ups_in_haste
from reviewed import each_review_once as each_review_once

from livecube.advice.words import Level
from livecube.cube.position import SOLVED, apply_turns
from livecube.drills.history import DrillBook
from livecube.drills.judging import judged
from livecube.drills.place import MissedPlace, case_of
from livecube.history.forgetting import forget_person
from livecube.history.importing import import_log
from livecube.history.people import People
from livecube.history.rescuing import rescue
from livecube.history.store import DATABASE, History
from livecube.review.trying import Tried
from livecube.search.situation import Situation
from livecube.solves.records import Chance

EVENING = Path(__file__).parent.parent / "fixtures" / "evening.jsonl"
NOW = datetime(2026, 3, 1, 18, tzinfo=UTC)
BOTH = frozenset({"keyhole-corner", "pseudo-pair"})


@pytest.fixture
def kept(tmp_path: Path) -> Path:
    with History(tmp_path / "data") as history:
        import_log(history, EVENING, "ada")
        history.delete([1, 2])
    return tmp_path / "data"


def rows(folder: Path) -> list[Any]:
    """All that reviews left in a history."""
    with closing(sqlite3.connect(folder / DATABASE)) as database:
        found = [
            database.execute(f"SELECT * FROM {name}").fetchall() for name in ("chance", "price")
        ]
        return [sorted(row[-6:] for row in table) for table in found]


@pytest.mark.usefixtures("tables")
@pytest.mark.parametrize("processes", ["1", thorough("2")])
def test_reviews_go_on_after_a_kill_and_are_the_same_on_one_core_and_on_two(
    kept: Path, processes: str
) -> None:
    other = kept.with_name("other")
    shutil.copytree(kept, other)
    with Forked(
        [*(sys.executable, "-m", "livecube", "review", "--missing"),
         *("--processes", processes, "--json")],
        stdout=subprocess.PIPE, text=True, env={**os.environ, "LIVECUBE_DATA": str(other)},
    ) as process:  # fmt: skip
        assert process.stdout is not None
        first = json.loads(process.stdout.readline())
        process.send_signal(signal.SIGKILL)
        told = [first, *map(json.loads, process.stdout)]  # ends when the helpers have ended, too
    with History(other) as history:
        missing = history.without_review("ada")
    assert not {one["number"] for one in told} & {*missing}  # one may be kept and not told any more
    rest = started("review", "--missing", "--processes", "1", "--json", LIVECUBE_DATA=str(other))
    assert [json.loads(line)["number"] for line in rest.stdout.splitlines()] == missing
    (kept / "solves").rename(kept / "gone")
    done = started("review", "--missing", "--processes", "1", LIVECUBE_DATA=str(kept))
    assert "0 solves reviewed; 3 cannot be reviewed" in done.stdout
    (kept / "gone").rename(kept / "solves")
    done = started("review", "--missing", "--processes", "1", LIVECUBE_DATA=str(kept))
    assert done.stdout == "3 solves reviewed\n", done.stderr
    assert rows(kept) == rows(other) != [[], []]
    assert "0 solves" in started("review", "--missing", LIVECUBE_DATA=str(kept)).stdout


def test_a_review_that_found_nothing_is_not_missing(kept: Path) -> None:
    with History(kept) as history:
        assert history.without_review("ada") == [5, 4, 3]
        history.note_chances(4, [])
        assert history.without_review(None) == [5, 3]
        assert history.without_review("bo") == []
    rescue(kept)
    with History(kept) as history:
        assert history.without_review(None) == [5, 3]


def place(solve: int, pair: int) -> MissedPlace:
    position = apply_turns(SOLVED, [9, 15, 11])
    row = advisor_at(Level.CALM).at_beginning(position, 0).rows[0]
    case = case_of(Situation.of(position, 0), row)
    return MissedPlace(position.tobytes(), 0, row, case, "easy", None, solve, pair, 0.9)


def tried(of: MissedPlace, *, shown: bool = False) -> Tried:
    how, turns = ((of.row.technique,), of.row.slots), of.row.turns_fixed
    return Tried(9.0, 1, of, *how, len(turns), 900, 800, 300, True, turns, of.position, shown=shown)


@pytest.mark.usefixtures("tables")
def test_the_dearest_chance_comes_first_and_again_when_it_is_due(kept: Path) -> None:
    one = place(4, 1)
    name = one.row.technique
    with History(kept) as history:
        history.note_chances(
            3,
            [
                Chance(1, name, "GO", False, 400),
                Chance(1, name, "GR", True, 900),
                Chance(2, name, "BO", False, 300),
                Chance(3, "keyhole-flip", "BO", False, 3000),
                Chance(3, name, "BO", False, 49),
            ],
        )
        history.note_chances(4, [Chance(1, name, "GO", False, 700)])
        history.note_chances(1, [Chance(1, name, "GO", False, 800)])  # a deleted solve
        book = DrillBook(history, "ada")
        assert [(m.solve, m.pair, m.saved_ms, m.due) for m in book.missed({name})] == [
            (4, 1, 700, None),
            (3, 2, 300, None),
        ]
        assert DrillBook(history, "bo").missed({name}) == []
        done = book.keep(judged(tried(one)), None, NOW)
        assert done.how_well == "fluent"
        assert done.next_in is not None
        assert done.next_in > timedelta(days=1)
        first, second = book.missed({name})
        assert (first.due, second.due) == (NOW + done.next_in, None)
        again = book.keep(judged(tried(one, shown=True)), None, NOW)
        assert again.next_in is not None
        assert again.next_in < done.next_in
        assert book.cards() == []  # cases of drills have cards of their own
        told = [row for row in People(history).drills("ada") if row["what"] == "chance"]
        assert [(row["solve"], row["stage"]) for row in told] == [(4, 1)]
    rescue(kept)
    with History(kept) as history:
        assert DrillBook(history, "ada").missed({name})[0].due == NOW + again.next_in
        forget_person(history, "ada")
        counts = "SELECT (SELECT count(*) FROM chance_card) + (SELECT count(*) FROM reviewed)"
        assert history.database.execute(counts).fetchone() == (0,)


@pytest.mark.thorough
@pytest.mark.usefixtures("tables")
def test_a_virtual_solver_is_led_through_missed_chances(kept: Path) -> None:
    told = ("--simulated", "--speed", "1000", "--count", "1", "--json")
    command = ("again", "--technique", "plain", "--technique", "keyhole", *told)
    data = {"LIVECUBE_DATA": str(kept)}
    assert "review --missing" in started(*command, **data).stdout
    assert started("review", "--kept", "3", **data).returncode == 0
    solves = []
    for _ in range(2):
        done = started(*command, "--person", "ada", **data)
        assert done.returncode == 0, done.stderr
        news = [json.loads(line) for line in done.stdout.splitlines()]
        assert [one["event"] for one in news if one["event"].startswith("drill")] == [
            "drill-ready",
            "drill-judged",
        ]
        assert news[-1]["next_in_s"] > 0
        solves.append(news[-1]["missed"])
    assert solves[0] != solves[1]
    assert solves[0]["saved_predicted"] >= solves[1]["saved_predicted"]
    for wrong, said in ((("again",), "name a solve"), (("again", "1", "--count", "2"), "go with")):
        assert said in started(*wrong, **data).stderr
