"""What practising would bring: the parts add up, and nothing else is told."""

from __future__ import annotations

import json
import sqlite3
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from examples import examples
from hypothesis import given
from hypothesis import strategies as st
from review_check import bold_advisor, one_review
from test_formats import validator
from test_trends import NONE, columns, evening_noise

from livecube.cli.trends import trends as command
from livecube.composition.reviewing import plans_of
from livecube.cube.geometry import FACES
from livecube.cube.notation import parse_turns
from livecube.edges.automaton_file import load_hands
from livecube.hands.automaton import MOVES
from livecube.history.importing import import_log
from livecube.history.rescuing import rescue
from livecube.history.schema import MIGRATIONS
from livecube.history.store import DATABASE, History
from livecube.solves.records import PlanCost, Wanted
from livecube.trends.losses import losses_of
from livecube.trends.making import trends_of
from livecube.trends.measures import LossColumns, Losses
from livecube.trends.page import trends_page
from livecube.trends.text import loss_sentences, losses_sentence, trends_json

EVENING = Path(__file__).parent.parent / "fixtures" / "evening.jsonl"
PARTS = st.tuples(*[st.integers(-3_000, 3_000)] * 4)


def losses(parts: list[tuple[int, ...]], block: list[int], own: int = 0) -> Losses:
    zero = np.zeros(len(block), dtype=np.int64)
    table = np.array(parts, dtype=np.int64).reshape(-1, 4)
    rng = np.random.default_rng(1)
    return losses_of(LossColumns(zero, table, zero + own), np.array(block), rng)


def test_without_pairs_nothing_was_lost() -> None:
    assert losses([], []) == Losses(0, 0, None, ())


def test_what_pairs_lose_is_shared_among_the_parts_that_cost_time() -> None:
    # Two pairs: 0.6 and 0.2 s of looking, 0.1 s and 0.5 s less turning, 0 and 0.2, 0.1 and 0.3.
    found = losses([(600, -100, 0, 100), (200, -500, 200, 300)], [0, 1])
    assert found.whole is not None
    assert found.pairs == 2
    assert found.whole.value == pytest.approx(0.4)
    assert found.whole.low is None
    assert [one.name for one in found.parts] == ["looking", "turning", "way", "pair"]
    assert [one.seconds.value for one in found.parts] == pytest.approx([0.4, -0.3, 0.1, 0.2])
    shares = [one.share.value for one in found.parts if one.share]
    assert shares == pytest.approx([4 / 7, 0, 1 / 7, 2 / 7])
    assert "Too few to tell (2 reviewed pairs)" in losses_sentence(found)
    assert loss_sentences(found) == []
    (gain,) = {one.share for one in losses([(-1, -2, -3, 0)], [0]).parts}
    assert gain is None
    none = losses([], [])
    assert (none.pairs, none.whole, none.parts) == (0, None, ())
    assert "review --missing does" in losses_sentence(none)


@examples(30)
@given(st.lists(PARTS, min_size=10, max_size=60))
def test_the_parts_add_up_and_lie_in_their_intervals(parts: list[tuple[int, ...]]) -> None:
    found = losses(parts, [*range(len(parts))])
    assert found.whole is not None
    assert sum(one.seconds.value for one in found.parts) == pytest.approx(found.whole.value)
    for one in (found.whole, *(part.seconds for part in found.parts)):
        assert one.low is not None
        assert one.high is not None
        assert one.low - 1e-9 <= one.value <= one.high + 1e-9 or len({*parts}) > 1
    if shares := [part.share.value for part in found.parts if part.share]:
        assert sum(shares) == pytest.approx(1)
        assert min(shares) >= 0


@pytest.mark.thorough
def test_the_truth_of_drawn_evenings_is_in_the_intervals_and_chance_is_told_as_such() -> None:
    rng = np.random.default_rng(5)
    truth = np.array([400, -200, 0, 150])
    held = np.zeros(4)
    for _ in range(40):
        block = np.repeat(np.arange(30), 16)
        evening = rng.normal(0, 80, (30, 4))[block]
        parts = truth + evening + rng.normal(0, 500, (len(block), 4))
        found = losses_of(LossColumns(block, parts.astype(int), 0 * block), block, rng)
        for at, part in enumerate(found.parts):
            assert part.seconds.low is not None
            assert part.seconds.high is not None
            held[at] += part.seconds.low <= truth[at] / 1000 <= part.seconds.high
    assert (held >= 34).all(), held  # of 40 that hold it at 93 %, one in 500 has fewer
    told = loss_sentences(found)
    assert [one.split()[0] for one in told] == ["Looking", "The", "The", "Turning"]
    assert "Looking costs 0." in told[0]
    assert "% of all that is lost" in told[0]
    assert "costs nothing significant" in told[2]
    assert "Turning takes 0." in told[3]
    assert "less than predicted" in told[3]
    for sentence in told:
        assert ("measured" in sentence) == sentence.startswith(("Looking", "Turning"))
        assert "predicted" in sentence


def test_the_first_turn_belongs_to_the_pause() -> None:
    advisor, hands = bold_advisor(), load_hands()
    face, price = FACES.index("D"), hands.seconds_ms / 1000
    moves = [str(move) for move in MOVES]
    turns = parse_turns("R U R'")
    done = advisor.priced(turns, face)
    # The cheapest spelling of these turns is R U R' or its like from another front.
    first, *others = (moves.index(name) for name in ("R", "U", "R'"))
    state = hands.start
    assert done.first == pytest.approx(price[state, first])
    whole = 0.0
    for move in (first, *others):
        whole += price[state, move]
        state = int(hands.next[state, move])
    assert done.seconds == pytest.approx(whole)
    assert advisor.priced((), face) == (0.0, 0.0)


def test_the_parts_of_each_reviewed_pair_are_all_that_it_lost() -> None:
    advisor, pairs = bold_advisor(), 0
    for seed in range(4):
        _, _, review = one_review(seed, advisor)
        plans = {one.stage: one for one in plans_of(review)}
        for number, stage in enumerate(review.stages):
            if (against := stage.against_plan) is None:
                assert number not in plans
                continue
            plan, split = plans[number], stage.split
            assert plan.pause_ms - round(1000 * against.own.steps[0].looking) > 0
            assert stage.turned_s is not None
            assert plan.turning_ms <= 1000 * stage.turned_s
            looking = 1000 * split.pause - plan.pause_ms
            turning = 1000 * split.turning - plan.turning_ms
            lost = looking + turning + plan.slow_ms + plan.own_ms - plan.plan_ms
            onward = against.own.total - against.own.steps[0].total
            assert lost / 1000 == pytest.approx(
                split.seconds + onward - against.plan.total, abs=0.004
            )
            pairs += 1
    assert pairs > 10


@pytest.fixture
def kept(tmp_path: Path) -> Path:
    with History(tmp_path) as history:
        import_log(history, EVENING, "ada")
    return tmp_path


def test_only_pairs_that_were_measured_alone_count(kept: Path) -> None:
    with History(kept) as history:
        one, two, *_ = (solve.number for solve in reversed(history.list(Wanted())))
        whole = [PlanCost(stage, 9_000, 9_250, 300, 500, 700) for stage in range(1, 5)]
        history.note_chances(one, [], [], whole, 40)
        history.note_chances(two, [], [], [PlanCost(1, 9_000, 9_000, -20, 400, 600)])
        history.database.execute("UPDATE stage SET shared = 0, gap = 0, inferred = 0")
        stages = {number: history.stages(number) for number in (one, two)}
        found = history.losses(Wanted())
        order = np.lexsort((found.parts_ms[:, 0], found.solve))
        expected = sorted(
            (number, its[at].pause_ms - pause, its[at].ms - its[at].pause_ms - turning, slow, dear)
            for number, its, at, pause, turning, slow, dear in (
                *((one, stages[one], at, 700, 500, 300, 250) for at in range(1, 5)),
                (two, stages[two], 1, 600, 400, -20, 0),
            )
        )
        rows = np.column_stack([found.solve, found.parts_ms])[order].tolist()
        assert rows == [[*row] for row in expected]
        assert found.own.sum() == 4
        for column, place, left in (("gap", 1, 3), ("inferred", 2, 2), ("shared", 4, 0)):
            # The last pair is done by the turn of the one before: neither counts.
            history.database.execute(
                f"UPDATE stage SET {column} = 1 WHERE solve = ? AND place = ?", (one, place)
            )
            assert (history.losses(Wanted()).solve == one).sum() == left
        assert len(history.losses(Wanted(most=1)).solve) == 0
        history.delete([two])
        assert len(history.losses(Wanted()).solve) == 0


def test_reviews_of_an_older_livecube_are_missing_and_are_made_anew(tmp_path: Path) -> None:
    with sqlite3.connect(tmp_path / DATABASE) as old:
        for statements in MIGRATIONS[:9]:
            for statement in statements.split(";"):
                old.execute(statement)
        old.execute("INSERT INTO person (id, name) VALUES (1, 'ada')")
        old.execute(
            "INSERT INTO solve (id, identity, person, started, ms, turns, solved, gap, log) "
            "VALUES (1, 'a', 1, '2026-01-01T10:00:00Z', 9000, 50, 1, 0, 'solves/a.jsonl')"
        )
        old.execute("INSERT INTO reviewed VALUES (1, '2026-01-01T10:00:00Z')")
        old.execute("INSERT INTO chance VALUES (1, 1, 1, 'plain', 'GR', 0, 500)")
        old.execute("PRAGMA user_version = 9")
    with History(tmp_path) as history:
        assert [one.saved_ms for one in history.chances(1)] == [500]
        assert history.without_review("ada") == [1]
        plan = PlanCost(1, 9_000, 9_250, 300, 500, 700)
        history.note_chances(1, history.chances(1), [], [plan])
        assert history.without_review("ada") == []
    rescue(tmp_path)
    with History(tmp_path) as history:
        assert history.without_review("ada") == []
        kept = history.database.execute("SELECT * FROM plan").fetchall()
        assert kept == [(1, *plan)]
        history.database.execute("DELETE FROM solve")
        assert history.database.execute("SELECT count(*) FROM plan").fetchone() == (0,)


@pytest.mark.thorough
def test_trends_tell_it_as_text_as_json_and_on_the_page(kept: Path) -> None:
    run = CliRunner(env={"LIVECUBE_DATA": str(kept)})
    # One sentence on reviews is enough.
    assert "What practising" not in run.invoke(command, []).output
    with History(kept) as history:
        for one in history.list(Wanted()):
            plans = [PlanCost(stage, 9_000, 9_250, 300, 500, 700) for stage in range(1, 5)]
            history.note_chances(one.number, [], [], plans, 40)
    text = " ".join(run.invoke(command, []).output.split())
    assert "What practising would bring: Too few to tell (" in text
    told = json.loads(run.invoke(command, ["--json"]).output)
    validator("trends").validate(told)
    assert told["losses"]["pairs"] == told["losses"]["own_hands"] > 0
    assert told["losses"]["seconds"]["low"] is None
    rng = np.random.default_rng(4)
    solve = np.sort(rng.integers(1, 361, 900))
    parts = rng.normal([400, 300, 200, 100], 200, (900, 4)).astype(int)
    drawn = LossColumns(solve, parts, (solve > 180).astype(int))
    many = trends_of(columns(evening_noise(rng, 360)), NONE, rng, None, None, drawn)
    assert many is not None
    assert many.losses is not None
    validator("trends").validate({"person": None, **json.loads(json.dumps(trends_json(many)))})
    page = trends_page(many, "x")
    for sentence in (losses_sentence(many.losses), *loss_sentences(many.losses)):
        assert sentence in page.replace("&#x27;", "'")
    assert "own hands in" in losses_sentence(many.losses)
    usual = replace(many.losses, own=0)
    assert "predicted for the usual hands. Each part" in losses_sentence(usual)
    assert "own usual times" in losses_sentence(replace(usual, own=usual.pairs))
