"""Reviews: their ways solve what they claim, and their figures are those of the solve."""

from __future__ import annotations

import asyncio
import json
from pathlib import Path
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import pytest
from command import started
from referee_review import complaints
from review_check import MODEL, Figures, bold_advisor, check, given_of, one_review

from livecube.composition.practising import SessionReviews
from livecube.composition.reviewing import chances_of, prices_of
from livecube.cube.notation import moves_text, parse_moves, parse_turns
from livecube.cube.position import SOLVED, apply_turns, htm, merge
from livecube.edges.automaton_file import load_hands
from livecube.events import Turn
from livecube.history.importing import import_log
from livecube.history.store import History
from livecube.holding.inference import read_solve
from livecube.holding.observations import solves_in
from livecube.holding.written import write_solve
from livecube.review.findings import _spare_s
from livecube.review.making import _spare, review_solve, splits_of, stage_span
from livecube.review.text import review_json, review_lines
from livecube.stages.progress import SURE
from livecube.stages.tracker import Tracker
from livecube.timing.results import seconds_text, time_text, truncated

if TYPE_CHECKING:
    import subprocess
    from collections.abc import Iterator

    from livecube.advice.advisor import Advisor
    from livecube.practice.news import Reviewed
    from livecube.review.reviewed import Review, SpareRotations

FIXTURES = Path(__file__).parent.parent / "fixtures"


@pytest.fixture(scope="module")
def advisor() -> Advisor:
    return bold_advisor()


SEEDS = range(4)
"""Of the solves whose reviews are looked at; ``checks/review_check.py`` takes 500."""
ROTATED = 11
"""A solve with a rotation that could have been avoided."""
JUDGED = {"rotations", "wide_turns", "regrips", "turns", "predicted", "turned", "slow", "order"}
JUDGED |= {"saved_turns", "saved_predicted", "pause", "confidence", "cost"}


def test_names_are_right_and_so_is_every_number(advisor: Advisor) -> None:
    figures = Figures()
    for seed in SEEDS:
        check(seed, advisor, figures)
    assert figures.wrong == []
    assert figures.named_right >= 0.98 * figures.pairs
    assert figures.alternatives > 4 * len(SEEDS)


def spoiled(told: Any, path: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    """Paths of the numbers in the object of a review; each is changed a little meanwhile."""
    items = told.items() if isinstance(told, dict) else enumerate(told)
    for key, value in [*items]:
        if key in ("plan", "own", "then", "findings"):
            continue
        if isinstance(value, dict | list):
            yield from spoiled(value, (*path, key))
        elif type(value) in (int, float) and key in JUDGED:
            told[key] = value + (1 if isinstance(value, int) else 0.003)
            yield (*path, key)
            told[key] = value


@pytest.mark.thorough
def test_the_referee_of_reviews_notices_each_number_that_is_wrong_by_a_little(
    advisor: Advisor,
) -> None:
    seen, unnoticed = 0, []
    for seed in (0, ROTATED):
        done, of, review = one_review(seed, advisor)
        given, told = given_of(done, of, review), json.loads(json.dumps(review_json(review)))
        for path in spoiled(told):
            seen += 1
            unnoticed += [] if any(complaints(told, given)) else [path]
    assert unnoticed == []
    assert seen > 100


def made_in(review: Review, number: int) -> tuple[int, list[int]]:
    """The number of turns before a stage, and its own turns as counted."""
    of = review.written.of
    begun, end = stage_span(splits_of(review.written), number, of.first_line)
    return begun, [merged.turn for merged in merge(of.part.turns[begun:end])]


def test_turns_that_merge_with_those_made_just_before_are_not_claimed(advisor: Advisor) -> None:
    merging = 0
    for seed in SEEDS:
        _, of, review = one_review(seed, advisor)
        for number, stage in enumerate(review.stages):
            begun, _ = made_in(review, number)
            _, end = stage_span(splits_of(review.written), number, of.first_line)
            for way in stage.alternatives:
                left = htm(of.part.turns[begun + way.after : end])
                merging += len(way.row.slots) == 1 and left - way.row.turns != way.saved_turns
    assert merging > 0  # the figures themselves are judged above


def test_a_way_that_is_the_very_turns_that_were_made_saves_nothing(advisor: Advisor) -> None:
    same = 0
    for seed in SEEDS:
        _, _, review = one_review(seed, advisor)
        for number, stage in enumerate(review.stages):
            _, made = made_in(review, number)
            for way in (*stage.chances, *(one for one in stage.alternatives if not one.after)):
                if [merged.turn for merged in merge(way.row.turns_fixed)] == made:
                    same += 1
                    assert way.saved_s == pytest.approx(0)
                    assert way not in stage.alternatives
    assert same > 0


@pytest.mark.thorough
def test_rotations_of_the_last_layer_or_of_doubtful_readings_are_not_counted(
    advisor: Advisor,
) -> None:
    counted = 0
    for seed in (*SEEDS, ROTATED):
        _, _, review = one_review(seed, advisor)
        told = [finding.sentence for finding in review.findings if "rotated" in finding.sentence]
        for stage in review.stages:
            if stage.spare is not None:
                counted += stage.spare.rotations
                assert stage.split.stage == "pair"
                assert stage.written.confidence >= SURE
                assert not any(move.is_rotation for move in stage.spare.way.moves)
                assert stage.spare.way.holding == stage.held
        assert len(told) <= any(stage.spare for stage in review.stages)
        assert all("% certain" in sentence for sentence in told)
    assert told, "the last one has some"
    assert counted >= 1


def test_rotations_cost_no_more_than_the_way_without_them_saves() -> None:
    hands, slots = load_hands(), ("green-red",)
    split = SimpleNamespace(slots=slots)

    def way(seconds: float, moves: str, slots: tuple[str, ...] = slots) -> Any:
        return SimpleNamespace(slots=slots, moves=parse_moves(moves), seconds=seconds)

    def spare(moves: str, predicted: float | None, *rows: Any) -> SpareRotations | None:
        written = [SimpleNamespace(move=move) for move in parse_moves(moves)]
        stage: Any = SimpleNamespace(moves=written, split=split)
        return _spare(stage, predicted, rows, hands)

    still = way(1.0, "R U R'")
    rotation_s = hands.done_ms(parse_moves("y")) / 1000
    assert 0.05 < rotation_s < 1.0
    dear, near = spare("y L U L'", 2.0, still), spare("y L U L'", 1.05, still)
    assert dear is not None
    assert (dear.rotations, dear.way, dear.cost_s) == (1, still, round(rotation_s, 3))
    assert near is not None
    assert near.cost_s == 0.05
    assert spare("y L U L'", 1.0, still) is not None
    assert spare("y L U L'", 0.99, still) is None
    assert spare("L U L'", 2.0, still) is spare("y L U L'", None, still) is None
    assert spare("y U", 2.0, way(1.0, "y R"), way(1.0, "R", ("other",))) is None

    # What the wrong way costs is counted once: as rotations, or as a slow way.
    def counted(slow_s: float | None) -> float:
        against = None if slow_s is None else SimpleNamespace(slow_s=slow_s)
        stage: Any = SimpleNamespace(
            spare=dear, against_plan=against, predicted_s=2.0, turned_s=2.0 - rotation_s / 2
        )
        return _spare_s(stage)

    assert counted(None) == counted(0.05) == dear.cost_s
    assert counted(0.5) == pytest.approx(rotation_s / 2)


def test_every_pair_has_prices_and_those_of_what_was_done_are_taken(advisor: Advisor) -> None:
    taken = pairs = 0
    for seed in SEEDS:
        _, _, review = one_review(seed, advisor)
        prices = prices_of(review)
        for number, stage in enumerate(review.stages):
            its = [one for one in prices if one.stage == number]
            if stage.against_plan is not None:
                pairs += 1
                assert min(one.price_ms for one in its) == 0, "the best plan begins with something"
                best = stage.against_plan.plan.steps[0].technique
                assert (best, 0) in {(one.technique, one.price_ms) for one in its}
            assert {one.technique for one in its if one.taken} <= {
                stage.split.technique, "keyhole-chain", "pseudo-pair"
            }  # fmt: skip
            names = {one.technique for one in its}
            assert len(names) == len(its)
            taken += stage.split.technique in {one.technique for one in its if one.taken}
    assert pairs > 10
    assert taken > 0.8 * pairs


def test_what_was_slower_is_no_chance(advisor: Advisor) -> None:
    for seed in SEEDS:
        _, _, review = one_review(seed, advisor)
        assert all(chance.taken or chance.saved_ms > 0 for chance in chances_of(review))
        assert all(opening.saved_s > 0 for opening in review.openings)


@pytest.mark.parametrize("ms", [12_599, 12_590, 12_600, 999, 70_009, 5, 29_999, 1_145, 115_005])
def test_a_result_and_the_times_of_its_stages_are_cut_alike(ms: int) -> None:
    minutes, _, rest = time_text(truncated(ms)).rpartition(":")
    assert float(seconds_text(ms / 1000)) == pytest.approx(60 * int(minutes or 0) + float(rest))


def test_of_a_solve_without_a_cross_no_stage_is_reviewed(advisor: Advisor) -> None:
    start = apply_turns(SOLVED, parse_turns("R U2 F' L D B R' U F2 L2 B D2 R F")).tobytes()
    turns = [Turn(number / 4, turn) for number, turn in enumerate(parse_turns("R U R' F"))]
    (of,) = solves_in(Tracker(start).feed_all(turns))
    review = review_solve(write_solve(of, read_solve(of.part, MODEL)), start, advisor, load_hands())
    assert (review.stages, review.openings) == ((), ())


def test_what_is_told_fits_together(advisor: Advisor) -> None:
    for seed in SEEDS:
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
            assert saved == sorted(saved)  # a later way is listed only if it is better
        lines = review_lines(review, "a solve")
        assert any("predicted" in line for line in lines)
        assert any("measured" in f.kind for f in review.findings)


def test_the_right_pair_the_slow_way_is_told_from_another_pair_first(advisor: Advisor) -> None:
    told = {"right": 0, "slow": 0, "order": 0}
    for seed in SEEDS:
        _, _, review = one_review(seed, advisor)
        sentences = [finding.sentence for finding in review.findings]
        for stage in review.stages:
            if (against := stage.against_plan) is None:
                continue
            own, first = against.own.steps[0], against.plan.steps[0]
            is_right = {*own.slots} == {*first.slots}
            assert {*own.slots} == {*stage.split.slots}
            assert stage.turned_s is not None
            assert against.slow_s == pytest.approx(stage.turned_s - own.seconds)
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
    # By the table: F R, F after R U, R L; D and B are dear by themselves, not after others.
    assert load_hands().regrips_ms(moves) == [265, 75, 60]


def livecube(*arguments: str, data: Path) -> subprocess.CompletedProcess[str]:
    return started(*arguments, LIVECUBE_DATA=str(data))


@pytest.mark.thorough
def test_a_kept_solve_is_reviewed_and_its_chances_are_kept(tmp_path: Path) -> None:
    assert (
        livecube("history", "import", str(FIXTURES / "evening.jsonl"), data=tmp_path).returncode
        == 0
    )
    # For hands of their own, learned from these solves, every answer would be searched for.
    said = ("--level", "keen", "--hands", "right", "--json")
    done = livecube("review", "--kept", "2", *said, data=tmp_path)
    assert done.returncode == 0, done.stderr
    (row,) = map(json.loads, done.stdout.splitlines())
    shown = json.loads(livecube("history", "show", "2", "--json", data=tmp_path).stdout)
    assert shown["chances"]
    evening = str(FIXTURES / "evening.jsonl")
    log = livecube("review", evening, "--solve", "2", *said, data=tmp_path)
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
    for number, kept in ((1, 99), (2, 2)):
        reviews.add(number, kept)
    await reviews.finish()  # the advisor is not loaded yet, and is not waited for
    assert not told
    reviews.begin(advisor, load_hands())
    await reviews.finish()
    running.cancel()
    assert [(one.number, one.kept) for one in told] == [(2, 2)]
    assert all(len(one.sentences) == 3 for one in told)
    assert "99" in complaints[0]
    assert len(complaints) == 1
    with History(tmp_path) as history:
        assert [bool(history.chances(number)) for number in (1, 2, 3)] == [False, True, False]


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
