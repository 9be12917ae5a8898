"""Reviews: what they propose does what it says, and what they tell is what was."""

from __future__ import annotations

import asyncio
import json
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from command import started
from review_check import MODEL, Figures, bold_advisor, check, one_review

from livecube.composition.practising import SessionReviews
from livecube.cube.notation import moves_text, parse_moves, parse_turns
from livecube.cube.position import SOLVED, apply_turns
from livecube.edges.automaton_file import load_hands
from livecube.events import Turn
from livecube.history.importing import import_log
from livecube.history.store import History
from livecube.holding.inference import read_solve
from livecube.holding.observations import solves_in
from livecube.holding.written import write_solve
from livecube.review.making import review_solve
from livecube.review.text import review_json, review_lines
from livecube.stages.tracker import Tracker

if TYPE_CHECKING:
    import subprocess

    from livecube.advice.advisor import Advisor
    from livecube.practice.news import Reviewed

FIXTURES = Path(__file__).parent.parent / "fixtures"


@pytest.fixture(scope="module")
def advisor() -> Advisor:
    return bold_advisor()


def test_names_are_right_and_every_alternative_does_what_it_says(advisor: Advisor) -> None:
    figures = Figures()
    for seed in range(8):
        check(seed, advisor, figures)
    assert figures.wrong == []
    assert figures.named_right >= 0.98 * figures.pairs
    assert figures.alternatives > 20 * 8


def test_of_a_solve_without_a_cross_no_stage_is_reviewed(advisor: Advisor) -> None:
    start = apply_turns(SOLVED, parse_turns("R U2 F' L D B R' U F2 L2 B D2 R F")).tobytes()
    turns = [Turn(number / 4, turn) for number, turn in enumerate(parse_turns("R U R' F"))]
    (of,) = solves_in(Tracker(start).feed_all(turns))
    review = review_solve(write_solve(of, read_solve(of.part, MODEL)), start, advisor, load_hands())
    assert (review.stages, review.openings) == ((), ())


def test_what_is_told_fits_together(advisor: Advisor) -> None:
    for seed in range(5):
        _, of, review = one_review(seed, advisor)
        told = review_json(review)
        assert len(told["stages"]) == 8
        assert sum(s["turns"] for s in told["stages"]) == of.solve.turns
        assert sum(s["seconds"] for s in told["stages"]) == pytest.approx(
            of.solve.seconds, abs=0.01
        )
        costs = [f.cost_s for f in review.findings]
        assert costs == sorted(costs, reverse=True)
        for stage in review.stages:
            saved = [way.saved_s for way in stage.alternatives if way.after]
            assert saved == sorted(saved)  # what comes later is told only if it is better
        lines = review_lines(review, "a solve")
        assert any("predicted" in line for line in lines)
        assert any("measured" in f.kind for f in review.findings)


def test_the_right_pair_the_slow_way_is_told_from_another_pair_first(advisor: Advisor) -> None:
    told = {"right": 0, "slow": 0, "order": 0}
    for seed in range(8):
        _, _, review = one_review(seed, advisor)
        sentences = [finding.sentence for finding in review.findings]
        for stage in review.stages:
            if (against := stage.against_plan) is None:
                continue
            own, first = against.own.steps[0], against.plan.steps[0]
            is_right = {*own.slots} == {*first.slots}
            assert {*own.slots} == {*stage.split.slots}
            assert stage.predicted_s is not None
            assert against.slow_s == pytest.approx(stage.predicted_s - own.seconds)
            assert against.order_s == pytest.approx(against.own.total - against.plan.total)
            assert against.order_s == 0 if is_right else against.order_s >= 0
            pair = f"pair {' and '.join(stage.split.slots)}"
            slow = [text for text in sentences if text.startswith(f"P{pair[1:]}: ")]
            assert len(slow) == (against.slow_s >= 0.1)
            assert all(moves_text(own.moves) in text for text in slow)
            assert all(("the right pair, the slow way" in text) == is_right for text in slow)
            order = [text for text in sentences if text.startswith(f"Before {pair}: ")]
            assert len(order) == (against.order_s >= 0.1)
            assert all(f"{' and '.join(first.slots)} first" in text for text in order)
            assert all(moves_text(first.moves) in text for text in order)
            told["right" if is_right else "slow"] += len(slow)
            told["order"] += len(order)
    assert min(told.values()) >= 1, told


def test_regrips_are_the_moves_that_the_table_says_come_dear() -> None:
    moves = parse_moves("F R U F D B D R L")
    # By the table: F R, F behind R U, R L; D and B are dear by themselves, not behind others.
    assert load_hands().regrips_ms(moves) == [265, 75, 60]


def livecube(*arguments: str, data: Path) -> subprocess.CompletedProcess[str]:
    return started(*arguments, LIVECUBE_DATA=str(data))


def test_a_kept_solve_is_reviewed_and_its_chances_are_kept(tmp_path: Path) -> None:
    assert (
        livecube("history", "import", str(FIXTURES / "evening.jsonl"), data=tmp_path).returncode
        == 0
    )
    done = livecube("review", "--kept", "2", "--level", "keen", "--json", data=tmp_path)
    assert done.returncode == 0, done.stderr
    (row,) = map(json.loads, done.stdout.splitlines())
    shown = json.loads(livecube("history", "show", "2", "--json", data=tmp_path).stdout)
    assert shown["chances"]
    log = livecube(
        "review",
        str(FIXTURES / "evening.jsonl"),
        "--solve",
        "2",
        "--json",
        "--level",
        "keen",
        data=tmp_path,
    )
    (again,) = map(json.loads, log.stdout.splitlines())
    assert [s["alternatives"] for s in again["stages"]] == [
        s["alternatives"] for s in row["stages"]
    ]


async def test_a_session_has_its_solves_reviewed_while_it_goes_on(
    advisor: Advisor, tmp_path: Path
) -> None:
    with History(tmp_path) as history:
        import_log(history, FIXTURES / "evening.jsonl", "ada")
    told: list[Reviewed] = []
    complaints: list[str] = []
    reviews = SessionReviews(tmp_path, told.append, complaints.append, lambda: 7.0)
    running = asyncio.create_task(reviews.run())
    for number, kept in ((1, 2), (2, 99), (3, 3)):
        reviews.add(number, kept)
    await reviews.finish()  # the advisor is not there yet, and nobody waits for it
    assert not told
    reviews.begin(advisor, load_hands())
    await reviews.finish()
    running.cancel()
    assert [(one.number, one.kept) for one in told] == [(1, 2), (3, 3)]
    assert all(len(one.sentences) == 3 for one in told)
    assert "99" in complaints[0]
    assert len(complaints) == 1
    with History(tmp_path) as history:
        assert [bool(history.chances(number)) for number in (1, 2, 3)] == [False, True, True]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ((), "name a log"),
        (("evening.jsonl", "--kept", "1"), "name a log"),
        (("evening.jsonl", "--solve", "99"), "too many"),
        (("--kept", "7"), "7"),
        (("--last",), "no solve is kept"),
        (("--kept", "7", "--person", "ada"), "--last"),
    ],
)
def test_what_cannot_be_reviewed_is_told(
    arguments: tuple[str, ...], said: str, tmp_path: Path
) -> None:
    paths = [str(FIXTURES / a) if a.endswith(".jsonl") else a for a in arguments]
    done = livecube("review", *paths, data=tmp_path)
    assert done.returncode == 2
    assert said in done.stderr
