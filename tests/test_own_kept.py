"""Hands and eyes from kept solves: taken, learned on, kept, used and forgotten."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from called import called
from drawn_eyes import scenes
from drawn_persons import draw_hands, part_of, stated, timed, walks
from holding_truth import true_path
from test_formats import kind_validator

from livecube.cube.position import SOLVED, apply_turns
from livecube.edges.automaton_file import load_hands
from livecube.edges.cache import _path
from livecube.edges.log_files import LogWriter
from livecube.hands.automaton import NEVER
from livecube.hands.executions import Part
from livecube.hands.kinship import kinship_of
from livecube.history.forgetting import forget_person
from livecube.history.importing import import_log
from livecube.history.people import HANDS, People
from livecube.history.rescuing import _TABLES
from livecube.history.store import History
from livecube.holding.inference import Reading
from livecube.holding.observations import SolveTurns
from livecube.logs.lines import Header
from livecube.own.figures import case_name
from livecube.own.keeping import (
    Learner,
    Taker,
    is_changed,
    keep,
    learned_now,
    missing,
    take_missing,
)
from livecube.own.learning import learn, learned_from, learned_state
from livecube.own.table import LearnedTable, table_from, table_state
from livecube.own.taking import Seen, Taken, stages_taken, taken_from, taken_text
from livecube.solves.reading import solves_in
from livecube.solves.records import Wanted
from livecube.stages.solve import Solve, Split
from livecube.virtual.habits import RIGHT_HANDED
from livecube.virtual.session import session

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from drawn_persons import Timed

    from livecube.hands.executions import Execution

KIN = kinship_of(load_hands())
COUNT = 16


@cache
def some_solves() -> list[Timed]:
    rng = np.random.default_rng(22)
    hands = draw_hands(rng, KIN.usual, "ordinary")
    return timed(hands, walks(RIGHT_HANDED, KIN.usual, COUNT), rng)


def taken(one: Timed, sure: float = 1.0) -> list[Taken]:
    """The pairs of a solve, as they would be taken if every holding was read right."""
    done, part, path = one.walk.of, part_of(one), true_path(one.walk.of)
    held = np.zeros((len(part.turns), 24))
    for step in path:
        held[step.first : step.first + step.reports, step.holding] = sure
    splits = tuple(
        Split(
            stage.stage, stage.slots, stage.end_turn, turns=0, seconds=0.0, pause=0.0,
            technique=stage.technique, case=None, offset=0, shared=stage.shared, holding=None,
        )
        for stage in done.stages
    )  # fmt: skip
    solve = Solve(None, done.cross_colour, done.start_turn, 0.0, 0.0, 0, solved=True, splits=splits)
    start = apply_turns(SOLVED, done.scramble).tobytes()
    turned = SolveTurns(solve, done.start_turn, part)
    return stages_taken(turned, start, Reading(path, held, held, held, held))


@cache
def all_taken() -> list[list[Taken]]:
    return [taken(one) for one in some_solves()]


def test_what_is_taken_from_a_solve_is_what_the_hands_and_eyes_did() -> None:
    turned = seen = 0
    for one, pairs in zip(some_solves(), all_taken(), strict=True):
        true = {tuple(m for m in its.moves if not m.is_rotation): its for its in stated(one)}
        for pair in pairs:
            its = true.get(tuple(m for m in pair.execution.moves if not m.is_rotation))
            if its is not None:
                turned += 1
                took = pair.execution.at_ms[-1] - pair.execution.at_ms[0]
                assert took <= its.at_ms[-1] - its.at_ms[0]
                assert (pair.execution.pause_ms is None) == (pair.execution.part == Part.CROSS)
        found = [pair.seen for pair in pairs if pair.seen is not None]
        known = [Seen(s.technique, s.corner, s.edge, s.case) for s in scenes(one.walk) if s]
        seen += len(found)
        assert sum(each in known for each in found) >= len(found) - 1
    assert turned > 3 * COUNT
    assert seen > 3 * COUNT


def test_a_solve_with_lost_turns_says_nothing() -> None:
    pairs = taken(some_solves()[0], sure=0.5)
    assert [pair.execution.sure for pair in pairs] == [0.5] * len(pairs)
    assert taken_from(taken_text([])) == []


def test_what_is_taken_can_be_kept() -> None:
    for pairs in all_taken():
        back = taken_from(taken_text(pairs))
        for its, kept in zip(pairs, back, strict=True):
            assert kept.execution.moves == its.execution.moves
            assert kept.execution.part == its.execution.part
        assert [pair.seen for pair in back] == [pair.seen for pair in pairs]
        assert taken_text(back) == taken_text(pairs)
    for broken in ("[1]", '[{"moves":"R U","ms":[0],"sure":1,"pause":1}]', "[["):
        with pytest.raises((KeyError, TypeError, ValueError)):
            taken_from(broken)


@pytest.mark.thorough
def test_learning_on_meets_cases_in_order_and_is_kept_whole() -> None:
    whole = learn(KIN, all_taken())
    every = [pair for pairs in all_taken() for pair in pairs]
    assert whole.met.total() == sum(pair.seen is not None for pair in every)
    on = learn(KIN, all_taken()[:-2])
    for pairs in all_taken()[-2:]:
        on = on.after(pairs)
    assert on.met == whole.met
    assert on.solves == whole.solves == COUNT
    assert not on.is_stale
    assert learn(KIN, all_taken()[:2]).after(all_taken()[2]).after(all_taken()[3]).is_stale
    assert whole.used is not None
    assert whole.used.solves == COUNT
    state = json.loads(json.dumps([learned_state(on), table_state(on.used, KIN.usual)]))
    back = learned_from(state[0], KIN, table_from(state[1], KIN.usual))
    assert back.met == on.met
    assert back.used is not None
    assert on.used is not None
    assert back.used.automaton.fingerprint == on.used.automaton.fingerprint
    assert back.used.automaton.looking.table == on.used.automaton.looking.table
    assert table_from(state[1], load_hands("left")) is None
    assert table_from(None, KIN.usual) is None


@pytest.mark.thorough
def test_the_table_in_use_stays_until_prices_have_changed_enough() -> None:
    first = learn(KIN, all_taken()[:13])
    assert first.used is not None
    on = first.after(all_taken()[13])
    assert on.used is not None
    assert on.used.automaton.fingerprint == first.used.automaton.fingerprint
    assert on.used.solves == 14
    slower = [
        [replace(pair, execution=_slower(pair.execution)) for pair in pairs]
        for pairs in all_taken()
    ]
    other = learn(KIN, slower, used=first.used)
    assert other.used is not None
    assert other.used.automaton.fingerprint != first.used.automaton.fingerprint


def _slower(one: Execution) -> Execution:
    return replace(one, at_ms=tuple(1.3 * at for at in one.at_ms))


def _kept(folder: Path, names: Sequence[str] = ("Ada", "Bo")) -> History:
    """A history of people with virtual solves; what is taken from them is made up."""
    history = History(folder)
    for seed, name in enumerate(names):
        log = folder / f"{name}.jsonl"
        with LogWriter(log, Header("2026-03-01T18:20:00Z", name, "cube")) as writer:
            for event in session(seed, 5).events():
                writer.write(event)
        import_log(history, log, name)
        log.unlink()
    rows = history.database.execute("SELECT id FROM solve ORDER BY id").fetchall()
    for (number,), pairs in zip(rows, all_taken(), strict=False):
        history.note_taken(number, taken_text(pairs))
    return history


def _state(history: History, name: str) -> dict[str, Any]:
    text = People(history).learned(People(history).one(name).person, HANDS)
    assert text is not None
    state: dict[str, Any] = json.loads(text)
    return state


def test_each_kept_solve_is_learned_from_and_changes_lead_to_learning_anew(tmp_path: Path) -> None:
    with _kept(tmp_path) as history:
        ada, bo = history.roster()
        assert is_changed(history, ada, KIN.usual)
        learner = Learner(KIN.usual)
        numbers = [one.number for one in history.list(Wanted(person="Ada"))]
        learner.kept(history, "Ada", numbers)
        assert not is_changed(history, ada, KIN.usual)
        assert _state(history, "Ada")["learned"]["hands"]["solves"] == len(numbers)
        history.delete(numbers[:1])
        assert is_changed(history, ada, KIN.usual)
        own = learned_now(history, ada, KIN.usual)
        assert own is not None
        assert own.solves == len(numbers) - 1
        assert not is_changed(history, ada, KIN.usual)
        assert is_changed(history, ada, load_hands("left"))
        People(history).move("Ada", "Bo", numbers[1:2])
        assert is_changed(history, ada, KIN.usual)
        learner = Learner(KIN.usual)
        learner.kept(history, "Bo", numbers[1:2])
        assert _state(history, "Bo")["learned"]["hands"]["solves"] == len(numbers) + 1
        forget_person(history, "Bo")
        rows = history.database.execute("SELECT count(*) FROM taken").fetchone()
        assert rows == (len(numbers) - 1,)
        assert "hands" not in {kind for (kind,) in history.database.execute(
            "SELECT kind FROM learned WHERE person = ?", (bo.number,))}  # fmt: skip


def test_one_solve_more_is_learned_on_and_not_anew(tmp_path: Path) -> None:
    with _kept(tmp_path, ["Ada"]) as history:
        ada = history.roster()[0]
        (last, content), *_ = history.database.execute(
            "SELECT solve, content FROM taken ORDER BY solve DESC"
        ).fetchall()
        history.note_taken(last, "[]")
        before = learned_now(history, ada, KIN.usual)
        assert before is not None
        history.note_taken(last, content)
        Learner(KIN.usual).kept(history, "Ada", [last])
        learned = _state(history, "Ada")["learned"]
        assert learned["whole"] == before.solves
        assert learned["hands"]["solves"] == before.solves + 1


def test_a_log_is_read_for_hands_unless_its_times_are_those_of_arrival(tmp_path: Path) -> None:
    with _kept(tmp_path, ["Ada"]) as history:
        ada = history.roster()[0]
        history.database.execute("DELETE FROM taken")
        steps: list[int] = []
        taker = Taker()
        take_missing(history, ada, taker, steps.append)
        assert not missing(history, ada)
        for number, text in history.database.execute("SELECT solve, content FROM taken").fetchall():
            taken = taken_from(text)
            assert {one.execution.part for one in taken} == {*Part}
            assert [one.execution.part for one in taken if one.execution.pause_ms is None] == [
                Part.CROSS
            ]
            pairs = {
                round(one.execution.pause_ms or 0): one
                for one in taken
                if one.execution.part == Part.PAIRS
            }
            stages = [s for s in history.stages(number) if s.stage == "pair" and not s.shared]
            assert len(pairs) == len(stages)
            for stage in stages:
                pair = pairs[stage.pause_ms]
                assert abs(pair.execution.at_ms[-1] - (stage.ms - stage.pause_ms)) <= 1
                assert 0 < pair.execution.sure <= 1
        found = next(solves_in(Header("", "x", "host"), session(0, 1).events()))
        assert taker.take(found) == "[]"


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder for commands, with two people; Ada's looking takes a second longer than usual."""
    folder = tmp_path_factory.mktemp("home")
    with _kept(folder / "data") as history:
        for person in history.roster():
            learned_now(history, person, KIN.usual)
        state = _state(history, "Ada")
        looking = dict(KIN.usual.looking.table) | {"base": 1.05}
        usual = table_state(LearnedTable(KIN.usual, 412), KIN.usual)
        assert usual is not None
        state["table"] = usual | {"looking": looking}
        People(history).note_learned("Ada", HANDS, json.dumps(state), 412)
    return folder


def test_commands_use_a_persons_own_table_and_say_so(home: Path) -> None:
    pair = "R U R' U2 R U' R'"

    def hinted(*more: str) -> dict[str, Any]:
        done = called("hints", pair, "--cross", "yellow", "--json", *more, folder=home)
        assert done.status == 0, done.err
        told: dict[str, Any] = json.loads(done.out)
        return told

    ada, nobody = hinted("--person", "Ada"), hinted("--person", "Bo", "--hands", "right")
    assert (ada["own_hands"], nobody["own_hands"]) == (412, None)
    assert hinted("--person", "ada", "--hands", "right") | {"advice_ms": 0} == nobody | {
        "advice_ms": 0
    }
    looks = [one["looking"] for one in ada["opportunities"] if one["technique"] == "plain"]
    usual = [one["looking"] for one in nobody["opportunities"] if one["technique"] == "plain"]
    assert [round(one - 1, 3) for one in looks] == usual
    done = called("hints", pair, "--cross", "yellow", "--person", "Ada", folder=home)
    assert "for Ada's hands, 412 solves" in done.out
    assert called("hints", pair, "--person", "Eve", folder=home).status == 2
    asked = ("drill", "made-pair", "--count", "1", "--seed", "1", "--simulated", "--speed", "1000")
    done = called(*asked, "--person", "Ada", folder=home)
    assert done.out.startswith("Drill: made-pair, 1 position, for Ada's hands, 412 solves\n")


def test_what_is_known_of_hands_is_told_as_a_table_and_as_json(home: Path) -> None:
    told = json.loads(called("hands", "--person", "bo", "--json", folder=home).out)
    kind_validator("own-hands", "own").validate(told)
    assert told["person"] == "Bo"
    assert told["solves"] == 5
    by_name = {one["name"]: one for one in told["moves"]}
    assert len(by_name) == 18
    assert by_name["R"]["times"] > by_name["B2"]["times"]
    lines = called("hands", "--person", "bo", folder=home).out
    assert "Learned from 5 solves" in lines
    assert "Each move" in lines
    both = json.loads(called("hands", "compare", "bo", "ada", "--json", folder=home).out)
    kind_validator("own-hands", "compared").validate(both)
    assert both["people"][0] | {"book": None} == told
    assert "Bo" in called("hands", "compare", "bo", "ada", folder=home).out
    wrong = called("hands", "--person", "Eve", folder=home)
    assert (wrong.status, "Eve" in wrong.err) == (2, True)


def test_what_the_search_kept_for_replaced_prices_is_deleted(tmp_path: Path) -> None:
    with _kept(tmp_path, ["Ada"]) as history:
        ada = history.roster()[0]
        own = learned_now(history, ada, KIN.usual)
        assert own is not None
        prices = KIN.usual.seconds_ms + (KIN.usual.seconds_ms < NEVER)
        looking = KIN.usual.looking
        other = KIN.usual.priced(prices, KIN.usual.single_rotation_ms, looking)
        bounds, usual = (_path(f"pieces-{one.fingerprint}") for one in (other, KIN.usual))
        bounds.parent.mkdir(parents=True, exist_ok=True)
        had_usual = usual.exists()
        bounds.touch()
        keep(history, ada, replace(own, used=LearnedTable(other, 1)), "", None)
        assert bounds.exists()
        keep(history, ada, own, "", LearnedTable(other, 1))
        assert not bounds.exists()
        keep(history, ada, own, "", LearnedTable(KIN.usual, 1))
        assert usual.exists() == had_usual


def test_cases_have_names_that_a_person_can_follow() -> None:
    assert case_name((0, 0)) == "corner at UFR up, edge at UF"
    with pytest.raises(IndexError):
        case_name((0, 24))


def test_a_rescue_knows_every_table(tmp_path: Path) -> None:
    with History(tmp_path) as history:
        rows = history.database.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
        assert {name for (name,) in rows} == {*_TABLES}
