"""Hands learned from turns, on a person whose true hands are known."""

from __future__ import annotations

import json
import tomllib
from dataclasses import replace
from functools import cache
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from drawn_eyes import draw_eyes, looks
from drawn_persons import (
    draw_hands,
    insertions,
    part_of,
    stated,
    timed,
    true_automaton,
    true_cells,
    walks,
    without_waits,
)
from holding_truth import true_path
from hypothesis import given
from hypothesis import strategies as st

from livecube.cube.notation import parse_moves
from livecube.edges.automaton_file import load_hands
from livecube.hands.automaton import MOVES, NEVER, make_automaton
from livecube.hands.executions import Execution, Part, cells_of, first_cell, gaps_of, pauses_of
from livecube.hands.features import parse_features
from livecube.hands.kinship import kinship_of
from livecube.hands.own_eyes import learn_eyes
from livecube.hands.own_hands import OwnHands, learn_hands
from livecube.hands.own_state import eyes_from, eyes_state, hands_from, hands_state
from livecube.hands.own_table import own_automaton
from livecube.hands.price_file import CLOSE_MS, price_file
from livecube.hands.trust import believed
from livecube.holding.executions import executions_read
from livecube.holding.inference import Reading
from livecube.virtual.habits import RIGHT_HANDED

if TYPE_CHECKING:
    from drawn_persons import Hands, Kind, Timed

    from livecube.cube.holding import Move

KIN = kinship_of(load_hands())
LEARNED, TESTS = 40, 20
ROTATIONS = tuple(parse_moves("x x' x2 y y' y2 z z' z2"))


@cache
def person(kind: Kind) -> tuple[Hands, list[Timed]]:
    rng = np.random.default_rng(22)
    hands = draw_hands(rng, KIN.usual, kind)
    return hands, timed(hands, walks(RIGHT_HANDED, KIN.usual, LEARNED + TESTS), rng)


@cache
def learned(kind: Kind) -> OwnHands:
    return learn_hands(KIN, [stated(one) for one in person(kind)[1][:LEARNED]])


def error(prices: np.ndarray, solves: list[Timed]) -> float:
    """Mean absolute error of insertions, hesitations set aside, in milliseconds."""
    gaps = gaps_of(KIN.usual, [insertions(without_waits(one)) for one in solves])
    off = np.bincount(gaps.execution, gaps.ms - prices[gaps.cell])
    return float(np.abs(off).mean())


def test_a_persons_prices_are_learned_and_predict_better_than_the_usual_ones() -> None:
    hands, solves = person("ordinary")
    own, tests = learned("ordinary"), solves[LEARNED:]
    true, usual = error(true_cells(hands, KIN.usual), tests), error(KIN.usual_ms, tests)
    assert error(own.price_ms, tests) - true < 0.2 * (usual - true)
    assert own.verdict.keeps
    assert own.verdict.solves == LEARNED
    assert own.noise.spread == pytest.approx(hands.spread, rel=0.1)


def off_at_first(own: OwnHands, hands: Hands, cells: np.ndarray) -> float:
    """How far the prices of first turns are off against one another, on the logarithm's scale."""
    true = true_cells(hands, KIN.usual)[cells]
    return float(np.std(np.log(own.price_ms[cells] / true)))


def paused(solves: list[list[Execution]], more_ms: float | None) -> list[list[Execution]]:
    """The same with longer pauses; None: as if no pause were known."""
    return [
        [
            one
            if one.pause_ms is None
            else replace(one, pause_ms=None if more_ms is None else one.pause_ms + more_ms)
            for one in solve
        ]
        for solve in solves
    ]


@pytest.mark.thorough
def test_first_turns_are_learned_where_the_hands_went_on_at_once_and_looks_are_none() -> None:
    hands, solves = person("ordinary")
    told = [stated(one) for one in solves[:LEARNED]]
    pauses = pauses_of(KIN.usual, told)
    cells, times = np.unique(pauses.cell, return_counts=True)
    often = cells[times >= 5]
    assert len(often) > 4
    without = learn_hands(KIN, paused(told, None))
    assert without.sums.weight[often].sum() == 0
    with_pauses = off_at_first(learned("ordinary"), hands, often)
    assert with_pauses < 0.75 * off_at_first(without, hands, often)
    looked = learn_hands(KIN, paused(told, 500.0))
    assert looked.looks.share > 0.9
    assert np.allclose(looked.price_ms[often], without.price_ms[often], rtol=0.05)


def test_a_pause_tells_of_the_first_turn_unless_the_cube_was_rotated() -> None:
    solve = [
        Execution(tuple(parse_moves("R U R'")), (0.0, 100.0, 200.0), pause_ms=130.0),
        Execution(tuple(parse_moves("y R U")), (0.0, 0.0, 100.0), pause_ms=300.0),
        Execution(tuple(parse_moves("U R")), (0.0, 100.0)),
        Execution(tuple(parse_moves("U' L'")), (0.0, 90.0), sure=0.5, pause_ms=-3.0),
    ]
    found = pauses_of(KIN.usual, [[], solve])
    first = KIN.usual.start * len(MOVES)
    at = [first + MOVES.index(parse_moves(name)[0]) for name in ("R", "U'")]
    assert found.cell.tolist() == at
    assert found.ms.tolist() == [130.0, 1.0]
    assert found.sure.tolist() == [1.0, 0.5]
    assert found.execution.tolist() == [0, 3]
    assert found.solve.tolist() == [1, 1]
    assert KIN.first[found.cell].all()
    assert not len(pauses_of(KIN.usual, [[]]).cell)


@pytest.mark.parametrize(
    ("text", "practised"),
    [
        ("U R U R' F", (2, 3)),
        ("R U R2", ()),
        ("Rw U R'", ()),
        ("R' F R F' U", (1, 2, 3)),
        ("R' F R2 F'", ()),
        ("R' F R U R'", (3, 4)),
        ("R' F U F'", (2, 3)),
        ("R U R' F R F'", (1, 2, 3, 4, 5)),
        ("R y U R'", ()),
    ],
)
def test_true_prices_know_practised_triggers(text: str, practised: tuple[int, ...]) -> None:
    triggers = tuple(tuple(one.split()) for one in ("R U R'", "F U F'", "R' F R F'"))
    hands = replace(person("ordinary")[0], triggers=triggers, trigger_factor=0.85)
    bare = true_automaton(hands, KIN.usual, with_triggers=False)
    moves = parse_moves(text)
    until = [bare.sequence_ms(moves[:made]) for made in range(len(moves) + 1)]
    saved = sum(0.15 * (until[at + 1] - until[at]) for at in practised)
    true = true_automaton(hands, KIN.usual)
    assert true.sequence_ms(moves) == pytest.approx(until[-1] - saved, abs=2)
    plain = np.rint(true_cells(hands, KIN.usual)[: bare.seconds_ms.size])
    assert np.array_equal(bare.seconds_ms.ravel(), plain)


def test_predicted_times_are_as_sure_as_they_say() -> None:
    own, inside, number = learned("ordinary"), 0, 0
    for one in person("ordinary")[1][LEARNED:]:
        for execution in insertions(without_waits(one)):
            if (span := own.predicted(execution.moves)) is not None:
                number += 1
                took = gaps_of(KIN.usual, [[execution]]).ms.sum()
                inside += span.low <= took <= span.high
    assert 0.88 < inside / number < 0.99
    assert own.predicted(tuple(parse_moves("R"))) is None


def test_without_turns_the_usual_prices_stay() -> None:
    nothing = learn_hands(KIN, [])
    assert np.array_equal(nothing.price_ms, KIN.usual_ms)
    assert not nothing.verdict.keeps
    one = learn_hands(KIN, [stated(person("near")[1][0])])
    assert not one.verdict.keeps


@pytest.mark.thorough
def test_for_hands_near_the_usual_ones_the_usual_prices_stay() -> None:
    near = learned("near")
    assert not near.verdict.keeps
    assert own_automaton(near, None, KIN.usual) is KIN.usual
    used = near.fit.means.cell[~KIN.rotated[near.fit.means.cell]]
    assert np.median(np.abs(np.log(near.price_ms[used] / KIN.usual_ms[used]))) < 0.05


@pytest.mark.thorough
def test_hesitations_are_no_slow_fingers() -> None:
    rng = np.random.default_rng(3)
    solves = [stated(one) for one in person("ordinary")[1][:LEARNED]]
    hesitant = [[_hesitating(execution, rng) for execution in one] for one in solves]
    own, slower = learned("ordinary"), learn_hands(KIN, hesitant)
    used = own.sums.weight > 5
    off = np.log(slower.price_ms[used] / own.price_ms[used])
    assert abs(np.average(off, weights=own.sums.weight[used])) < 0.02
    assert np.abs(off).max() < 0.15
    assert slower.noise.waits > own.noise.waits + 0.04


def _hesitating(execution: Execution, rng: np.random.Generator) -> Execution:
    waits = np.where(rng.random(len(execution.moves)) < 0.07, rng.uniform(300, 900), 0.0)
    at = np.array(execution.at_ms) + np.cumsum(waits)
    return replace(execution, at_ms=tuple(at.tolist()))


@pytest.mark.thorough
def test_one_more_solve_is_predicted_first_and_then_learned_from() -> None:
    solves = [stated(one) for one in person("ordinary")[1][:LEARNED]]
    own = learn_hands(KIN, solves[:36])
    before = own.verdict
    for solve in solves[36:]:
        own = own.after(solve)
    whole = learned("ordinary")
    assert own.solves == whole.solves == own.verdict.solves
    assert own.verdict.usual_ms > before.usual_ms
    used = whole.sums.weight > 5
    assert np.abs(np.log(own.price_ms[used] / whole.price_ms[used])).max() < 0.05
    assert own.after([]).solves == LEARNED + 1


def test_the_other_way_round_is_recognised_by_the_usual_prices_alone() -> None:
    around = str.maketrans("RLFB", "LRBF")
    right, wrong = [], []
    for one in person("ordinary")[1][:LEARNED]:
        for execution in stated(one):
            if "F" not in "".join(map(str, execution.moves)):
                continue  # the hands are nearly mirror images of one another
            half_sure = replace(execution, sure=0.5)
            moves = tuple(parse_moves(" ".join(map(str, execution.moves)).translate(around)))
            right.append(half_sure)
            wrong.append(replace(half_sure, moves=moves))
    gaps = gaps_of(KIN.usual, [right])
    tempo = float(np.log(np.median(gaps.ms / KIN.usual_ms[gaps.cell])))
    told = [believed(KIN, gaps_of(KIN.usual, [some]), tempo).mean() for some in (right, wrong)]
    assert told[0] > 0.6
    assert told[1] < 0.4


@given(st.lists(st.sampled_from((*MOVES, *ROTATIONS)), max_size=12))
def test_the_cells_add_up_to_the_price_of_a_sequence(moves: list[Move]) -> None:
    automaton = KIN.usual
    total = automaton.sequence_ms(moves)
    cells = cells_of(automaton, tuple(moves))
    turns = [number for number, move in enumerate(moves) if not move.is_rotation]
    if total >= NEVER or not turns:
        return
    first = automaton.sequence_ms(moves[: turns[0] + 1])
    tail = automaton.sequence_ms(moves[turns[-1] + 1 :])
    assert KIN.usual_ms[first_cell(automaton, tuple(moves))] == first
    known = sum(KIN.usual_ms[cell] for cell in cells if cell >= 0)
    assert first + known + tail == total


def test_a_gap_behind_a_slice_has_a_cell_only_if_the_cube_was_rotated_before_the_turn() -> None:
    """A slice has no price of its own."""

    def cells(moves: str) -> tuple[int, ...]:
        return cells_of(KIN.usual, tuple(parse_moves(moves)))

    rotated = cells("R y U")[-1]
    assert rotated >= 0
    assert cells("R y U") == (-1, -1, rotated)
    assert cells("M y U") == (-1, -1, rotated)
    assert cells("y U") == cells("M U") == (-1, -1)
    first = first_cell(KIN.usual, tuple(parse_moves("y U R")))
    assert (first, first_cell(KIN.usual, tuple(parse_moves("y M U")))) == (rotated, -1)


def test_a_reading_becomes_the_moves_that_were_turned() -> None:
    one = person("ordinary")[1][1]
    part, path = part_of(one), true_path(one.walk.of)
    held = np.zeros((len(part.turns), 24))
    for step in path:
        held[step.first : step.first + step.reports, step.holding] = 0.9
    read = executions_read(part, Reading(path, held, held, held, held))
    assert [execution.sure for execution in read] == [0.9] * len(read)
    several = [execution for execution in read if len(execution.moves) > 1]
    for own, true in zip(several, stated(one), strict=True):
        assert own.part == true.part
        turns = [(m, at) for m, at in zip(own.moves, own.at_ms, strict=True) if not m.is_rotation]
        expected = [
            (m, a) for m, a in zip(true.moves, true.at_ms, strict=True) if not m.is_rotation
        ]
        assert turns == expected


def test_what_was_learned_can_be_kept_and_learned_on() -> None:
    own = learned("ordinary")
    state = json.loads(json.dumps(hands_state(own)))
    back = hands_from(state, KIN)
    assert np.allclose(back.price_ms, own.price_ms, rtol=1e-4)
    assert (back.verdict, back.noise, back.solves) == (own.verdict, own.noise, own.solves)
    solve = stated(person("ordinary")[1][LEARNED])
    assert np.allclose(back.after(solve).price_ms, own.after(solve).price_ms, rtol=1e-4)
    with pytest.raises(ValueError, match="other usual prices"):
        hands_from(state, kinship_of(load_hands("left")))
    for older in ("tempos", "looks"):
        with pytest.raises(ValueError, match="older livecube"):
            hands_from({name: its for name, its in state.items() if name != older}, KIN)


@pytest.mark.thorough
def test_a_last_layer_that_is_known_by_heart_makes_no_quicker_pairs() -> None:
    """Nor slower ones: only its tempo is another."""
    solves = [stated(one) for one in person("ordinary")[1][:LEARNED]]
    drilled = [[_quicker(execution) for execution in solve] for solve in solves]
    own, other = learned("ordinary"), learn_hands(KIN, drilled)
    quicker = other.tempos[Part.LAST_LAYER] - own.tempos[Part.LAST_LAYER]
    assert quicker == pytest.approx(np.log(0.7), abs=0.04)
    used = own.sums.weight > 5
    off = np.log(other.price_ms[used] / own.price_ms[used])
    assert abs(np.average(off, weights=own.sums.weight[used])) < 0.02
    assert other.verdict.own_ms == pytest.approx(own.verdict.own_ms, rel=0.05)


def _quicker(execution: Execution) -> Execution:
    factor = 0.7 if execution.part == Part.LAST_LAYER else 1.0
    return replace(execution, at_ms=tuple(factor * at for at in execution.at_ms))


def test_the_table_has_what_predicts_better_and_else_the_usual_prices() -> None:
    usual, own = KIN.usual, learned("ordinary")
    table = own_automaton(own, None, usual)
    assert table.fingerprint != usual.fingerprint
    assert table.looking is usual.looking
    moves = tuple(parse_moves("R U R' U2 F' U' F"))
    prices = own.price_ms[[first_cell(usual, moves), *cells_of(usual, moves)[1:]]]
    assert abs(table.sequence_ms(moves) - prices.sum()) <= len(moves) / 2
    assert (table.seconds_ms >= 1).all()
    assert ((table.seconds_ms == NEVER) == (usual.seconds_ms == NEVER)).all()
    tempo = own.price_ms[own.fit.means.cell].sum() / KIN.usual_ms[own.fit.means.cell].sum()
    assert table.single_rotation_ms["y"] == pytest.approx(320 * tempo, rel=0.25)


@pytest.mark.parametrize("factor", [1e-4, 0.02, 1.0])
def test_a_price_is_a_whole_number_of_milliseconds_and_never_nothing(factor: float) -> None:
    usual = KIN.usual
    own: Any = SimpleNamespace(
        verdict=SimpleNamespace(keeps=True), kin=KIN, price_ms=factor * KIN.usual_ms,
        fit=SimpleNamespace(values=np.full(len(KIN.usual_ms), np.log(factor))),
    )  # fmt: skip
    table = own_automaton(own, None, usual)
    written = usual.seconds_ms < NEVER
    expected = [max(1, round(factor * ms)) for ms in usual.seconds_ms[written].tolist()]
    assert table.seconds_ms[written].tolist() == expected
    for name, ms in usual.single_rotation_ms.items():
        assert table.single_rotation_ms[name] == max(1, round(factor * ms))


def test_a_persons_eyes_are_learned_and_the_usual_ones_kept() -> None:
    usual, own_walks = KIN.usual.looking, walks(RIGHT_HANDED, KIN.usual, LEARNED + TESTS)
    for near in (False, True):
        rng = np.random.default_rng(5)
        solves = looks(draw_eyes(rng, usual, near=near), usual, own_walks, rng)
        eyes = learn_eyes(usual, [[one.look for one in solve] for solve in solves[:LEARNED]])
        assert eyes.verdict.keeps is not near
        tests = [one for solve in solves[LEARNED:] for one in solve]
        took = np.array([one.took_ms for one in tests])
        by_own, by_usual = (
            float(np.abs(some.expected_ms([one.look for one in tests]) - took).mean())
            for some in (eyes, learn_eyes(usual, []))
        )
        by_true = float(np.abs([one.true_ms - one.took_ms for one in tests]).mean())
        if near:
            assert by_own < 1.1 * by_usual
            continue
        assert by_own - by_true < 0.4 * (by_usual - by_true)
        table = own_automaton(None, eyes, KIN.usual)
        assert table.fingerprint == KIN.usual.fingerprint
        assert table.looking.base_ms != usual.base_ms
        back = eyes_from(json.loads(json.dumps(eyes_state(eyes))), usual)
        assert np.allclose(back.effects, eyes.effects)
        assert back.verdict == eyes.verdict
        more = eyes.after([one.look for one in solves[LEARNED]])
        assert more.verdict.predicted > eyes.verdict.predicted
        assert more.spread("edge") < eyes.spread("edge")
        assert eyes.spread("edge") < learn_eyes(usual, []).spread("edge")


@pytest.mark.thorough
def test_a_table_becomes_a_file_of_prices_and_is_read_back() -> None:
    for table in (KIN.usual, own_automaton(learned("ordinary"), None, KIN.usual)):
        text = price_file(table, "Hands of a test.\nLearned from 40 solves.")
        prices = parse_features(tomllib.loads(text), "test")
        back = make_automaton(prices, "test")
        # A file has no move that is more than 0.1 s cheaper than at the beginning.
        alone = [
            prices.turn[move.symbol[0]][move.quarters - 1]
            + prices.wide[move.symbol[0]] * (len(move.symbol) > 1)
            for move in MOVES
        ]
        told = (table.seconds_ms >= np.array(alone) - 100) & (table.seconds_ms < NEVER)
        assert told.sum() > 0.97 * (table.seconds_ms < NEVER).sum()
        off = np.abs(back.seconds_ms - table.seconds_ms)[told]
        assert off.max() <= CLOSE_MS
        assert off.mean() < 0.5
        assert back.single_rotation_ms == table.single_rotation_ms
        assert back.looking.table == table.looking.table
