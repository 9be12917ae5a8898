"""Written solves read back to the same position; the commands that write and learn."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
from command import started
from examples import examples
from hypothesis import given
from hypothesis import strategies as st

from livecube.composition.assembly import load_holdings
from livecube.cube.holding import SCRAMBLE_HOLDING, Holding, fixed_turns
from livecube.cube.notation import parse_moves
from livecube.cube.position import SOLVED, apply_turns
from livecube.edges.holding_file import holding_model
from livecube.events import HeldAs, Turn
from livecube.history.forgetting import forget_person
from livecube.history.people import HABITS, People
from livecube.history.store import History
from livecube.holding.inference import Reading, drawn_paths, read_solve
from livecube.holding.observations import SolvePart, SolveTurns, solves_in
from livecube.holding.written import PAUSE, _waits, write_solve
from livecube.stages.tracker import Tracker
from livecube.views.written import written_lines
from livecube.virtual.habits import LEFT_HANDED, OTHERWISE, RIGHT_HANDED
from livecube.virtual.session import session

if TYPE_CHECKING:
    import subprocess
    from collections.abc import Mapping

FIXTURES = Path(__file__).parent.parent / "fixtures"
MODEL = holding_model()


def solves_of(seed: int, **wishes: object) -> list[SolveTurns]:
    virtual = session(seed, 2, **wishes)  # type: ignore[arg-type]
    return solves_in(Tracker().feed_all(virtual.events()))


def effect(turns: list[int]) -> bytes:
    return apply_turns(SOLVED, turns).tobytes()


@pytest.mark.thorough
def test_virtual_solves_read_back() -> None:
    for seed in range(5):
        for habits in (RIGHT_HANDED, LEFT_HANDED, OTHERWISE):
            for one in solves_of(seed, habits=habits):
                written = write_solve(one, read_solve(one.part, MODEL))
                again, _ = fixed_turns(parse_moves(written.text()), SCRAMBLE_HOLDING)
                assert effect(again) == effect(list(one.part.turns))
                assert [stage.split for stage in written.stages] == [
                    split for split in one.solve.splits if split.end_turn is not None
                ]
                lines = "\n".join(written_lines(written, 1))
                assert fixed_turns(parse_moves(lines), SCRAMBLE_HOLDING)[0] == again


@pytest.mark.thorough
@examples(30)
@given(st.lists(st.tuples(st.integers(0, 17), st.sampled_from([0.0, 0.01, 0.2, 2.0]))), st.data())
def test_whatever_is_believed_of_whatever_turns_reads_back(
    turned: list[tuple[int, float]], data: st.DataObject
) -> None:
    """Even an unlikely path leads to the same position."""
    turns = [turn for turn, _ in turned]
    times = np.cumsum([gap for _, gap in turned]).tolist()
    cut = data.draw(st.integers(0, len(turns)))
    (done,) = solves_of(3)[:1]
    stages = [int(i >= cut) for i in range(len(turns))]
    part = SolvePart(turns, times, stages, done.part.cross)
    solve = replace(done.solve, start_turn=1)
    one = SolveTurns(solve, 1, part)
    seed = data.draw(st.integers(0, 2**32 - 1))
    drawn = drawn_paths(part, MODEL.kinds[1], np.random.default_rng(seed), 1)
    path = drawn[0] if drawn else []
    held, kinds = np.zeros((len(turns), 24)), np.zeros((len(turns), 3))
    reading = Reading(path, held, kinds, np.zeros(len(turns)), np.zeros(2))
    written = write_solve(one, reading)
    again, _ = fixed_turns(parse_moves(written.text()), SCRAMBLE_HOLDING)
    assert effect(again) == effect(turns)
    assert len(again) <= len(turns)


def test_half_turns_are_merged_cancelled_ones_left_out_and_pauses_marked() -> None:
    (done,) = solves_of(3)[:1]
    text = "R R U L U L' U U'"
    turns, _ = fixed_turns(parse_moves(text))
    times = [0.2 * i for i in range(len(turns))]
    times[3:] = [t + 3 for t in times[3:]]
    part = SolvePart(turns, times, [0] * len(turns), 5)
    part = replace(part, stated={0: 0})
    one = SolveTurns(replace(done.solve, start_turn=1, splits=()), 1, part)
    (stage,) = write_solve(one, read_solve(part, MODEL)).stages
    assert stage.text().replace(PAUSE, "…") == "R2 U … L U L'"
    assert stage.execution_turns == 5
    assert stage.split is None


def test_a_stated_holding_is_the_written_one() -> None:
    virtual = session(5, 1)
    start = virtual.solves[0].solving[0].t
    true = virtual.solves[0].solving[0].holding
    up, front = true.faces[0], true.faces[2]
    events = virtual.events()
    at = next(i for i, event in enumerate(events) if isinstance(event, Turn) and event.t == start)
    events.insert(at, HeldAs(start, Holding.of(up, front)))
    (one,) = solves_in(Tracker().feed_all(events))
    assert write_solve(one, read_solve(one.part, MODEL)).stages[0].holding == true


def test_what_the_pipeline_tells_of_a_solve_has_holdings() -> None:
    holdings = load_holdings()
    told = holdings.take(Tracker().feed_all(session(9, 3).events()))
    solves = [item.solve for item in told if hasattr(item, "solve")]
    late = [split for solve in solves for split in solve.splits[5:] if not split.shared]
    assert len(solves) == 3
    assert sum(split.holding is not None for split in late) > 0.7 * len(late)


# Commands.


def livecube(
    *arguments: str, more: Mapping[str, str] | None = None
) -> subprocess.CompletedProcess[str]:
    return started(*arguments, **(more or {}))


def test_write_prints_what_reads_back() -> None:
    log = str(FIXTURES / "evening.jsonl")
    done = livecube("write", log, "--json")
    assert done.returncode == 0, done.stderr
    rows = [json.loads(line) for line in done.stdout.splitlines()]
    assert [row["solve"] for row in rows] == list(range(1, len(rows) + 1))
    plain = livecube("write", log, "--solve", "2")
    turns = fixed_turns(parse_moves(plain.stdout))[0]
    assert turns == fixed_turns(parse_moves(rows[1]["moves"]))[0]
    stages = [s for row in rows for s in row["stages"]]
    assert {s["stage"] for s in stages} >= {"cross", "pair", "orient", "permute", "auf"}


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("write", "evening.jsonl", "--solve", "99"), "too many"),
        (("write", "no-such.jsonl"), "no-such.jsonl"),
        (("adapt",), "name one or more logs"),
        (("write", "evening.jsonl", "--person", "eve"), "nobody is called 'eve'"),
        (("adapt", "given-start.jsonl"), "the logs hold 1 whole solve; at least 5 are needed"),
        (("adapt", "--forget", "evening.jsonl"), "takes no logs"),
    ],
)
def test_what_cannot_be_done_is_told_in_one_line(arguments: tuple[str, ...], said: str) -> None:
    paths = [str(FIXTURES / a) if a.endswith(".jsonl") else a for a in arguments]
    done = livecube(*paths)
    assert done.returncode == 2
    assert said in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1


def test_adapt_learns_keeps_and_forgets_for_each_person(tmp_path: Path) -> None:
    log = str(FIXTURES / "evening.jsonl")
    folders = {name: str(tmp_path / name) for name in ("LIVECUBE_STATE", "LIVECUBE_DATA")}

    def told(*arguments: str) -> str:
        done = livecube(*arguments, more=folders)
        assert done.returncode == 0, done.stderr
        return done.stdout

    usual = told("write", log)
    assert told("adapt", log, "--person", "Ada") == "Learned from 5 solves, kept in the history.\n"
    own = told("write", log)
    assert own != usual
    told("people", "add", "Bo")
    assert [told("write", log, "--person", name) for name in ("Ada", "Bo")] == [own, usual]
    with History(tmp_path / "LIVECUBE_DATA") as history:
        text = People(history).learned(history.roster()[0], HABITS)
    assert told("adapt", "--forget", "--person", "ada") == "Forgotten.\n"
    assert told("adapt", "--forget", "--person", "ada") == "There was nothing to forget.\n"
    # Habits that an older livecube learned for the whole account.
    account = tmp_path / "LIVECUBE_STATE" / "holding.json"
    account.parent.mkdir(exist_ok=True)
    account.write_text(text or "", encoding="utf-8")
    assert told("write", log, "--person", "Ada") == usual  # whose they are, nobody knows
    with History(tmp_path / "LIVECUBE_DATA") as history:
        forget_person(history, "Bo")
    assert told("write", log) == own
    told("people", "forget", "Ada", "--yes")
    assert not account.exists()


def test_imported_solves_are_kept_with_their_holdings(tmp_path: Path) -> None:
    log = str(FIXTURES / "evening.jsonl")
    environment = {"LIVECUBE_DATA": str(tmp_path)}
    assert livecube("history", "import", log, more=environment).returncode == 0
    shown = livecube("history", "show", "1", "--json", more=environment)
    assert shown.returncode == 0, shown.stderr
    stages = json.loads(shown.stdout)["stages"]
    assert any(stage["holding"] for stage in stages)


def test_hands_waited_where_a_gap_is_much_longer_than_the_usual_one() -> None:
    """At least 2.5 times as long as the median, and half a second."""
    assert _waits([0.0, 0.1, 0.2, 0.75]) == pytest.approx([0.0, 0.0, 0.0, 0.55])
    assert _waits([0.0, 0.1, 0.2, 0.65]) == [0.0] * 4
    assert _waits([0.0, 1.0, 2.0, 4.5]) == [0.0, 0.0, 0.0, 2.5]
    assert _waits([0.0, 1.0, 2.0, 4.25]) == [0.0] * 4
    assert _waits([3.0, 8.0]) == [0.0, 0.0]  # the only gap is the usual one
    assert _waits([3.0]) == [0.0]
