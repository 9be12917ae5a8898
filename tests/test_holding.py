"""The holding inferred from the turns: against every path, known sequences, and the truth."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from examples import examples, part_of
from holding_by_hand import judged
from holding_truth import true_holdings, true_part, true_path, virtual_solves
from hypothesis import given
from hypothesis import strategies as st

from livecube.cube.geometry import OPPOSITE
from livecube.cube.holding import HOLDINGS, Holding, fixed_turns
from livecube.cube.notation import moves_text, parse_moves, parse_turns
from livecube.cube.position import SOLVED_BYTES
from livecube.edges.habits_file import account_habits
from livecube.edges.holding_file import holding_model, shipped_counts
from livecube.errors import UsageError
from livecube.events import HeldAs
from livecube.holding.counts import Counts, counts_text, parse_counts
from livecube.holding.follower import HoldingFollower, LiveHolding, with_holdings
from livecube.holding.inference import HoldingModel, adapted, drawn_paths, evidence, read_solve
from livecube.holding.kernel import room_for
from livecube.holding.likelihoods import likelihoods
from livecube.holding.observations import Observer, SolvePart, _milliseconds, observe
from livecube.holding.written import (
    HAND_MOVES,
    HELD_AFTER,
    MIRRORED,
    MIRRORED_ROTATIONS,
    ROTATED,
    SEEN_AS_FACE,
    SEEN_AS_SLICE,
    SEEN_AS_WIDE,
)
from livecube.stages.progress import CrossColour, Reopened, SolveBegun, Turned
from livecube.stages.tracker import Tracker
from livecube.virtual.habits import LEFT_HANDED, RIGHT_HANDED
from livecube.virtual.session import session

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from livecube.holding.kernel import Quaternion
    from livecube.virtual.records import VirtualSolve

WHITE_DOWN = Holding.of(5, 2)  # yellow up, green front
PAIR, ORIENT, PERMUTE = 1, 5, 6
TRAINED = holding_model()


def solves(count: int = 25) -> list[VirtualSolve]:
    return list(virtual_solves(range(count), RIGHT_HANDED))


def reported(text: str, gap_s: float, stage: int, *, swapped: bool = False) -> SolvePart:
    """The moves as reported by a cube without slices, at first held white down, green front.

    Another stage begins with each rotation.
    """
    turns: list[int] = []
    times: list[float] = []
    stages: list[int] = []
    holding, t = WHITE_DOWN, 0.0
    for move in parse_moves(text):
        its, holding = fixed_turns([move], holding)
        stage += move.is_rotation
        stages += [stage] * len(its)
        t += 0.55 if move.is_rotation else 0.2
        turns += its[::-1] if swapped else its
        times += [t + i * gap_s for i in range(len(its))]
    stated = {0: HOLDINGS.index(WHITE_DOWN)}
    return SolvePart(turns, times, stages, 0, stated)


def written(part: SolvePart) -> str:
    """The moves of the likeliest path, rotations left out."""
    return moves_text(HAND_MOVES[step.move] for step in read_solve(part, TRAINED).path)


# Common practice, no published source.
@pytest.mark.parametrize(
    ("text", "stage"),
    [
        ("R U R' U'", PAIR),
        ("R' F R F'", PAIR),
        ("r U R' U' r' F R F'", ORIENT),
        ("M2 U M U2 M' U M2", PERMUTE),
        ("R U R' U R U2 R'", ORIENT),
    ],
)
@pytest.mark.parametrize("swapped", [False, True])
@pytest.mark.parametrize("gap_ms", [0, 10, 25])
def test_known_sequences_are_read_as_they_are_made(
    text: str, stage: int, swapped: bool, gap_ms: int
) -> None:
    part = reported(text, gap_ms / 1000, stage, swapped=swapped)
    assert written(part) == moves_text(parse_moves(text))


@pytest.mark.parametrize(
    "text", ["U R U' R' y U R U' R'", "R U R' U y R U' R'", "U' R' U R y' L U L' U L U' L'"]
)
def test_a_pair_after_a_rotation(text: str) -> None:
    """The rotation is inferred, since hardly anybody inserts at the back."""
    part = reported(text, 0.0, PAIR)
    assert "B" not in written(part)
    rotated = {str(WHITE_DOWN.after(move)) for move in parse_moves("y y'")}
    assert str(HOLDINGS[read_solve(part, TRAINED).path[-1].holding]) in rotated


def test_gaps_are_compared_in_whole_microseconds() -> None:
    assert _milliseconds(0.0123456789) == 12.346


def test_slices_are_told_from_two_turns_by_time() -> None:
    slow = reported("U R L' U", 0.0, PERMUTE)
    assert "M" not in written(replace(slow, times=[0.0, 0.3, 0.6, 0.9]))
    assert "M" in written(replace(slow, times=[0.0, 0.3, 0.31, 0.6]))


def test_how_long_its_turns_took_tells_what_was_in_front() -> None:
    """Turns in front take a finger out of its place."""
    part = replace(reported("R U R' U' R U R'", 0.0, PAIR), stated={})
    side = part.turns[0] // 3

    def odds_of_a_side(side_s: float, upper_s: float) -> float:
        times = np.cumsum([side_s if turn // 3 == side else upper_s for turn in part.turns])
        held = read_solve(replace(part, times=times.tolist()), TRAINED).held
        at = float(sum(held[2, i] for i, h in enumerate(HOLDINGS) if h.hand_face(side) in (1, 3)))
        return at / (1 - at)

    assert odds_of_a_side(0.16, 0.16) > 4
    # Hardly anybody makes these turns in front, so they stay likelier at a side.
    assert odds_of_a_side(0.26, 0.16) < odds_of_a_side(0.16, 0.16) / 3


def attitude(holding: int, sway: float = 0.0, drift: float = 0.0) -> Quaternion:
    """The attitude of a cube in a holding, tilted forwards and turned about the vertical (rad)."""
    held = HOLDINGS[holding]
    # The cube's axes x, y, z point out of red (3), white (0) and green (2).
    axes = {"R": (1, 0, 0), "L": (-1, 0, 0), "U": (0, 1, 0), "D": (0, -1, 0), "F": (0, 0, 1)}
    axes["B"] = (0, 0, -1)
    columns = [axes["ULFRBD"[held.hand_face(face)]] for face in (3, 0, 2)]
    c, s = np.cos(drift), np.sin(drift)
    on_the_spot = np.array([[c, 0, s], [0, 1, 0], [-s, 0, c]])
    c, s = np.cos(sway), np.sin(sway)
    forwards = np.array([[1, 0, 0], [0, c, -s], [0, s, c]])
    return quaternion_of(on_the_spot @ forwards @ np.array(columns).T)


def quaternion_of(matrix: Any) -> Quaternion:
    """The eigenvector form (Bar-Itzhack 2000), which has no special cases."""
    m = matrix
    k = np.array(
        [
            [m[0, 0] + m[1, 1] + m[2, 2], m[2, 1] - m[1, 2], m[0, 2] - m[2, 0], m[1, 0] - m[0, 1]],
            [0, m[0, 0] - m[1, 1] - m[2, 2], m[0, 1] + m[1, 0], m[0, 2] + m[2, 0]],
            [0, 0, m[1, 1] - m[0, 0] - m[2, 2], m[1, 2] + m[2, 1]],
            [0, 0, 0, m[2, 2] - m[0, 0] - m[1, 1]],
        ]
    )
    _, vectors = np.linalg.eigh(k + np.triu(k, 1).T)
    w, x, y, z = map(float, vectors[:, -1])
    return w, x, y, z


def with_gyroscope(done: VirtualSolve, rng: np.random.Generator) -> SolvePart:
    """A solve with a sensor that sways with the hands and drifts by 3° a second."""
    part = true_part(done)
    after = {
        i: int(HELD_AFTER[step.holding, step.move])
        for step in true_path(done)
        for i in range(step.first, step.first + step.reports)
    }
    told = [
        attitude(after[i], float(rng.normal(0, 0.2)), 0.05 * t) for i, t in enumerate(part.times)
    ]
    return replace(part, attitudes=told)


def test_a_gyroscope_tells_the_holding_and_a_mad_one_does_little_harm() -> None:
    rng = np.random.default_rng(5)
    right, astray, late = [], [], []
    for done in solves(5):
        part, truth = with_gyroscope(done, rng), np.array(true_holdings(done))
        right += (read_solve(part, TRAINED).held.argmax(axis=1) == truth).tolist()
        noise = [quaternion_of(np.linalg.qr(rng.normal(size=(3, 3)))[0]) for _ in part.turns]
        mad = replace(part, attitudes=noise)
        astray += (read_solve(mad, TRAINED).held.argmax(axis=1) == truth).tolist()
        late += [stage >= ORIENT for stage in part.stages]
    assert np.mean(right) > 0.95
    assert np.array(astray)[np.array(late)].mean() > 0.75


short_turns = st.lists(st.integers(0, 17), min_size=2, max_size=3)


@examples(4)
@given(short_turns, st.integers(0, 5), st.data())
def test_the_kernels_agree_with_trying_every_path(
    turns: list[int], cross: int, data: st.DataObject
) -> None:
    gaps = data.draw(st.lists(st.sampled_from([0.004, 0.02, 0.2, 0.9]), min_size=3, max_size=3))
    begun = data.draw(st.integers(1, len(turns)))
    stages = [4 if i < begun else 5 for i in range(len(turns))]
    times = np.cumsum(gaps)[: len(turns)].tolist()
    # Three turns from any holding have a hundred thousand paths.
    is_stated = len(turns) == 3 or data.draw(st.booleans())
    stated = {0: data.draw(st.integers(0, 23))} if is_stated else {}
    spaces = st.sampled_from([None, *map(attitude, (0, 1, 7, 23))])
    attitudes = [data.draw(spaces) for _ in turns]
    part = SolvePart(turns, times, stages, cross, stated, attitudes)
    likely = TRAINED.kinds[0]
    held, weights = judged(observe(part), cross, likely)
    reading = read_solve(part, HoldingModel((likely,), ("planned",)))
    # States below 1e-9 of all are dropped; one may have been what an unlikely turn came from.
    dropped = 1e-5 + 1e-9 * float(np.exp(reading.unexpected.max()))
    assert np.allclose(reading.held, held, atol=dropped)
    assert np.allclose(reading.kinds.sum(axis=1), 1.0, atol=dropped)
    found = tuple((s.first, s.reports, s.holding, s.move) for s in reading.path)
    assert np.isclose(weights[found], max(weights.values()))


@pytest.mark.thorough
def test_drawn_paths_are_as_likely_as_they_should_be() -> None:
    part = true_part(solves(1)[0])
    likely = TRAINED.kinds[0]
    held = np.zeros((len(part.turns), 24))
    paths = drawn_paths(part, likely, np.random.default_rng(1), 600)
    for path in paths:
        for step in path:
            held[step.first : step.first + step.reports, step.holding] += 1 / len(paths)
    # Four standard deviations of a share of 600 draws.
    assert np.abs(held - read_solve(part, HoldingModel((likely,), ("planned",))).held).max() < 0.082


def test_the_truth_is_a_path_through_the_same_turns() -> None:
    for done in solves():
        path = true_path(done)
        reports = [i for step in path for i in range(step.first, step.first + step.reports)]
        assert reports == list(range(len(done.solving)))


@pytest.mark.thorough
def test_most_of_the_last_layer_is_read_right_and_confidence_means_what_it_says() -> None:
    right: list[bool] = []
    sure: list[float] = []
    last_layer: list[bool] = []
    for done in virtual_solves(range(20), RIGHT_HANDED):
        part, truth = true_part(done), np.array(true_holdings(done))
        held = read_solve(part, TRAINED).held
        right += (held.argmax(axis=1) == truth).tolist()
        sure += held.max(axis=1).tolist()
        last_layer += [stage >= ORIENT for stage in part.stages]
    hits, confident, late = np.array(right), np.array(sure), np.array(last_layer)
    assert hits[late].mean() > 0.95
    assert hits[~late].mean() > 0.5  # chance gives a quarter
    assert abs(hits.mean() - confident.mean()) < 0.04


@pytest.mark.thorough
def test_a_left_handed_solver_is_recognised() -> None:
    right = []
    for done in virtual_solves(range(12), LEFT_HANDED):
        part = true_part(done)
        held = read_solve(part, TRAINED).held
        late = np.array(part.stages) >= ORIENT
        right += (held.argmax(axis=1) == np.array(true_holdings(done)))[late].tolist()
    assert np.mean(right) > 0.9


def test_before_any_turn_each_holding_is_as_likely_as_another() -> None:
    assert np.allclose(LiveHolding(TRAINED).held, np.full(24, 1 / 24))


def test_with_another_cross_the_stages_begin_anew() -> None:
    follower = HoldingFollower(TRAINED)
    follower._stages = 3
    follower.take([Reopened(0.0, ("blue-red",), 9)])
    assert follower._stages == 2
    follower.take([CrossColour(0.0, "white", "yellow", 9)])
    assert follower._stages == 0


def test_live_says_the_same_as_hindsight_about_the_last_turn() -> None:
    model = HoldingModel.of(shipped_counts()[:2])  # as many kinds as are followed live
    live = LiveHolding(model)
    for i in range(400):
        live.turn(i % 18, 0.25 * i, 1, 0)  # so that the pace is known, too
    for done in solves(5):
        part = replace(true_part(done), cross=-1)
        part = replace(part, times=[0.25 * i for i in range(len(part.turns))])
        live.begin()
        for turn, t, stage in zip(part.turns, part.times, part.stages, strict=True):
            live.turn(turn, t, stage, -1)
        assert np.allclose(live.recent()[-1], read_solve(part, model).held[-1], atol=1e-4)


def test_who_states_the_holding_is_believed() -> None:
    live = LiveHolding(TRAINED)
    for number in (3, 17):
        live.state(HOLDINGS[number])
        assert live.held[number] == 1.0
        live.turn(0, 0.1 * number, 1, -1)
        assert live.recent()[-1].argmax() == number
        live.begin()
        assert live.held[number] == 1.0
        live.turn(0, 0.1 * number, 1, -1)
        live.turn(3, 0.1 * number + 0.2, 1, -1)
        assert live.recent()[0].argmax() == number
        assert live.held[number] < 1.0
    live.state(None)
    live.begin()
    assert live.held.max() < 0.1


def test_live_goes_on_when_a_solve_does_not_end() -> None:
    live = LiveHolding(TRAINED)
    rng = np.random.default_rng(0)
    for i in range(1200):
        live.turn(int(rng.integers(18)), 0.2 * i, 1, 5)
    assert np.isclose(live.held.sum(), 1.0)


@pytest.mark.thorough
def test_an_attempt_that_never_ends_is_not_followed_and_not_read_for_ever() -> None:
    """A cube that jumped cost more with each turn, and 36 kB of memory for each kind of solver."""
    follower = HoldingFollower(TRAINED)
    stated = HeldAs(200.0, WHITE_DOWN)
    turned = [Turned(0.2 * i, i % 18, i + 1, SOLVED_BYTES, None, None, ()) for i in range(1001)]
    follower.take([SolveBegun(0.0, None, 1, 0.0), *turned[:999], stated])
    assert follower.sure == WHITE_DOWN
    follower.take([*turned[999:], stated])
    assert follower.sure is None
    follower.take([SolveBegun(201.0, None, 2, 0.2), stated])
    assert follower.sure == WHITE_DOWN  # a solve of a thousand turns
    follower.take([SolveBegun(202.0, None, 1, 0.0), stated])
    assert follower.sure is None


def test_tables_of_moves_are_what_the_cube_does() -> None:
    assert ROTATED.shape == (24, 24)
    assert HELD_AFTER.shape == (24, 45)
    assert SEEN_AS_FACE.shape == SEEN_AS_WIDE.shape == (24, 18)
    assert SEEN_AS_SLICE.shape == (24, 18, 18)
    for number, held in enumerate(HOLDINGS):
        for turn in range(18):
            for table, first in ((SEEN_AS_FACE, 0), (SEEN_AS_WIDE, 18)):
                move = int(table[number, turn])
                assert first <= move < first + 18
                assert fixed_turns([HAND_MOVES[move]], held)[0] == [turn]
            for other in range(18):
                move = int(SEEN_AS_SLICE[number, turn, other])
                # Two layers around one that stays turn the same way in space.
                apart = turn // 3 == OPPOSITE[other // 3] and (turn % 3 + other % 3) == 2
                assert (36 <= move < 45) if apart else move == -1
                if apart:
                    turns = fixed_turns([HAND_MOVES[move]], held)[0]
                    assert sorted(turns) == sorted([turn, other])


# Counts.


def test_counts_read_back() -> None:
    text = counts_text(shipped_counts()[0], "a test")
    assert counts_text(parse_counts(text), "a test") == text


def test_longer_contexts_are_written_if_they_were_seen_often_enough() -> None:
    counts = Counts()
    for context, seen in (((0, 1), 0.5), ((0, 1, 2), 2.0), ((0, 2, 2), 1.9), ((1, 2, 3, 4), 2.1)):
        counts.moves[context][3] = seen
    text = counts_text(counts, "a test", least=2.0)
    assert {*parse_counts(text).moves} == {(0, 1), (0, 1, 2), (1, 2, 3, 4)}


def test_what_never_happened_may_be_counted_as_0() -> None:
    text = counts_text(shipped_counts()[0], "a test")
    assert '"pair: R": {"U": ' in text
    zero = text.replace('"pair: R": {"U": ', '"pair: R": {"D": 0, "U": ', 1)
    assert counts_text(parse_counts(zero), "a test") == text


def test_the_mirror_of_what_was_counted_is_what_the_mirrors_counts_say() -> None:
    counts = shipped_counts()[1]
    mirrored, of_mirror = likelihoods(counts).mirrored(), likelihoods(counts.mirrored())
    part = true_part(next(virtual_solves([7], LEFT_HANDED)))
    one, other = (
        read_solve(part, HoldingModel((likely,), ("planned",))) for likely in (mirrored, of_mirror)
    )
    assert np.allclose(one.held, other.held, atol=1e-6)
    assert np.allclose(one.by_kind, other.by_kind)


def test_the_mirror_of_the_mirror_is_the_same() -> None:
    assert (MIRRORED[MIRRORED] == np.arange(45)).all()
    assert (MIRRORED_ROTATIONS[MIRRORED_ROTATIONS] == np.arange(24)).all()
    assert moves_text(HAND_MOVES[MIRRORED[i]] for i in (9, 0, 36)) == "L' U' M"


@cache
def shipped_text() -> str:
    return counts_text(shipped_counts()[0], "a test")


@pytest.mark.parametrize(
    ("change", "said"),
    part_of(
        [
            (("{", "["), "not JSON"),
            (('"livecube_holding_counts": 2', '"livecube_holding_counts": 1'), "another file"),
            (('"pair 0 down 0"', '"pear 0 down 0"'), "pear 0 down 0"),
            (('"pair 0 down 0"', '"pair 0 down 99"'), "pair 0 down 99"),
            (('"pair: R"', '"pair: Q"'), "pair: Q"),
            (('"first_tilted": [', '"first_tilted": [1, '), "first_tilted"),
            (('"slices": [[', '"slices": [["x", '), "slices"),
            (('"grip": "planned"', '"grip": "upside down"'), "upside down"),
            (('"U2": [', '"U9": ['), "tempos, 'U9'"),
            (('"U2": [', '"U2": [1, '), "tempos, 'U2'"),
            (('"pair: R": {"U": ', '"pair: R": {"U": -'), "pair: R"),
        ]
    ),
)
def test_counts_that_make_no_sense_are_refused(change: tuple[str, str], said: str) -> None:
    text = shipped_text()
    assert change[0] in text
    with pytest.raises(UsageError, match=said):
        parse_counts(text.replace(*change, 1))


def test_a_broken_file_of_ones_own_says_where_it_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("LIVECUBE_STATE", str(tmp_path))
    (tmp_path / "holding.json").write_text("{}", encoding="utf-8")
    with pytest.raises(UsageError, match=r"holding\.json.*adapt --forget"):
        holding_model(account_habits())


def test_a_part_without_turns_tells_nothing_about_its_solver() -> None:
    nothing = SolvePart([], [], [], 0)
    reading = read_solve(nothing, TRAINED)
    assert (reading.path, reading.held.shape, reading.kinds.shape) == ([], (0, 24), (0, 3))
    assert reading.unexpected.shape == (0,)
    assert reading.by_kind.tolist() == [0.0] * len(TRAINED.kinds)
    assert [evidence(nothing, likely) for likely in TRAINED.kinds] == [0.0] * len(TRAINED.kinds)


@pytest.mark.thorough
def test_adapting_never_makes_it_worse_for_whom_it_already_fits() -> None:
    learned = [true_part(done) for done in virtual_solves(range(500, 504), RIGHT_HANDED)]
    mine = adapted(shipped_counts(), learned, np.random.default_rng(0))
    late, right = [], []
    model = HoldingModel.own(mine)
    for done in solves():
        part = true_part(done)
        hits = read_solve(part, model).held.argmax(axis=1) == np.array(true_holdings(done))
        late += [stage >= ORIENT for stage in part.stages]
        right += hits.tolist()
    assert np.array(right)[np.array(late)].mean() > 0.95


def test_a_live_reading_knows_the_stage_of_each_turn(monkeypatch: pytest.MonkeyPatch) -> None:
    stages: list[int] = []
    turn = LiveHolding.turn

    def noted(live: LiveHolding, turned: int, t: float, stage: int, *others: Any) -> None:
        stages.append(stage)
        turn(live, turned, t, stage, *others)

    monkeypatch.setattr(LiveHolding, "turn", noted)
    follower = HoldingFollower(TRAINED)
    for progress in Tracker().feed_all(session(25, 1).events()):
        follower.take([progress])
    assert stages == sorted(stages)
    assert {*stages} >= {0, 1, 2, 3, 4, 5, 6}


@pytest.mark.parametrize(
    ("name", "first", "bounds"),
    [
        ("paces", 0, (0.7, 1.0, 1.3, 1.7, 2.2, 3.0, 4.2, 6.0)),
        ("close", 0, (0.005, 0.01, 0.015, 0.02, 0.025, 0.03, 0.04, 0.055, 0.075, 0.1, 0.15)),
        ("tempos", 1, (0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.1, 1.2, 1.35, 1.5, 1.7, 2.0, 2.5, 3.2)),
    ],
)
def test_each_class_of_gaps_begins_at_its_bound(
    name: str, first: int, bounds: Sequence[float]
) -> None:
    """Two turns of neighbouring faces, of hands whose usual gap is one second."""

    def of(gap: float) -> int:
        seen = room_for(2)
        observer = Observer(seen, [1.0], learns=False)
        observer.look(0, 0.0, 2)
        observer.look(3, gap, 2)
        return int(getattr(seen, name)[1])

    for number, bound in enumerate(bounds, start=first):
        assert [of(bound - 1e-4), of(bound)] == [number, number + 1]
    assert of(99.0) == first + len(bounds)


@pytest.mark.parametrize(("count", "is_read"), [(1000, True), (1001, False)])
def test_the_holdings_of_a_solve_of_a_thousand_turns_are_read(count: int, is_read: bool) -> None:
    @dataclass(frozen=True)
    class Done:
        splits: tuple[()] = ()

    read: list[Any] = []

    def reading(part: Any) -> Any:
        read.append(part)
        return SimpleNamespace(path=[])

    over: Any = SimpleNamespace(solve=Done(), part=SimpleNamespace(turns=range(count)))
    solver: Any = SimpleNamespace(read=reading)
    assert with_holdings(over, solver) == over.solve
    assert read == [over.part] * is_read


@pytest.mark.parametrize(
    ("reports", "counted"), [([2, 1], [0, 1]), ([1, 2], [1, 1]), ([1, 1, 1], [2, 0])]
)
def test_turns_that_may_be_a_slice_are_counted_as_one_or_as_two(
    reports: list[int], counted: list[int]
) -> None:
    """R L' R: in the middle of a slice nothing else begins."""
    seen = room_for(3)
    seen.turns[:] = parse_turns("R L' R")
    counts = Counts()
    firsts = [sum(reports[:number]) for number in range(len(reports))]
    path: Any = [
        SimpleNamespace(first=first, reports=own)
        for first, own in zip(firsts, reports, strict=True)
    ]
    counts._count_slices(seen, path, 1.0)
    assert counts.slices.sum(axis=1).tolist() == counted
