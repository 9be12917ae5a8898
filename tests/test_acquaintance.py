"""The confidence of an inferred holding is right, also for solvers who are new."""

from __future__ import annotations

from copy import deepcopy
from dataclasses import replace
from functools import cache
from itertools import pairwise
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from everyday_solver import draw_person, everyday_solves
from examples import thorough
from holding_truth import true_holdings, true_part, virtual_solves
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from livecube.cube.geometry import OPPOSITE
from livecube.cube.holding import HOLDINGS, Holding, Move, fixed_turns
from livecube.cube.notation import moves_text, parse_moves
from livecube.edges.holding_file import holding_model
from livecube.holding.acquaintance import (
    FEWEST_TURNS,
    USUAL,
    Acquaintance,
    Forms,
    forms_of,
    log_odds,
    surprise,
)
from livecube.holding.counts import GROUPS
from livecube.holding.inference import read_solve
from livecube.holding.observations import SolvePart
from livecube.holding.written import HAND_MOVES, SEEN_AS_FACE
from livecube.virtual.habits import LEFT_HANDED, OTHERWISE, RIGHT_HANDED, UNPLANNED, Habits

if TYPE_CHECKING:
    import numpy.typing as npt

TRAINED = holding_model()


def met(habits: Habits, solves: int = 25) -> Acquaintance:
    """The acquaintance with these habits after so many solves, a multiple of five."""
    return deepcopy(known_by(habits, solves), {id(TRAINED): TRAINED})


@cache
def known_by(habits: Habits, solves: int = 25) -> Acquaintance:
    """The same, not to be changed."""
    if not solves:
        return Acquaintance(TRAINED)
    solver = met(habits, solves - 5)
    for done in virtual_solves(range(solves - 5, solves), habits):
        solver.read(true_part(done))
    return solver


@pytest.mark.thorough
def test_strangers_are_told_from_those_who_do_what_was_counted() -> None:
    assert Acquaintance(TRAINED).stranger == 0.5
    assert met(RIGHT_HANDED, 10).stranger < 0.05
    assert met(LEFT_HANDED, 10).stranger < 0.2
    assert met(OTHERWISE, 10).stranger > 0.95


@pytest.mark.thorough
def test_what_it_says_of_a_stranger_is_right_as_often_as_it_says() -> None:
    solver = Acquaintance(TRAINED)
    right, sure, plain = list[bool](), list[float](), list[float]()
    for number, done in enumerate(virtual_solves(range(50), OTHERWISE)):
        part = true_part(done)
        held = solver.read(part).held
        right += (held.argmax(axis=1) == np.array(true_holdings(done))).tolist()
        sure += held.max(axis=1).tolist()
        if number < 25:
            plain += read_solve(part, TRAINED, solver.kinds).held.max(axis=1).tolist()
    hits, confident = np.array(right), np.array(sure)
    for low, high in pairwise((0.3, 0.5, 0.7, 1.0)):
        within = (confident >= low) & (confident < high)
        assert within.sum() > 300
        assert abs(confident[within].mean() - hits[within].mean()) < 0.07
    plainly = np.array(plain)  # the model alone is not right within this bound
    within = (plainly >= 0.6) & (plainly < 0.9)
    assert plainly[within].mean() - hits[: len(plainly)][within].mean() > 0.06


def test_four_turns_of_the_last_layer_tell_how_surprising_they_are() -> None:
    pair, last = GROUPS.index(1), GROUPS.index(2)
    unexpected: Any = SimpleNamespace(unexpected=np.array([9.0, *[USUAL + 1] * FEWEST_TURNS]))
    assert surprise(unexpected, [pair, *[last] * FEWEST_TURNS]) == pytest.approx(FEWEST_TURNS**0.5)
    assert surprise(unexpected, [pair, pair, *[last] * (FEWEST_TURNS - 1)]) is None


@pytest.mark.thorough
def test_which_hand_is_the_stronger_is_known_from_the_solves_before() -> None:
    solver, known, alone = met(OTHERWISE, 20), list[bool](), list[bool]()
    for done in virtual_solves(range(20, 35), OTHERWISE):
        part, truth = true_part(done), np.array(true_holdings(done))
        late = np.array(part.stages) >= 5
        known += (solver.read(part).held.argmax(axis=1) == truth)[late].tolist()
        alone += (read_solve(part, TRAINED).held.argmax(axis=1) == truth)[late].tolist()
    assert 1 - np.mean(known) < 0.75 * (1 - np.mean(alone))


@pytest.mark.parametrize(
    ("habits", "solves", "grip"),
    [
        thorough(RIGHT_HANDED, 10, "planned"),
        thorough(LEFT_HANDED, 10, "planned"),
        thorough(UNPLANNED, 10, "unplanned"),
        thorough(OTHERWISE, 20, "unplanned"),
    ],
)
def test_who_plans_no_grip_is_recognised_though_a_stranger(
    habits: Habits, solves: int, grip: str
) -> None:
    assert met(habits, solves).grip == grip


@pytest.mark.thorough
def test_people_whom_nobody_counted_are_read_by_what_hands_do() -> None:
    """Everyday solvers: their habits and sequences are in no table that livecube reads with."""
    right = {1: list[bool](), 5: list[bool]()}
    grips = []
    for number in (501, 502, 503):
        solver = Acquaintance(TRAINED)
        for done in everyday_solves(draw_person(number), 6):
            held = solver.read(done.part).held
            hits = held.argmax(axis=1) == np.array(done.holdings)
            for stage, hit in zip(done.part.stages, hits.tolist(), strict=True):
                right[5 if stage >= 5 else 1].append(hit)
        grips.append(solver.grip)
    assert set(grips) & {"front", "back"}
    assert np.mean(right[1]) > 0.64  # without the usual ways 60 %
    assert np.mean(right[5]) > 0.9  # 79 %


def test_somebody_else_at_the_cube_is_soon_recognised() -> None:
    solver = met(RIGHT_HANDED, 10)
    assert solver.kinds.argmax() == 0
    for done in virtual_solves(range(5), LEFT_HANDED):
        solver.read(true_part(done))
    assert solver.kinds.argmax() == 1


@pytest.mark.thorough
@given(arrays(np.float64, (5, 24), elements=st.floats(0.0, 1.0)), st.booleans())
def test_nothing_becomes_likelier_than_it_was_read_to_be(
    weights: npt.NDArray[np.float64], is_strange: bool
) -> None:
    held = (weights + 1e-6) / (weights + 1e-6).sum(axis=1, keepdims=True)
    believed = known_by(OTHERWISE if is_strange else RIGHT_HANDED).believed(held, [0, 1, 2, 3, 4])
    assert np.allclose(believed.sum(axis=1), 1.0)
    assert (believed.max(axis=1) <= held.max(axis=1) + 1e-12).all()
    likeliest = believed[np.arange(len(held)), held.argmax(axis=1)]
    assert np.allclose(likeliest, believed.max(axis=1))


STRANGERS = {
    False: {
        "planned": ((8.0, 4.21), (5.0, 2.66), (10.0, 3.37)),
        "unplanned": ((10.0, 5.36), (5.0, 2.11), (10.0, 3.43)),
        "front": ((10.0, 10.6), (10.0, 5.28), (10.0, 4.32)),
    },
    True: {
        "planned": ((2.5, 2.59), (3.5, 2.685), (8.0, 3.28)),
        "unplanned": ((2.5, 1.7), (2.5, 0.985), (8.0, 3.48)),
        "front": ((2.5, 4.3), (2.5, 1.88), (6.0, 3.35)),
    },
}
"""Live or not, by grip, for cross, pairs and last layer: log odds that are not told from higher
ones, and the log odds that they are worth with strangers."""


@pytest.mark.parametrize("live", [False, True])
@pytest.mark.parametrize("grip", ["planned", "unplanned", "front"])
def test_how_sure_a_reading_of_a_stranger_can_be(grip: str, live: bool) -> None:
    solver = Acquaintance(TRAINED)
    solver._solves, solver._surprise = 50, 50 * 9.0
    assert solver.stranger > 0.9999
    solver.kinds = np.where([one == grip for one in TRAINED.grips], 0.0, -700.0)
    held = np.zeros((6, 24))
    names = [GROUPS.index(group) for group in (0, 1, 2)] * 2
    for row, (at, _) in enumerate(STRANGERS[live][grip] * 2):
        odds = at - 0.3 if row < 3 else at + 3.0
        held[row, 0] = 1 / (1 + np.exp(-odds))
        held[row, 1:] = (1 - held[row, 0]) / 23
    told = log_odds(solver.believed(held, names, live=live).max(axis=1))
    for row, (at, worth) in enumerate(STRANGERS[live][grip] * 2):
        if row < 3:
            assert told[row] < worth - 0.05
        else:
            assert told[row] == pytest.approx(min(worth, at + 3.0), abs=0.02)


# The forms of sequences.


WHITE_DOWN = Holding.of(5, 2)
FRONT, BEHIND = "F U R U' R' F'", "Fw R U R' U' Fw'"
"""The same turns of the cube, from holdings half a turn apart."""


def oriented(text: str, held: Holding, *, is_stated: bool) -> SolvePart:
    """A solve of two stages: a turn of U, which tells nothing, and this sequence from a holding."""
    before, held = fixed_turns(parse_moves("U"), held)
    after, _ = fixed_turns(parse_moves(text), held)
    turns = [*before, *after]
    return SolvePart(
        turns, [0.2 * i for i in range(len(turns))], [4] * len(before) + [5] * len(after),
        cross=0, stated={len(before): HOLDINGS.index(held)} if is_stated else {},
    )  # fmt: skip


def test_what_was_stated_of_a_sequence_tells_how_it_is_made_afterwards() -> None:
    """Each of two people makes the same turns in another form; neither says so any more."""
    for text in (FRONT, BEHIND):
        solver = Acquaintance(TRAINED)
        for _ in range(4):
            solver.read(oriented(text, WHITE_DOWN, is_stated=True))
        for side in (WHITE_DOWN, *(WHITE_DOWN.after(Move("y", q)) for q in (1, 2, 3))):
            reading = solver.read(oriented(text, side, is_stated=False))
            assert HOLDINGS[int(reading.held[1].argmax())] == side
            made = moves_text(HAND_MOVES[step.move] for step in reading.path[1:])
            assert made == text


@pytest.mark.thorough
def test_people_are_read_better_the_longer_they_are_known() -> None:
    hits = {known: list[bool]() for known in (False, True)}
    for number in (653, 660, 667, 674):
        solver = Acquaintance(TRAINED)
        for seed, done in enumerate(everyday_solves(draw_person(number), 40)):
            kinds = solver.kinds
            held = solver.read(done.part).held
            if seed >= 20 and 5 in done.part.stages:
                at = done.part.stages.index(5)
                alone = read_solve(done.part, TRAINED, kinds).held
                for known, its in ((True, held), (False, alone)):
                    hits[known].append(its[at].argmax() == done.holdings[at])
    assert 1 - np.mean(hits[True]) < 0.7 * (1 - np.mean(hits[False]))


TURNS = st.lists(st.integers(0, 17), min_size=1, max_size=8)


@given(TURNS, st.integers(0, 3), st.sampled_from(range(6)))
def test_a_form_is_what_the_hands_do_from_whichever_side(
    turns: list[int], aside: int, cross: int
) -> None:
    """Hands that do the same are in the same form, with the upper layer turned first, or not."""
    upper = 3 * OPPOSITE[cross]
    forms = forms_of(SolvePart(turns, [0.0] * len(turns), [5] * len(turns), cross), 0, len(turns))
    assert len(forms) == 4
    for number, form in forms.items():
        assert fixed_turns([HAND_MOVES[move] for move in form], HOLDINGS[number])[0]
        for other in (HOLDINGS[number].after(Move("y", q)) for q in (1, 2, 3)):
            moves = [HAND_MOVES[SEEN_AS_FACE[number, turn]] for turn in turns]
            its = [upper + aside - 1] * (aside > 0) + list(fixed_turns(moves, other)[0])
            part = SolvePart(its, [0.0] * len(its), [5] * len(its), cross)
            assert forms_of(part, 0, len(its))[HOLDINGS.index(other)] == form


TIMES = st.lists(st.lists(st.floats(0.0, 1.0), min_size=4, max_size=4), max_size=6)


@given(TIMES, st.randoms())
def test_what_is_told_of_a_form_is_weighed_in_any_order(times: list[list[float]], rnd: Any) -> None:
    """Four rules against none; each time tells nothing with a probability of a fifth."""
    forms = forms_of(oriented(FRONT, WHITE_DOWN, is_stated=False), 1, 7)
    weights = []
    for order in (times, rnd.sample(times, len(times))):
        known = Forms()
        for its in order:
            around = np.zeros(24)
            around[list(forms)] = its
            known.learn(forms, around)
        weights.append(known.weights(forms))
    by_hand = np.ones(4)
    for its in times:
        if any(its):
            by_hand *= 4 * (0.8 * np.array(its) / sum(its) + 0.05)
    by_hand += 0.1
    assert np.allclose(weights[0], weights[1])
    assert np.allclose(weights[0][list(forms)], by_hand / by_hand.max())
    assert set(np.delete(weights[0], list(forms))) == {1.0}


def test_who_makes_now_one_form_and_now_another_tells_nothing_by_it() -> None:
    forms = forms_of(oriented(FRONT, WHITE_DOWN, is_stated=False), 1, 7)
    known, (one, other, *_) = Forms(), list(forms)
    for held in [one, other] * 20:
        known.learn(forms, np.eye(24)[held])
    assert known.weights(forms).min() > 0.9


def test_another_person_unlearns_a_form_in_two_dozen_times() -> None:
    forms = forms_of(oriented(FRONT, WHITE_DOWN, is_stated=False), 1, 7)
    known, (one, other, *_) = Forms(), list(forms)
    for _ in range(100):
        known.learn(forms, np.eye(24)[one])
    assert known.weights(forms)[other] < 1e-8
    for _ in range(24):
        known.learn(forms, np.eye(24)[other])
    assert known.weights(forms)[other] == 1 > 0.1 > known.weights(forms)[one]


def test_no_form_is_told_without_the_colour_of_the_cross_or_without_turns() -> None:
    part = oriented(FRONT, WHITE_DOWN, is_stated=False)
    assert forms_of(part, 1, 1) == {}
    assert forms_of(replace(part, cross=-1), 1, 7) == {}
    solver, again = Acquaintance(TRAINED), Acquaintance(TRAINED)
    solver.read(replace(part, stages=[4] * 7))
    again.read(replace(part, cross=-1))
    assert solver._forms.weights(forms_of(part, 1, 7)).min() == 1.0
    assert again._forms.weights(forms_of(part, 1, 7)).min() == 1.0


def test_log_odds_of_certainty_are_finite() -> None:
    told = log_odds(np.array([0.0, 1e-9, 0.5, 0.8, 1.0]))
    assert told == pytest.approx([-20.723, -20.723, 0.0, np.log(4), 20.723], abs=1e-3)


def test_who_states_the_holding_is_believed_though_a_stranger() -> None:
    done = next(virtual_solves(range(60, 70), OTHERWISE))
    part, truth = true_part(done), true_holdings(done)
    told = replace(part, stated=dict(enumerate(truth)))
    stranger = met(OTHERWISE)
    assert np.allclose(stranger.read(told).held.max(axis=1), 1.0)
    assert stranger.read(part).held.max() < 0.98
