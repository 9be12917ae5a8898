"""The tracker against the virtual solver's truth, and by hand where the rule is simple."""

from __future__ import annotations

import random
from dataclasses import replace
from functools import partial
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import pytest
from examples import thorough
from hypothesis import given
from hypothesis import strategies as st
from stage_check import compared, found, position_after, true

from livecube.cube.geometry import HOME
from livecube.cube.holding import COLOURS, Holding
from livecube.cube.notation import parse_turns
from livecube.cube.position import (
    SOLVED,
    SOLVED_BYTES,
    TURN_BYTES,
    apply_turns,
    inverse_turn,
)
from livecube.events import (
    Asked,
    Attitude,
    Battery,
    ClockAccount,
    ClueAsked,
    Gap,
    HeldAs,
    LinkChange,
    Packet,
    Reset,
    SolveMark,
    State,
    Turn,
)
from livecube.stages.cases import ORIENTED, PERMUTED
from livecube.stages.frame import (
    FRAMES,
    CrossFrame,
    Done,
    LastLayer,
    Record,
    Row,
    is_scrambled,
)
from livecube.stages.progress import (
    CrossColour,
    Resynced,
    SolveOver,
)
from livecube.stages.solve import chosen_sight, last_layer_boundaries, pair_technique
from livecube.stages.tracker import Resting, Tracker
from livecube.virtual.records import KINDS
from livecube.virtual.session import session

if TYPE_CHECKING:
    from collections.abc import Iterable

    from livecube.events import CubeEvent, SolvePhase
    from livecube.stages.progress import Progress
    from livecube.stages.solve import Solve

SESSIONS = 18
"""``checks/stage_check.py`` follows more."""


@pytest.mark.thorough
def test_every_boundary_of_virtual_solves_of_all_kinds_live_and_in_hindsight() -> None:
    kinds, colours = compared(SESSIONS)
    assert kinds == set(KINDS)
    assert colours == set(COLOURS)


def test_the_cross_that_is_followed_live_does_not_flicker() -> None:
    # Without a bound, other colours' crosses took over during the last pair.
    solves = changes = 0
    for seed in range(20):
        done = session(seed, 1, on_cube=False)
        told = Tracker(position_after(done.scramble)).feed_all(done.events())
        changes += sum(isinstance(p, CrossColour) for p in told)
        solves += 1
    assert changes <= solves // 20


def test_a_cube_of_which_much_is_at_home_is_not_scrambled() -> None:
    """Not even for a cross colour whose pieces have all been turned away."""
    record = Record(0, [SOLVED.tobytes()], begun=False)
    for number, turn in enumerate(parse_turns("F' R2 D2 F' U")):
        record.add(turn, float(number))
    assert min(frame.pieces_in_place(record.positions[-2]) for frame in FRAMES) == 2
    assert not any(sight.armed for sight in record.sights)


@pytest.mark.parametrize(("pause", "lost"), [(3.9, False), (4.0, True)])
def test_a_cross_is_scrambled_away_by_a_pause_of_four_seconds(pause: float, lost: bool) -> None:
    """A shorter pause before scattered pieces may be one of a last layer."""
    scramble = [*parse_turns("R U2 F' L D B R' U F2 L2 B' D2 R F U' L' B2 D R2 F'")]
    record, t = Record(0, [SOLVED_BYTES], begun=False), 0.0
    for turn in (*scramble, *map(inverse_turn, reversed(scramble)), *scramble):
        t += 0.1
        record.add(turn, t)
    assert is_scrambled(record.position)
    assert any(sight.held.cross for sight in record.sights)
    record.add(0, t + pause)
    assert all(sight.held.cross is None for sight in record.sights) is lost


@pytest.mark.parametrize("sessions", [3, thorough(12)])
def test_solves_without_marks_begin_after_the_inspection(sessions: int) -> None:
    begun = wrong = 0
    for seed in range(1000, 1000 + sessions):
        done = session(seed, 3)
        told = Tracker().feed_all(done.events(marks=False))
        solves = [p.solve for p in told if isinstance(p, SolveOver)]
        assert len(solves) == 3
        for solve, truth in zip(solves, done.solves, strict=True):
            begun += 1
            wrong += (solve.start_turn, found(solve)) != (truth.start_turn, true(truth))
    # By the rule, a scramble may pause longer than the inspection, or contain a cross.
    assert begun == 3 * sessions
    assert wrong == 0


def test_figures_of_stages_add_up() -> None:
    for seed in range(8):
        done = session(seed, 2)
        for progress in Tracker().feed_all(done.events()):
            if not isinstance(progress, SolveOver):
                continue
            solve = progress.solve
            assert len(solve.splits) == 8
            assert solve.turns == sum(s.turns for s in solve.splits)
            assert solve.seconds == pytest.approx(sum(s.seconds for s in solve.splits))
            for split in solve.splits:
                assert 0 <= split.pause <= split.seconds
                if split.shared:
                    assert (split.turns, split.seconds, split.pause) == (0, 0, 0)


def solve_of(scramble: str, solution: str, seconds: float = 0.25) -> Solve:
    tracker = Tracker(position_after(scramble))
    events = [Turn(1 + i * seconds, t) for i, t in enumerate(parse_turns(solution))]
    told = tracker.feed_all(events)
    return next(p.solve for p in told if isinstance(p, SolveOver))


def test_skips_are_named_and_share_their_turn() -> None:
    orient, permute = solve_of("U R U' R'", "R U R' U'").splits[5:7]
    assert (orient.case, orient.technique, orient.shared) == (ORIENTED, "skip", True)
    assert (permute.case, permute.technique, permute.shared) == (PERMUTED, "skip", True)


def test_lost_turns_between_the_pairs_mark_all_pairs_and_what_follows_and_not_the_cross() -> None:
    done = session(5, 1, on_cube=False)
    solve = done.solves[0]
    missing = solve.stages[2].end_turn  # a turn at the end of the second pair gets lost
    tracker = Tracker(position_after(done.scramble))
    position = tracker.position
    told: list[Progress] = []
    for number, turn in enumerate(done.turns, start=1):
        position = position.translate(TURN_BYTES[turn.turn])
        if number == missing:
            told += tracker.feed(Gap(turn.t, 1))
            told += tracker.feed(State(turn.t, position))
        else:
            told += tracker.feed(Turn(turn.t, turn.turn))
    result = next(p.solve for p in told if isinstance(p, SolveOver))
    assert result.solved
    assert result.gap
    assert [split.gap for split in result.splits] == [False] + [True] * 7


def test_a_reset_means_solved_now_and_ends_what_was_under_way() -> None:
    tracker = Tracker(position_after("R U F2 L D B"))
    tracker.feed(Turn(1.0, 0))
    told = tracker.feed(Reset(2.0))
    assert [type(p) for p in told] == [SolveOver, Resynced]
    assert tracker.position == bytes(SOLVED.tolist())


def test_marks_decide_alone_once_there_is_one() -> None:
    tracker = Tracker()
    events: list[CubeEvent] = [
        SolveMark(0, 7, "scramble"),
        *(Turn(i, t) for i, t in enumerate(parse_turns("R U R' U'"), start=1)),
        SolveMark(9, 7, "start"),
        *(Turn(10 + i, t) for i, t in enumerate(parse_turns("U R U'"))),
        SolveMark(20, 7, "abandon"),
        Turn(21, parse_turns("R'")[0]),
    ]
    told = tracker.feed_all(events)
    solves = [p.solve for p in told if isinstance(p, SolveOver)]
    assert [(s.id, s.solved, s.start_turn, s.turns) for s in solves] == [(7, False, 5, 3)]


def test_a_clocks_account_of_itself_is_told() -> None:
    told = Tracker().feed(ClockAccount(3.0, 34.5, 21.0))
    assert told == [ClockAccount(3.0, 34.5, 21.0)]
    assert Tracker().feed(ClockAccount(3.0, None, 21.0)) == [ClockAccount(3.0, None, 21.0)]


def summed_up(events: Iterable[CubeEvent], start: bytes) -> Solve:
    (solve,) = [p.solve for p in Tracker(start).feed_all(events) if isinstance(p, SolveOver)]
    return solve


@pytest.mark.parametrize("seed", [3, thorough(11)])
def test_a_turn_that_was_worked_out_or_lost_marks_the_stages_that_it_may_have_changed(
    seed: int,
) -> None:
    done = session(seed, 1, on_cube=False)
    start = position_after(done.scramble)
    events = [event for event in done.events() if not isinstance(event, SolveMark)]
    lines = [at for at, event in enumerate(events) if isinstance(event, Turn)]
    ends = [split.end_turn or 0 for split in summed_up(events, start).splits]
    assert ends == sorted(set(ends)), "another seed: this one's stages share turns"
    begins = [0, *ends[:-1]]
    for line, at in enumerate(lines, start=1):
        event = events[at]
        assert isinstance(event, Turn)
        worked_out = [*events[:at], replace(event, inferred=True), *events[at + 1 :]]
        its = next(stage for stage in range(8) if begins[stage] < line <= ends[stage])
        # The next stage may begin elsewhere, too.
        touched = {its, its + 1} | ({its + 2} if line == ends[its] else set())
        if line <= ends[4]:  # the times of the pairs are known only in hindsight
            touched |= {1, 2, 3, 4, 5}
        splits = summed_up(worked_out, start).splits
        assert {i for i in range(8) if splits[i].inferred} == touched & {*range(8)}, line
        assert not any(split.gap for split in splits)

        if line == len(lines):
            continue
        torn = [*events[: at + 1], Gap(event.t, None), *events[at + 1 :]]
        splits = summed_up(torn, start).splits
        lost = {stage for stage in range(8) if ends[stage] >= line}
        if line <= ends[4]:
            lost |= {1, 2, 3, 4}
        assert {i for i in range(8) if splits[i].gap} == lost, line


@pytest.mark.parametrize(
    ("rows", "slots", "name"),
    [
        # Solved corners and edges, line by line, as bit sets of slots.
        ([(0, 0), (0b11, 0b11)], (0, 1), "multislot"),
        ([(0, 0), (0b01, 0b10), (0b11, 0b11)], (0, 1), "pseudo-pair"),
        ([(0, 0), (0b01, 0b10), (0b11, 0b11)], (1, 0), "pseudo-pair"),
        ([(0, 0), (0b01, 0b01), (0b11, 0b11)], (0, 1), "multislot"),
        ([(0, 0), (0b10, 0b01), (0b11, 0b01), (0b11, 0b11)], (0, 1), "multislot"),
        ([(0, 0), (0b01, 0b00), (0b11, 0b11)], (0, 1), "multislot"),
        ([(0, 0), (0b001, 0b010), (0b111, 0b111)], (0, 1, 2), "multislot"),
        ([(0, 0), (0b01, 0), (0b01, 0b01)], (0,), "keyhole-edge"),
        ([(0, 0), (0, 0b01), (0b01, 0b01)], (0,), "keyhole-corner"),
        ([(1, 0), (0, 0), (1, 1)], (0,), "plain"),
    ],
)
def test_how_pieces_came_in_names_the_technique(
    rows: list[tuple[int, int]], slots: tuple[int, ...], name: str
) -> None:
    seen = [Row(line, 0, *pieces, 0) for line, pieces in enumerate(rows)]
    later = Row(len(rows), 0, 0, 0, 0)
    named = partial(
        pair_technique, FRAMES[5], slots=slots, began=0, done=len(rows) - 1,
        began_position=SOLVED.tobytes(),
    )  # fmt: skip
    assert named([*seen, later], with_cross=False) == name
    assert named(seen, with_cross=True) == "x-cross"


@pytest.mark.parametrize(("is_out", "case"), [(True, None), (False, ORIENTED)])
def test_a_layer_beside_an_open_slot_shows_no_case(is_out: bool, case: str | None) -> None:
    position = SOLVED.copy()
    if is_out:  # two corners below the last layer have changed places
        position[[4, 5]] = position[[5, 4]]
    stood: Any = SimpleNamespace(line=0, position_after=lambda line: position.tobytes())
    found = LastLayer(FRAMES[5], 0).advance(stood)
    boundary, *_ = last_layer_boundaries(stood, FRAMES[5], found)
    assert (boundary.stage, boundary.case) == ("orient", case)


@given(st.lists(st.integers(0, 17), max_size=6), st.sampled_from(FRAMES))
def test_pieces_in_place_are_those_that_turning_the_cross_layer_brings_home(
    turns: list[int], frame: CrossFrame
) -> None:
    position = apply_turns(SOLVED, turns)
    counts = []
    for quarters in range(4):
        turned = apply_turns(position, [3 * frame.face] * quarters)
        home = [int(turned[piece]) == HOME[piece] for piece in range(20)]
        counts.append(sum(home[piece] for piece in (*frame.cross, *frame.corners, *frame.edges)))
    assert frame.pieces_in_place(bytes(position.tolist())) == max(counts)


def test_of_positions_on_the_heels_of_one_another_only_the_last_is_rested_in() -> None:
    """Earlier each of 20,000 positions in one minute was searched for ways to begin."""
    tracker = Tracker()
    resting = Resting(tracker)
    due = []
    for number, moves in enumerate(("R U F2", "L D2 B", "U F D", "R2 D L")):
        state = State(0.5 * number, position_after(moves))
        resting.watch(state, tracker.feed(state))
        due.append(resting.due)
    assert due == [0.0, 3.5, 4.0, 4.5]
    state = State(9.0, position_after("F B"))
    resting.watch(state, tracker.feed(state))
    assert resting.due == 9.0


def test_ways_to_begin_were_searched_for_at_each_of_20000_positions_some_seconds_apart() -> None:
    """Each search took 40 ms: 13 minutes of a replay."""
    tracker, rng = Tracker(), random.Random(1)
    resting, searches = Resting(tracker), 0

    def take(event: CubeEvent) -> None:
        nonlocal searches
        resting.watch(event, tracker.feed(event))
        if resting.due is not None:
            searches += 1
            resting.rest()

    def jump(t: float) -> None:
        turns = [rng.randrange(18) for _ in range(30)]
        take(State(t, bytes(apply_turns(SOLVED, turns).tolist())))

    for number in range(300):
        jump(4.0 * number)
    assert searches == 8
    for number in range(100):  # so many turns allow one more, with pauses or without
        take(Turn(1500.0 + 4 * number, number % 18))
    take(Reset(2000.0))
    for number in range(5):
        jump(2100.0 + 4 * number)
    assert searches == 8 + 100 // 96
    for number in range(10):  # a mark asks for it
        jump(3000.0 + 4 * number)
        take(SolveMark(3001.0 + 4 * number, number, "inspect"))
    assert searches == 8 + 100 // 96 + 10
    take(HeldAs(3100.0, Holding.of(0, 2)))  # so does another holding
    assert searches == 8 + 100 // 96 + 11


def test_turns_some_seconds_apart_cost_a_search_each_nine_of_them() -> None:
    """20,000 of them took more than a minute. A whole solve allows all rests again."""
    tracker, t, rng = Tracker(), 0.0, random.Random(2)
    resting, searches = Resting(tracker), 0

    def take(event: CubeEvent, pause_s: float) -> None:
        nonlocal searches, t
        resting.watch(event, tracker.feed(event))
        t += pause_s
        if resting.due is not None and resting.due <= t:
            searches += 1
            resting.rest()

    for _ in range(960):
        take(Turn(t, rng.randrange(18)), 4.0)
    assert searches in (8 + 960 // 96 - 1, 8 + 960 // 96)
    begun = searches
    take(Reset(t), 0.0)
    for turn in session(5, 1).events(marks=False):
        take(replace(turn, t=t), 0.2)
    for _ in range(90):
        take(Turn(t, rng.randrange(18)), 4.0)
    assert begun + 8 <= searches <= begun + 10


def test_a_cube_that_rests_again_is_looked_at_again_only_after_more_turns_than_a_cross_takes() -> (
    None
):
    tracker = Tracker(position_after("R U F2 L D B"))
    tracker.feed(SolveMark(0.0, 7, "inspect"))
    resting = Resting(tracker)
    assert resting.due == 0.0
    resting.rest()
    assert resting.due is None
    due = []
    for number, turn in enumerate(parse_turns("R U F R U F R U F R"), start=1):
        event = Turn(float(number), turn)
        resting.watch(event, tracker.feed(event))
        due.append(resting.due)
    assert due == [None] * 8 + [12.0, 13.0]
    assert Resting(Tracker()).due is None  # it is solved
    resting.rest()
    for event in (HeldAs(20.0, Holding.of(0, 2)), HeldAs(21.0, None)):  # it is looked at again
        resting.watch(event, tracker.feed(event))
        assert resting.due == event.t
        resting.rest()
    state = State(22.0, tracker.position)
    resting.watch(state, tracker.feed(state))
    assert resting.due is None  # nothing has changed
    state = State(23.0, position_after("R U F2"))
    resting.watch(state, tracker.feed(state))
    assert resting.due == 23.0
    mark = SolveMark(24.0, 7, "start")
    resting.watch(mark, tracker.feed(mark))
    assert resting.due == 24.0
    event = Turn(25.0, 0)
    resting.watch(event, tracker.feed(event))
    assert resting.due is None  # the solve has begun


def test_a_cube_that_says_that_it_is_solved_in_the_middle_of_a_solve_ends_it() -> None:
    tracker = Tracker(position_after("R U F2 L D B"))
    tracker.feed(SolveMark(0.0, 7, "start"))
    tracker.feed(Turn(1.0, 0))
    told = tracker.feed(State(2.0, bytes(SOLVED.tolist())))
    assert [type(p) for p in told] == [Resynced, SolveOver]
    over = told[-1]
    assert isinstance(over, SolveOver)
    assert (over.solve.id, over.solve.turns, over.solve.solved) == (7, 1, True)
    assert tracker.feed(State(3.0, bytes(SOLVED.tolist()))) == []


def test_the_longest_pause_before_the_cross_begins_the_solve() -> None:
    """Of ten turns behind line 3; the cross is whole after line 9."""
    for longest in range(4, 14):
        record = Record(3, [SOLVED_BYTES], begun=False, turns=[0] * 10)
        record.times = [line + 5.0 * (line >= longest) for line in range(4, 14)]
        (sight, *_) = record.sights
        assert record.start(sight) is None  # without a cross
        sight.held.cross = Done(4, 0)
        assert record.start(sight) is None  # nothing is before it
        sight.held.cross = Done(9, 0)
        # Of the first line's pause nothing is known; one behind the cross is none of inspection.
        assert record.start(sight) == (longest if 5 <= longest <= 9 else 5)


@pytest.mark.parametrize(
    ("start", "phase", "waits"),
    [
        ("R U", "inspect", True), ("R U", "start", True), ("R U", "scramble", False),
        ("", "inspect", False), ("", "start", False),
    ],
)  # fmt: skip
def test_a_cube_is_inspected_if_a_mark_says_so_and_it_is_not_solved(
    start: str, phase: SolvePhase, waits: bool
) -> None:
    tracker = Tracker(position_after(start))
    assert tracker.feed(SolveMark(1.0, 7, phase)) == []
    assert tracker.before_solve is waits


def test_the_first_mark_ends_what_was_taken_for_a_solve_without_a_word() -> None:
    tracker = Tracker(position_after("R U F2 L D B"))
    tracker.feed(Turn(1.0, 0))
    assert tracker.feed(SolveMark(2.0, 7, "start")) == []
    tracker.feed(Turn(3.0, 0))
    assert [type(one) for one in tracker.feed(SolveMark(4.0, 8, "inspect"))] == [SolveOver]


def preferred(one: tuple[list[int], int], other: tuple[list[int], int]) -> str:
    """Why one cross (sorted lines of its pairs, its own line) is chosen; empty: it is not."""
    (ours, cross), (theirs, its) = one, other
    if len(ours) != len(theirs):
        return "more" * (len(ours) > len(theirs))
    if len(ours) == 4 and ours[-1] != theirs[-1]:
        return "whole sooner" * (ours[-1] < theirs[-1])
    if ours and ours[0] != theirs[0]:
        return "first sooner" * (ours[0] < theirs[0])
    return "cross sooner" * (cross < its)


def test_the_cross_in_hindsight_is_that_to_which_no_other_is_preferred() -> None:
    rng, said = random.Random(1), set()
    for _ in range(400):
        there: list[tuple[list[int], int]] = []
        sights = []
        for _ in range(3):
            lines = rng.choices((5, 6), k=rng.choice((0, 2, 4, 4)))
            cross = Done(rng.randrange(3), 0) if rng.random() < 0.9 else None
            done = {slot: Done(line, 0) for slot, line in enumerate(lines)}
            sight = SimpleNamespace(held=SimpleNamespace(cross=cross, done=done))
            sights.append(sight)
            if cross:
                there.append((sorted(lines), cross.line))
        record: Any = SimpleNamespace(sights=sights)
        chosen: Any = chosen_sight(record)
        if not there:
            assert chosen is None
            continue
        at = [sight for sight in sights if sight.held.cross].index(chosen)
        assert not any(preferred(other, there[at]) for other in there)
        assert all(preferred(there[at], other) for other in there[:at])
        said |= {preferred(there[at], other) for other in there}
    assert said == {"more", "whole sooner", "first sooner", "cross sooner", ""}


@pytest.mark.parametrize(("seconds", "tps"), [(4.0, 2.5), (0.5, 20.0), (0.0, None)])
def test_turns_a_second_are_over_the_whole_solve(seconds: float, tps: float | None) -> None:
    solve = replace(solve_of("U R U' R'", "R U R' U'"), turns=10, seconds=seconds)
    assert solve.tps == tps


def test_what_says_nothing_of_the_cube_is_no_progress() -> None:
    tracker = Tracker()
    for event in (
        Packet(1.0, "a", b""), Asked(1.0, None), ClueAsked(1.0), Attitude(1.0, (1.0, 0.0, 0.0, 0.0))
    ):  # fmt: skip
        assert tracker.feed(event) == []
    for told in (Battery(1.0, 50), LinkChange(1.0, up=True), ClockAccount(1.0, None, 0.0)):
        assert tracker.feed(told) == [told]
