"""Worked examples of techniques and rules, in the trade's own notation.

Common practice, no published source: white up, green in front, the yellow cross down. Each
position is made by undoing a solver's sequence; the advisor must find that sequence.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from math import inf
from typing import TYPE_CHECKING

import pytest
from advising import advisor_at
from examples import thorough

from livecube.advice.advisor import Advisor, Way, likely_cross
from livecube.advice.pieces import slot_stickers
from livecube.advice.settings import HINT_ENTRIES
from livecube.advice.words import BEFORE_THE_EYES as EYES
from livecube.advice.words import (
    Case,
    Level,
    apply_rules,
    before_the_eyes,
    edge_is_good,
    parse_level,
)
from livecube.cube.geometry import FACES
from livecube.cube.holding import SCRAMBLE_HOLDING, Holding, Move, fixed_turns
from livecube.cube.notation import moves_text, parse_moves, parse_turns
from livecube.cube.position import SOLVED, apply_turn, apply_turns, inverse_turns
from livecube.entries import with_defaults
from livecube.search.situation import Situation
from livecube.search.task import FASTEST_MS, TWO_PARTS_MS
from livecube.stages.frame import FRAMES
from livecube.techniques.base import about
from livecube.techniques.registry import TECHNIQUES

if TYPE_CHECKING:
    from livecube.advice.rows import Advice, Opportunity

YELLOW = FACES.index("D")


@pytest.fixture(scope="module")
def advisor() -> Advisor:
    return advisor_at(Level.BOLD)


def before(solution: str):  # type: ignore[no-untyped-def]
    """The position that a sequence solves."""
    return apply_turns(SOLVED, inverse_turns(parse_turns(solution)))


def rows_of(advice: Advice, technique: str) -> list[Opportunity]:
    return [row for row in advice.opportunities if row.technique == technique]


def has(advice: Advice, technique: str, solution: str, slots: set[str]) -> bool:
    turns = tuple(parse_turns(solution))
    return any(
        row.turns_fixed == turns and set(row.slots) == slots for row in rows_of(advice, technique)
    )


@pytest.mark.parametrize(
    ("technique", "solution", "slots"),
    [
        # The corner goes in at the front right, where the cross layer has brought its home.
        ("keyhole-corner", "D R U' R' D'", {"green-orange"}),  # a neighbouring slot is the door
        ("keyhole-corner", "D2 R U' R' D2", {"blue-orange"}),  # a far one
        # The edge goes in under the corner's place by three turns, from either side.
        ("keyhole-edge", "D R U R' D'", {"green-red"}),
        ("keyhole-edge", "D F' U' F D'", {"green-red"}),
        ("made-pair", "U R U' R'", {"green-red"}),
        ("plain", "R U R'", {"green-red"}),
        ("pseudo-pair", "D R U R' D'", {"green-red", "green-orange"}),
        # The first two turns make the cross, and then the corner goes in by a keyhole.
        thorough("x-cross", "F R D R U' R' D'", {"green-orange"}),
        # Two corners, a corner and then an edge, an edge and then a corner: the cross layer is
        # turned on from the first to the second, and straight at the end only.
        ("keyhole-chain", "D R U' R' D F' U F D2", {"green-orange", "blue-orange"}),
        ("keyhole-chain", "D R U' R' D L U L' D2", {"green-orange", "blue-orange"}),
        ("keyhole-chain", "D R U R' D2 L U' L' D", {"green-red", "green-orange"}),
    ],
)
def test_worked_example(advisor: Advisor, technique: str, solution: str, slots: set[str]) -> None:
    position = before(solution)
    advice = advisor.advise(position, YELLOW)
    found = {(row.technique, row.slots) for row in advice.opportunities}
    assert has(advice, technique, solution, slots), found


def test_a_flipped_edge_is_flipped_and_put_back(advisor: Advisor) -> None:
    # The four-turn flip (R' F R F') takes the flipped edge out, an insertion puts it back.
    solution = "D R' F R F' R U' R' D'"
    position = before(solution)
    assert Situation.of(position, YELLOW).flipped
    advice = advisor.advise(position, YELLOW)
    rows = rows_of(advice, "keyhole-flip")
    assert {row.slots for row in rows} == {("green-red",)}
    assert {row.turns for row in rows if row.shortest} == {8}
    known = advisor.answers.automaton.sequence_ms(parse_moves(solution)) / 1000
    assert all(row.seconds <= known + FASTEST_MS / 1000 for row in rows if row.fastest)
    assert not rows_of(advice, "keyhole-edge")


def test_an_x_cross_is_found_by_its_shortest_and_by_its_fastest_ways(advisor: Advisor) -> None:
    solution = "F R U R' D' F'"
    advice = advisor.advise(before(solution), YELLOW)
    assert advice.offset is None
    rows = rows_of(advice, "x-cross")
    shortest = min(row.turns for row in rows)
    assert shortest <= 6
    for slots in {row.slots for row in rows}:
        ours = [row for row in rows if row.slots == slots]
        fewest, least = min(row.turns for row in ours), min(row.seconds for row in ours)
        for row in ours:
            assert row.shortest == (row.turns == fewest)
            assert row.fastest <= (row.seconds < least + FASTEST_MS / 1000 + 1e-9)
        assert any(row.fastest and row.seconds == least for row in ours)
    assert advice.cross_turns is not None
    assert advice.cross_turns <= shortest


def test_a_pseudo_x_cross_comes_with_its_pair(advisor: Advisor) -> None:
    position = before("R2 F D L' D R U R' D'")
    advice = advisor.advise(position, YELLOW)
    rows = rows_of(advice, "pseudo-x-cross")
    assert rows
    for row in rows:
        after = Situation.of(apply_turns(position, row.turns_fixed), YELLOW)
        assert after.offset == 0
        assert set(row.slots) <= set(after.slot_names(s for s in range(4) if after.solved >> s & 1))


def test_every_row_does_what_it_says(advisor: Advisor) -> None:
    position = before("D R U' R' D' U2 L' U L F U F' R U2 R'")
    situation = Situation.of(position, YELLOW)
    kept = set(situation.slot_names(s for s in range(4) if situation.solved >> s & 1))
    rows = advisor.advise(position, YELLOW).opportunities
    assert rows
    for row in rows:
        after = Situation.of(apply_turns(position, row.turns_fixed), YELLOW)
        assert after.offset == 0
        solved = set(after.slot_names(s for s in range(4) if after.solved >> s & 1))
        assert kept | set(row.slots) <= solved


def test_rows_are_ranked_by_their_plan_then_seconds_then_turns_then_pieces_kept(
    advisor: Advisor,
) -> None:
    advice = advisor.advise(before("D R U' R' D' L' U L U2 B U B'"), YELLOW)
    plans = {plan.steps[0].slots: plan.total for plan in advice.plans}
    assert {slots for slots in plans if len(slots) == 1} == {
        row.slots for row in advice.opportunities if row.technique == "plain"
    }
    rows = [row for row in advice.opportunities if row.fastest]
    assert [*advice.opportunities[: len(rows)]] == rows, "rows that are only shortest come last"
    own = {plan.steps[0].slots: plan.steps[0].turns_fixed for plan in advice.plans}
    keys = [
        (
            plans.get(row.slots, inf),
            own.get(row.slots) != row.turns_fixed,  # the step of its plan comes first
            row.seconds + row.looking,
            row.turns,
            -row.top_kept,
        )
        for row in rows
    ]
    assert keys == sorted(keys)
    assert advice.plan == advice.plans[0]
    assert rows[0].slots == advice.plan.steps[0].slots
    assert not any(row.fastest for row in rows_of(advice, "shortest"))


def test_a_stated_holding_is_believed_and_costs_its_rotation(advisor: Advisor) -> None:
    position = before("B U B'")
    free = advisor.advise(position, YELLOW).opportunities[0]
    held = advisor.advise(position, YELLOW, SCRAMBLE_HOLDING).opportunities[0]
    assert held.holding == SCRAMBLE_HOLDING
    assert held.seconds > free.seconds


# Rules of the trade.


def notes(row: Opportunity) -> set[str]:
    return {note.rule for note in row.notes}


def test_a_corner_facing_up_is_told_and_takes_longer_to_see(advisor: Advisor) -> None:
    eyes = advisor.answers.automaton.looking.table
    told = 0
    for solution in ("D R U2 R' U' R U R' D'", "D2 R U2 R' U' R U R' D2 L' U L"):
        position = before(solution)
        situation = Situation.of(position, YELLOW)
        for row in rows_of(advisor.advise(position, YELLOW), "keyhole-corner"):
            (slot,) = situation.slot_numbers(row.slots)
            corner, _ = slot_stickers(situation, slot, row.holding)
            up = any((one.colour, one.facing) == ("yellow", "up") for one in corner)
            assert ("corner-facing-up" in notes(row)) == up
            assert any("yellow faces up" in note.text for note in row.notes) == up
            assert not row.silenced
            if up:
                least = eyes["base"] + eyes["corner"] + eyes["techniques"]["keyhole-corner"]
                assert row.looking >= least + eyes["keyhole_corner_up"] - 1e-9
            told += up
    assert told


def test_a_good_edge_goes_in_from_right_or_left_and_a_bad_one_does_not(advisor: Advisor) -> None:
    for solution, good in (("D R U R' D'", True), ("D F' U' F D'", False)):
        position = before(solution)
        situation = Situation.of(position, YELLOW)
        row = next(
            row
            for row in advisor.advise(position, YELLOW, SCRAMBLE_HOLDING).opportunities
            if row.technique == "keyhole-edge" and row.slots == ("green-red",)
        )
        slot = [situation.slot_name(s) for s in range(4)].index("green-red")
        assert edge_is_good(situation, slot, row.holding) is good
        assert ("good-edge" if good else "bad-edge") in notes(row)


@pytest.mark.parametrize(
    ("solution", "moves", "said"),
    [
        # With the wide turn the right face is where the front was.
        ("D' F' U' F D", "Uw' R' U' R D", "which the wide turn saves"),
        ("D2 F' U' F D2", "D2 F' U' F D2", "which a wide upper turn in place of D may save"),
        ("D2 B U B' D2", "Uw2 F U F' D2", "which a wide upper turn in place of D may save"),
    ],
)
def test_a_bad_edge_with_and_without_the_wide_turn(
    advisor: Advisor, solution: str, moves: str, said: str
) -> None:
    rows = rows_of(advisor.advise(before(solution), YELLOW, SCRAMBLE_HOLDING), "keyhole-edge")
    texts = {moves_text(row.moves): [note.text for note in row.notes] for row in rows}
    assert any(said in text for text in texts[moves])


@pytest.mark.parametrize(
    ("top", "pairs", "said"),
    [
        (3, 0, None),
        (4, 0, "keeps 4 upper-layer pieces"),
        (4, 1, "keeps a made pair"),
    ],
)
def test_a_quiet_upper_layer_is_worth_a_word(
    advisor: Advisor, top: int, pairs: int, said: str | None
) -> None:
    position = before("R U R'")
    (row, *_) = advisor.advise(position, YELLOW).opportunities
    row = replace(row, technique="plain", top_kept=top, pairs_kept=pairs, notes=())
    case = Case(Situation.of(position, YELLOW), (0,), row, Level.CALM, Level.CALM)
    notes = apply_rules(case)
    assert [note.text for note in notes] == ([] if said is None else [said])
    assert not any(note.silences for note in notes)


def test_levels_silence_what_needs_fast_eyes_and_nothing_else() -> None:
    position = before("D R U R' D'")
    needed = {technique.id: about(technique).level for technique in TECHNIQUES}
    for level in Level:
        advisor = advisor_at(level)
        for row in advisor.advise(position, YELLOW).opportunities:
            assert ("level" in notes(row)) == (needed[row.technique] > level)
    assert set(needed.values()) == set(Level)


def test_without_a_configuration_hints_are_calm_for_a_white_cross_and_said_while_solving() -> None:
    said = {"level": "calm", "when": "solving", "cross": "white", "clues": "off", "within": 0.3}
    assert with_defaults({}, HINT_ENTRIES) == said | {
        **dict.fromkeys(("focus", "up", "front", "hands")), "voice": False,
    }  # fmt: skip


def test_levels_are_read_by_name() -> None:
    assert [parse_level(level.name.lower()) for level in Level] == list(Level)
    with pytest.raises(ValueError, match="calm, keen, bold"):
        parse_level("wild")


def test_the_likely_cross_is_the_one_with_most_solved_and_something_left() -> None:
    assert likely_cross(before("D R U' R' D' R U2 R' U' F U F'")) == YELLOW
    assert likely_cross(before("R U R' U' D' L2 F2 B R")) == 0  # no cross is whole
    assert likely_cross(SOLVED) == 0  # all are, and white is the first
    assert likely_cross(apply_turn(SOLVED, 15)) == 0  # nothing is left, and one is aligned
    # Three yellow corners go round. Nothing is left of white; of yellow three slots are, and of
    # the sides one if they hold the corner that stays, else two.
    three = apply_turns(SOLVED, parse_turns("L' D R D' L D R' D'"))
    rows = [frame.row(0, bytes(three.tolist())) for frame in FRAMES]
    solved = [row.solved.bit_count() for row in rows if row]
    assert sorted(solved) == [1, 2, 2, 3, 3, 4]
    assert likely_cross(three) == solved.index(3)


def row_before(advisor: Advisor, solution: str, technique: str) -> tuple[Situation, Opportunity]:
    position = before(solution)
    rows = rows_of(advisor.advise(position, YELLOW, SCRAMBLE_HOLDING), technique)
    row = next(row for row in rows if row.turns_fixed == tuple(parse_turns(solution)))
    return Situation.of(position, YELLOW), row


def test_three_turns_stand_before_the_eyes_and_more_do_not(advisor: Advisor) -> None:
    situation, row = row_before(advisor, "R U R'", "plain")
    assert before_the_eyes(situation, row)
    assert not before_the_eyes(situation, replace(row, turns=4))
    assert not before_the_eyes(situation, replace(row, moves=(Move("y", 1), *row.moves)))
    assert not before_the_eyes(situation, replace(row, slots=("green-red", "blue-red")))


def test_a_made_pair_stands_before_the_eyes_wherever_it_is(advisor: Advisor) -> None:
    situation, row = row_before(advisor, "U R U' R'", "made-pair")
    assert row.turns == 4
    assert before_the_eyes(situation, row)


def test_a_piece_behind_does_not_stand_before_the_eyes(advisor: Advisor) -> None:
    situation, row = row_before(advisor, "D2 R U' R' D2", "keyhole-corner")
    assert row.slots == ("blue-orange",)  # its edge is home, in the back left
    short = replace(row, turns=3)
    assert not before_the_eyes(situation, short)
    turned = Holding.of(FACES.index("U"), FACES.index("B"))
    assert before_the_eyes(situation, replace(short, holding=turned)), "now in the front right"


def test_what_stands_before_the_eyes_is_left_out_but_not_at_the_gentlest_level() -> None:
    position = before("R U R'")
    silences = {level: advisor_at(level).at_beginning(position, YELLOW).silence for level in Level}
    assert silences == {Level.CALM: None, Level.KEEN: EYES, Level.BOLD: EYES}
    long = before("R U R' U' R U R'")
    assert advisor_at(Level.BOLD).at_beginning(long, YELLOW).silence is None


def test_at_a_beginning_the_hint_that_stands_is_worked_out_from_there(advisor: Advisor) -> None:
    position = before("U R U' R' L' U' L U2 B U B'")
    first = advisor.at_beginning(position, YELLOW)
    assert first.standing is None
    best = first.rows[0]
    again = advisor.at_beginning(position, YELLOW, None, best).standing
    assert again == Way(best, first.seconds)
    # Every pair has a way with a plan that takes no less than the best.
    for row in first.rows:
        way = advisor.at_beginning(position, YELLOW, None, row).standing
        assert way is not None
        assert (way.row.technique, way.row.slots) == (row.technique, row.slots)
        assert way.seconds >= first.seconds
    gone = replace(best, slots=("nowhere",))
    assert advisor.at_beginning(position, YELLOW, None, gone).standing is None


def test_the_same_way_from_another_position_does_what_it_says(advisor: Advisor) -> None:
    _, row = row_before(advisor, "U R U' R'", "made-pair")
    turned = apply_turns(before("U R U' R'"), parse_turns("U2"))
    same = advisor.same_way(turned, YELLOW, None, row)
    assert same is not None
    assert (same.technique, same.slots) == (row.technique, row.slots)
    assert Situation.of(apply_turns(turned, same.turns_fixed), YELLOW).free == 0
    broken = apply_turns(turned, parse_turns("R"))
    assert advisor.same_way(broken, YELLOW, None, row) is None


@pytest.mark.parametrize(("solution", "out"), [("R U R' U'", 1), ("R U R' U L' U' L", 2)])
def test_a_repair_has_all_four_in(advisor: Advisor, solution: str, out: int) -> None:
    position = before(solution)
    row = advisor.repair(position, YELLOW)
    assert row is not None
    assert len(row.slots) == out
    after = Situation.of(apply_turns(position, row.turns_fixed), YELLOW)
    assert (after.offset, after.free) == (0, 0)
    assert row.turns <= len(parse_turns(solution))
    assert "out" in row.why
    assert fixed_turns(row.moves, row.holding)[0] == list(row.turns_fixed)
    assert advisor.repair(SOLVED, YELLOW) is None
    assert advisor.repair(apply_turns(position, parse_turns("R")), YELLOW) is None


def test_a_repair_of_three_slots_brings_in_one_after_the_other(advisor: Advisor) -> None:
    position = before("R U R' U L' U' L U2 B U B'")
    row = advisor.repair(position, YELLOW)
    assert row is not None
    assert len(row.slots) == 3
    after = Situation.of(apply_turns(position, row.turns_fixed), YELLOW)
    assert (after.offset, after.free) == (0, 0)


@pytest.mark.parametrize(
    "solution", ["D R U' R' D F' U F D2", "R U R'", thorough("F R U R' D' F'")]
)
def test_without_an_engine_there_are_the_fastest_rows_alone(
    advisor: Advisor, solution: str
) -> None:
    alone = Advisor(advisor.answers.twin(), TECHNIQUES, advisor.level)
    position = before(solution)
    few, all_told = (one.advise(position, YELLOW, plans=False) for one in (alone, advisor))
    assert few.cross_turns is None
    assert {row.fastest for row in few.opportunities} == {True}
    assert {row.shortest for row in few.opportunities} == {False}
    assert {(row.technique, row.turns_fixed, row.seconds) for row in few.opportunities} == {
        (row.technique, row.turns_fixed, row.seconds)
        for row in all_told.opportunities
        if row.fastest and (row.technique != "pseudo-x-cross" or row.seconds <= TWO_PARTS_MS / 1000)
    }


def test_rows_come_in_the_order_of_what_they_take(advisor: Advisor) -> None:
    """Fastest rows first, by the plan that begins with their pair; then the others."""
    many = 0
    for solution in ("D R U' R' D F' U F D2", "R U R'", "U R U2 R' U R U' R'"):
        advice = advisor.advise(before(solution), YELLOW)
        rows = advice.opportunities
        fastest = [row for row in rows if row.fastest]
        assert [row.fastest for row in rows] == sorted((row.fastest for row in rows), reverse=True)
        totals = {plan.steps[0].slots: plan.total for plan in reversed(advice.plans)}
        firsts = {plan.steps[0].slots: plan.steps[0] for plan in reversed(advice.plans)}
        planned = [totals.get(row.slots, inf) for row in fastest]
        assert planned == sorted(planned)
        for slots, first in firsts.items():
            its = [row for row in fastest if row.slots == slots]
            known = [row.turns_fixed == first.turns_fixed for row in its]
            assert known == sorted(known, reverse=True)
            costs = [
                row.seconds + row.looking for row in its if row.turns_fixed != first.turns_fixed
            ]
            assert costs == sorted(costs)
        planned_turns = {first.turns_fixed for first in firsts.values()}
        others = [row for row in rows if not row.fastest and row.turns_fixed not in planned_turns]
        many += len(others)
        costs = [row.seconds + row.looking for row in others]
        assert costs == sorted(costs)
        for row, after in pairwise(others):
            if row.seconds + row.looking == after.seconds + after.looking:
                assert (row.turns, -row.top_kept) <= (after.turns, -after.top_kept)
    assert many > 10


def test_a_repair_of_many_slots_is_the_best_plan(advisor: Advisor) -> None:
    position = before("R U R' L' U L U F U' F' U2 R' U' R")
    assert Situation.of(position, YELLOW).free.bit_count() > 2
    row = advisor.repair(position, YELLOW)
    best, *others = advisor.plans(position, YELLOW, level=Level.BOLD)
    assert row is not None
    assert others
    assert row.turns_fixed == tuple(turn for step in best.steps for turn in step.turns_fixed)
    assert row.seconds == best.seconds
