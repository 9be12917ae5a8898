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

from livecube.edges.holding_file import holding_model
from livecube.holding.counts import GROUPS
from livecube.holding.inference import (
    FEWEST_TURNS,
    USUAL,
    Acquaintance,
    log_odds,
    read_solve,
    surprise,
)
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
        (OTHERWISE, 20, "unplanned"),
    ],
)
def test_who_plans_no_grip_is_recognised_though_a_stranger(
    habits: Habits, solves: int, grip: str
) -> None:
    assert met(habits, solves).grip == grip


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
