"""The virtual solver: real solves, verified sequences, and a truth that follows the rules."""

from __future__ import annotations

import random
import subprocess
import sys
from collections import Counter
from dataclasses import replace
from itertools import pairwise, product
from types import SimpleNamespace
from typing import TYPE_CHECKING

import numpy as np
import pytest
from pairs_check import PLAIN, in_use, pairs

from livecube.cube.geometry import OPPOSITE, piece_faces, sticker_cycle
from livecube.cube.holding import COLOURS, SCRAMBLE_HOLDING, Move, fixed_turns
from livecube.cube.notation import parse_moves, parse_turns
from livecube.cube.position import (
    SOLVED,
    TURN_BYTES,
    apply_turn,
    apply_turns,
    inverse_turns,
    is_solved,
    make_turn,
    merge,
)
from livecube.errors import UsageError
from livecube.events import Turn
from livecube.stages.frame import HeldSlots, Row
from livecube.virtual.cross import cross_table, plan_cross
from livecube.virtual.cube import simulated_cube
from livecube.virtual.fingers import Insertion, fingers_of
from livecube.virtual.habits import OTHERWISE
from livecube.virtual.hands import CrossFrame, Hands
from livecube.virtual.last_layer import answers, is_settled
from livecube.virtual.looks import WholeLine
from livecube.virtual.lucky import cross_and_slots
from livecube.virtual.pairs import layer_turn
from livecube.virtual.sequences import ORIENT, PERMUTE, mirrored, read_sequence
from livecube.virtual.session import session
from livecube.virtual.solver import (
    KINDS,
    LEFT_HANDED,
    RIGHT_HANDED,
    Habits,
    Kind,
    VirtualSolve,
    solve,
)
from livecube.virtual.truth import _Follower, find_truth, looks_after
from livecube.virtual.usual_cases import settled_case
from livecube.virtual.x_cross import plan_x_cross

if TYPE_CHECKING:
    from livecube.cube.geometry import Array

TECHNIQUES = {
    "plain",
    "made-pair",
    "keyhole-corner",
    "keyhole-edge",
    "keyhole-flip",
    "pseudo-pair",
    "x-cross",
    "multislot",
}


@pytest.fixture(scope="module")
def batch() -> list[VirtualSolve]:
    """Three solves of every kind, and 36 of any kind, with two sets of habits."""
    solves = [solve(seed, kinds=[kind]) for kind in KINDS for seed in range(3)]
    return solves + [solve(s, habits=h) for h in (RIGHT_HANDED, LEFT_HANDED) for s in range(18)]


def positions(done: VirtualSolve) -> list[Array]:
    """The positions before the solve and after each line, by the cube's own functions."""
    found = [apply_turns(SOLVED, done.scramble)]
    for turn in done.turns:
        found.append(apply_turn(found[-1], turn.turn))
    return found


def solved_pieces(position: Array, cross: int, offset: int) -> set[frozenset[int]]:
    """Pieces below the last layer that are solved once the cross layer is turned back."""
    turned = apply_turn(position, make_turn(cross, -offset)) if offset else position
    lower = [p for p in range(20) if OPPOSITE[cross] not in piece_faces(p)]
    return {
        piece_faces(p)
        for p in lower
        if (turned if cross in piece_faces(p) else position)[p] == SOLVED[p]
    }


def test_every_solve_ends_as_it_says(batch: list[VirtualSolve]) -> None:
    for done in batch:
        assert bool(is_solved(positions(done)[-1])) is done.solved
        assert done.solved is ("abandoned" not in done.kinds)


def test_kinds_techniques_and_colours_all_occur(batch: list[VirtualSolve]) -> None:
    kinds = Counter(kind for done in batch for kind in done.kinds)
    assert all(kinds[kind] >= 3 for kind in KINDS)
    stages = [stage for done in batch for stage in done.stages]
    assert {stage.technique for stage in stages if stage.stage == "pair"} == TECHNIQUES
    assert {done.cross for done in batch} == set(range(6))
    assert {stage.offset for stage in stages} == {0, 1, 2, 3}


def test_the_hands_made_the_reported_turns(batch: list[VirtualSolve]) -> None:
    for done in batch:
        holding = SCRAMBLE_HOLDING
        for index, hand in enumerate(done.moves):
            assert hand.holding == holding
            turns, holding = fixed_turns([hand.move], holding)
            reported = [v for v in done.turns if v.move_index == index]
            # Half turns may be reported as quarters, in any order of the two layers.
            assert sorted(m.turn for m in merge(v.turn for v in reported)) == turns
            assert {v.holding for v in reported} <= {hand.holding}
        times = [v.t for v in done.turns]
        assert all(a <= b for a, b in pairwise(times))


def test_same_seed_same_solve() -> None:
    for kind in KINDS:
        assert solve(5, kinds=[kind]) == solve(5, kinds=[kind])
    assert session(9, 3) == session(9, 3)
    assert solve(5) != solve(6)


def test_stages_are_in_order_and_eight(batch: list[VirtualSolve]) -> None:
    names = ["cross", *["pair"] * 4, "orient", "permute", "auf"]
    for done in batch:
        if done.solved:
            assert [stage.stage for stage in done.stages] == names
            assert done.stages[-1].end_turn <= done.first_line + len(done.turns) - 1
        for before, stage in pairwise(done.stages):
            assert before.end_turn <= stage.end_turn
            assert stage.shared is (before.end_turn == stage.end_turn)
        slots = [stage.slots for stage in done.stages if stage.stage == "pair"]
        assert len(set(slots)) == len(slots)


def test_what_is_done_is_solved_on_its_line(batch: list[VirtualSolve]) -> None:
    """Checked by pieces; the truth uses stickers."""
    for done in batch:
        shown = dict(enumerate(positions(done), start=done.first_line - 1))
        for stage in done.stages[:5]:
            solved = solved_pieces(shown[stage.end_turn], done.cross, stage.offset)
            edges = {frozenset((done.cross, f)) for f in range(6)}
            edges -= {frozenset((done.cross, OPPOSITE[done.cross])), frozenset((done.cross,))}
            assert edges <= solved
            for slot in stage.slots:
                one, two = (COLOURS.index(colour) for colour in slot.split("-"))
                assert {frozenset((one, two)), frozenset((one, two, done.cross))} <= solved


def test_reopened_slots_are_done_again_later(batch: list[VirtualSolve]) -> None:
    for done in batch:
        ends = {slot: stage.end_turn for stage in done.stages for slot in stage.slots}
        for slot, line in done.reopened:
            assert ends.get(slot, line + 1) > line
            assert done.solved <= (slot in ends)


def rows(text: str, *, into: str = "") -> list[tuple[str, str, int, str | None, int]]:
    """Cross and pairs of moves that leave the cube as ``into`` leaves a solved one."""
    start = parse_turns(into) + inverse_turns(parse_turns(text))
    truth = find_truth(looks_after(parse_turns(text), looks_after(start)[-1]), 1)
    return [
        (s.stage, "".join(s.slots), s.end_turn, s.technique, s.offset) for s in truth.stages[:5]
    ]


SLOTS = "0123"


def drawn_lines(rng: random.Random) -> list[WholeLine]:
    """Lines where a cross is whole; pieces come and go, and the layer turns, as no solver does."""
    lines, at = [WholeLine(1, 0, frozenset(), frozenset())], 1
    for _ in range(rng.randrange(1, 10)):
        at += rng.choice((1, 1, 2))
        corners = frozenset(rng.sample(SLOTS, rng.randrange(5)))
        edges = frozenset(rng.sample(SLOTS, rng.randrange(5))) if rng.random() < 0.3 else corners
        lines.append(WholeLine(at, rng.choice((0, 1, 2, 3)), corners, edges))
    return lines[rng.randrange(2) :]


def test_truth_and_tracker_agree_on_what_is_held_whatever_comes_and_goes() -> None:
    rng, reopened, own = random.Random(2), 0, 0
    for _ in range(1000):
        lines, held, lost = drawn_lines(rng), HeldSlots(), list[tuple[str, int]]()
        for line in lines:
            corners, edges = (sum(1 << int(slot) for slot in its) for its in line[2:])
            change = held.settle(Row(line.line, line.offset, corners, edges, 0))
            if change is not None:
                lost += [(s, line.line) for s in SLOTS if change.reopened >> int(s) & 1]
        truth = _Follower(0, lines)
        cross = truth.cross_done and truth.cross_done[:2]
        assert cross == (held.cross and (held.cross.line, held.cross.offset))
        pairs = {int(slot): done[:2] for slot, done in truth.pairs.items()}
        assert pairs == {slot: (done.line, done.offset) for slot, done in held.done.items()}
        assert truth.reopened == lost
        reopened += len(lost)
        own += sum(done[1] > 0 for done in pairs.values())
    assert min(reopened, own) > 50


# In these the first U leaves the cross whole, and with it the slots not mentioned later.
CROSS = ("cross", "", 1, None, 0)
BACK = [("pair", slot, 1, "x-cross", 0) for slot in ("blue-orange", "blue-red")]
LEFT = ("pair", "green-orange", 1, "x-cross", 0)


def test_truth_of_a_pair_that_was_joined_or_not() -> None:
    assert rows("U R U' R' U") == [CROSS, *BACK, LEFT, ("pair", "green-red", 4, "made-pair", 0)]
    assert rows("U R U R' U") == [CROSS, *BACK, LEFT, ("pair", "green-red", 4, "plain", 0)]


def test_truth_of_a_pair_on_the_line_of_the_cross() -> None:
    # After two turns only R' is missing, and R is the last layer of the orange cross.
    assert rows("R U R'")[0] == ("cross", "", 2, None, 0)
    assert {row[1:] for row in rows("R U R'")[1:]} == {
        (f"{side}-{up}", 2, "x-cross", 0)
        for side in ("blue", "green")
        for up in ("white", "yellow")
    }


def test_truth_of_a_pseudo_pair() -> None:
    # After D' the corner of blue-red belongs under green-red, whose edge goes in with it.
    assert rows("U D' R U R' D U") == [
        CROSS,
        ("pair", "blue-orange", 1, "x-cross", 0),
        LEFT,
        ("pair", "blue-red", 6, "pseudo-pair", 0),
        ("pair", "green-red", 6, "pseudo-pair", 0),
    ]


def test_truth_of_a_chain_at_an_offset() -> None:
    # R U R' completes blue-red, whose edge was in, and brings the edge of green-red; L' U L
    # then brings the corner of green-red with the edge of green-orange. D only aligns.
    assert rows("U D' R U R' U2 L' U L D U") == [
        CROSS,
        ("pair", "blue-orange", 1, "x-cross", 0),
        ("pair", "blue-red", 5, "keyhole-corner", 3),
        ("pair", "green-orange", 10, "pseudo-pair", 0),
        ("pair", "green-red", 10, "pseudo-pair", 0),
    ]


def test_truth_of_a_keyhole_corner() -> None:
    # Three triggers exchange the corner under green-red with one above and keep the edges;
    # after D the corner of green-orange belongs there.
    assert rows("U D R U R' U' R U R' U' R U R' D' U") == [
        CROSS,
        *BACK,
        ("pair", "green-red", 1, "x-cross", 0),
        ("pair", "green-orange", 14, "keyhole-corner", 0),
    ]


def test_truth_of_a_pair_lost_while_another_goes_in() -> None:
    text, into = "U L' U L R U2 R'", "L' U' L"
    assert rows(text, into=into) == [CROSS, *BACK, ("pair", "green-red", 7, "made-pair", 0)]
    start = parse_turns(into) + inverse_turns(parse_turns(text))
    truth = find_truth(looks_after(parse_turns(text), looks_after(start)[-1]), 11)
    assert truth.reopened == [("green-orange", 17)]


@pytest.mark.thorough
def test_every_usual_case_is_settled_from_every_holding_and_nothing_else_changes() -> None:
    """All 149 ways of corner and edge above or in their slot, judged by the cube's functions."""
    frame, rng = CrossFrame(5), np.random.default_rng(0)
    held = [frame.holding, *(frame.holding.after(Move("y", q)) for q in (1, 2, 3))]
    lower = [*range(4, 8), *range(12, 20)]
    others = [(OTHERWISE, slot, slot) for slot in range(4)]
    for habits, slot, holding in [*product((RIGHT_HANDED,), range(4), range(4)), *others]:
        own = (4 + slot, 16 + slot)
        corners = [f for p in (*range(4), own[0]) for f in sticker_cycle(int(SOLVED[p]))]
        edges = [f for p in (*range(8, 12), own[1]) for f in sticker_cycle(int(SOLVED[p]))]
        found = 0
        for corner, edge in product(corners, edges):
            way = fingers_of(habits).insertion(corner, edge, slot, holding, rng)
            if way is None:
                assert (corner, edge) == tuple(SOLVED[[*own]])
                continue
            turns, after = fixed_turns(way.moves, held[way.holding])
            position = SOLVED.copy()
            position[[*own]] = corner, edge
            position = apply_turns(position, [frame.into(turn) for turn in turns])
            assert (position[lower] == SOLVED[lower]).all()
            assert after.faces[5] == 5
            found += 1
        assert found == 149


def test_plain_pairs_go_in_as_people_put_them_in(batch: list[VirtualSolve]) -> None:
    """This holds for most; in the others a piece was in another slot first."""
    known = in_use()
    usual = [t in known for done in batch for name, t, _ in pairs(done) if name in PLAIN]
    assert len(usual) > 200
    assert np.mean(usual) > 0.55


def test_whose_hands_are_the_mirror_image_like_the_mirror_image() -> None:
    right, left = fingers_of(RIGHT_HANDED), fingers_of(replace(RIGHT_HANDED, left_handed=True))
    for text in ("R U R'", "F' U F", "R' F R F'", "Rw' U' R2 U' R2 U2 Rw", "U' L D' B2 L'"):
        mirror = mirrored(text)
        assert right.price(parse_moves(text)) == left.price(parse_moves(mirror))
    here = [right.price(parse_moves(f"{face} U {face}'")) for face in "RLFB"]
    assert here == sorted(here)
    one, other = (f"{face} U2 {face}' U {face} U' {face}'" for face in "RL")
    assert left.price(parse_moves(mirrored(one))) < left.price(parse_moves(mirrored(other)))


@pytest.mark.parametrize(
    ("text", "price"),
    [
        # A wrist: from rest, farther, back, from end to end.
        ("R", 1), ("R R", 1 + 1.9), ("R R'", 2), ("R R' R'", 3), ("R2", 1.35 + 0.4),
        ("R R2", 1 + 1.35), ("R R2 R'", 1 + 1.35 + 1.9), ("R U R", 1 + 1 + 1.9), ("U2", 1.35),
        # The weaker hand.
        ("L'", 1.15), ("L2", 1.35 * 1.15 + 0.4), ("L' L'", 1.15 + 2.05), ("L L'", 2 * 1.15),
        # Wide turns.
        ("Rw", 1.5), ("Lw", 1.65), ("Fw", 2.7), ("Bw", 3.6), ("Uw", 1.8), ("Dw", 1.8),
        # A turn of F, by the wrist that a finger would come from, and what comes after it.
        ("F", 1.7), ("R F", 1 + 2.2), ("R' F", 1 + 1.2), ("R F'", 1 + 1.7), ("L' F'", 1.15 + 2.2),
        ("L F'", 1.15 + 1.2), ("F2", 1.35 * 1.7), ("F R'", 1.7 + 1), ("F R", 1.7 + 1.6),
        ("F' R'", 1.7 + 1.6), ("F' L", 1.7 + 1.15), ("F L", 1.7 + 1.75), ("F2 R", 1.35 * 1.7 + 1.6),
        ("F U R", 3.7), ("F D R", 4.2), ("F R' R", 3.7), ("F' L L'", 1.7 + 2.3), ("Fw R", 4.3),
        # After D the wrist is where it was; after B and a wide U the hands have let go.
        ("D", 1.5), ("R D R", 1 + 1.5 + 1.9), ("B", 2.6), ("R B R", 4.6), ("F B R", 5.3),
        ("R Uw R", 3.8), ("L' Dw L'", 1.15 + 1.8 + 1.15),
    ],
)  # fmt: skip
def test_what_moves_cost_right_handed_fingers(text: str, price: float) -> None:
    moves = parse_moves(text)
    assert fingers_of(RIGHT_HANDED).price(moves) == pytest.approx(price)
    lengths = [1.35 if move.quarters == 2 else 1 for move in moves]
    unplanned = fingers_of(replace(RIGHT_HANDED, grip_ahead=0)).price(moves)
    assert unplanned == pytest.approx(sum(lengths))
    one = fingers_of(RIGHT_HANDED).price(moves[:1]) + sum(lengths[1:])
    assert fingers_of(replace(RIGHT_HANDED, grip_ahead=1)).price(moves) == pytest.approx(one)


@pytest.mark.parametrize(("drawn_s", "waited_s", "inspected_s"), [(1e9, 2.0, 14.4), (0, 0, 4.5)])
def test_pauses_have_their_limits(drawn_s: float, waited_s: float, inspected_s: float) -> None:
    always = SimpleNamespace(lognormal=lambda mean, sigma: drawn_s)
    hands = Hands(CrossFrame(5), RIGHT_HANDED, always)  # type: ignore[arg-type]
    hands.wait(0.5)
    assert hands.t == pytest.approx(waited_s)
    hands.inspect()
    assert hands.t == pytest.approx(waited_s + inspected_s)


def test_people_of_other_taste_like_other_sequences() -> None:
    def liked(habits: Habits, case: tuple[int, int]) -> Insertion | None:
        sure = replace(habits, p_longer_pair=0.0)
        return fingers_of(sure).insertion(*case, 0, 0, np.random.default_rng(1))

    cases = [(c, e) for p in range(4) for c in sticker_cycle(int(SOLVED[p])) for e in SOLVED[8:12]]
    other = replace(RIGHT_HANDED, taste=5)
    changed = [liked(RIGHT_HANDED, case) != liked(other, case) for case in cases]
    assert 0.1 < np.mean(changed) < 0.9


def test_a_sequence_that_opens_another_slot_is_refused() -> None:
    with pytest.raises(ValueError, match="R U R' L U L' opens more than one slot"):
        settled_case(tuple(parse_moves("R U R' L U L'")), 0)


@pytest.mark.thorough
def test_sequences_keep_the_first_two_layers_and_cover_all_cases() -> None:
    with pytest.raises(ValueError, match="does not keep"):
        read_sequence("R U R'")
    edge = "M' U2 M U2"  # three edges change places; one of them is in the first two layers
    for rotated in ("", "y", "y2", "y'", "x", "x'", "x y", "x' y"):
        with pytest.raises(ValueError, match="does not keep"):
            read_sequence(f"{rotated} {edge}")
    for mirror in (False, True):
        texts = [*ORIENT.strip().splitlines(), *PERMUTE.strip().splitlines()]
        sequences = [read_sequence(mirrored(t) if mirror else t).turns for t in texts]
        orientations, permutations = last_layer_cases([*sequences[::15], (0,)])
        # 216 orientations; 288 permutations in 72 classes up to a turn of the layer.
        assert (len(orientations), len(permutations)) == (216, 288)
        for look, cases in (("orient", orientations), ("permute", permutations)):
            assert all(is_settled(p, look) or answers(p, look, mirror=mirror) for p in cases)


def last_layer_cases(generators: list[tuple[int, ...]]) -> tuple[list[bytes], list[bytes]]:
    """One position of every orientation, and all positions with everything oriented."""
    tables = []
    for turns in generators:
        table = bytes(range(256))
        for turn in turns:
            table = table.translate(TURN_BYTES[turn])
        tables.append(table)
    seen = {SOLVED.tobytes()}
    queue = list(seen)
    while queue:
        position = queue.pop()
        for table in tables:
            after = position.translate(table)
            if after not in seen:
                seen.add(after)
                queue.append(after)
    assert len(seen) == 62208
    # Facelets that show the colour of the last layer tell orientations apart.
    by_orientation: dict[frozenset[int], list[bytes]] = {}
    for position in seen:
        by_orientation.setdefault(frozenset(position[:4] + position[8:12]), []).append(position)
    solved = SOLVED.tobytes()
    oriented = by_orientation[frozenset(solved[:4] + solved[8:12])]
    assert all(is_settled(position, "orient") for position in oriented)
    return [some[0] for some in by_orientation.values()], oriented


def test_cross_table_has_the_published_counts() -> None:
    # L. Vandenbergh, "Cross study", cubezone.be/crossstudy.html.
    counts = np.bincount(cross_table()[cross_table() < 255]).tolist()
    assert counts == [1, 15, 158, 1394, 9809, 46381, 97254, 34966, 102]


def test_crosses_at_an_offset() -> None:
    rng = np.random.default_rng(0)
    for offset in range(4):
        start = apply_turns(SOLVED, parse_turns("R U2 F' L D B2 R'"))
        end = apply_turns(start, plan_cross(start.tobytes(), rng, offset=offset))
        assert {frozenset((5, face)) for face in range(1, 5)} <= solved_pieces(end, 5, offset)


@pytest.mark.parametrize("slot", range(4))
def test_an_x_cross_takes_no_more_turns_than_lead_away_from_one(slot: int) -> None:
    """The other slots are far from solved."""
    rng = np.random.default_rng(slot)
    away = rng.integers(18, size=5).tolist()
    start = apply_turns(SOLVED, [*cross_and_slots((slot,), rng), *away])
    plan = plan_x_cross(start.tobytes(), rng)
    assert plan is not None
    assert len(plan) <= len(away)
    home = apply_turns(start, plan) == SOLVED
    assert home[12:16].all()
    assert (home[4:8] & home[16:20]).any()


def test_marks_stand_between_the_turns_of_a_session() -> None:
    found = session(4, 2)
    events = found.events()
    turns = [event for event in events if isinstance(event, Turn)]
    assert turns == [Turn(one.t, one.turn) for one in found.turns]
    assert turns == found.events(marks=False) != events


def test_sessions_run_through_on_one_cube() -> None:
    wishes: list[set[Kind]] = [set(), {"abandoned"}, {"orient-skip"}, {"abandoned"}, set()]
    for on_cube in (True, False):
        found = session(4, wishes, on_cube=on_cube)
        position = apply_turns(SOLVED, found.scramble)
        line = 1
        for done in found.solves:
            assert done.first_line == line
            truth_from = done.start_turn - done.first_line
            position = apply_turns(position, [v.turn for v in done.turns[:truth_from]])
            assert not is_solved(position)
            position = apply_turns(position, [v.turn for v in done.solving])
            assert bool(is_solved(position)) is done.solved
            line += len(done.turns)
            assert all(done.start_turn <= stage.end_turn < line for stage in done.stages)
        times = [v.t for v in found.turns]
        assert times == sorted(times)
        assert len(found.events()) > len(found.events(marks=False)) == line - 1


def test_reopened_slots_of_later_solves_are_at_the_lines_of_the_session() -> None:
    *_, last = session(19, [set(), {"multislot"}, set()]).solves
    [(_, line)] = last.reopened
    assert last.start_turn < line < last.stages[-1].end_turn


def test_inspection_is_the_longest_pause_before_the_cross() -> None:
    for done in session(2, 20).solves:
        end = done.stages[0].end_turn - done.first_line
        times = [v.t for v in done.turns[: end + 1]]
        pauses = [b - a for a, b in pairwise(times)]
        assert pauses.index(max(pauses)) == done.start_turn - done.first_line - 1


def test_whole_rounds_of_the_cross_layer_are_no_turn() -> None:
    assert [layer_turn(quarters) for quarters in (-4, 0, 4)] == [[], [], []]
    assert [layer_turn(quarters) for quarters in (-1, 2, 5)] == [
        [*parse_turns(t)] for t in ("D'", "D2", "D")
    ]


def test_a_session_without_solves_begins_solved() -> None:
    nothing = session(5, 0)
    assert (nothing.solves, nothing.turns, nothing.scramble) == ([], [], [])


def test_what_cannot_be_had_is_refused() -> None:
    with pytest.raises(UsageError, match="unknown kinds"):
        solve(0, kinds=["nonsense"])  # type: ignore[list-item]
    with pytest.raises(UsageError, match="given scramble"):
        solve(0, parse_turns("R U F"), kinds=["orient-skip"])
    with pytest.raises(UsageError, match=r"speaks .nonsense.; installed: .*turnwire"):
        simulated_cube("nonsense")


def test_a_given_scramble_is_solved_with_the_cross_asked_for() -> None:
    scramble = parse_turns("R U2 F' L D B2 R' U F2 L'")
    for cross in range(6):
        done = solve(cross, scramble, cross=cross)
        assert (done.scramble, done.meant, done.solved) == (scramble, cross, True)


def test_the_judge_knows_nothing_of_the_judged() -> None:
    code = """if True:
        import sys, livecube.virtual.session
        judged = ("stages", "search", "hands", "techniques", "advice", "edges")
        print([name for name in sys.modules if name.split(".")[1:2] and name.startswith("livecube.")
               and name.split(".")[1] in judged])
    """
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "[]"


def test_a_solve_without_turns_takes_no_time() -> None:
    done = solve(1)
    assert done.seconds == done.solving[-1].t - done.solving[0].t > 0
    assert replace(done, turns=[]).seconds == 0.0


@pytest.mark.thorough
def test_solves_of_the_usual_habits_are_all_solved() -> None:
    habits = Habits()
    assert all(solve(seed, habits=habits).solved for seed in range(200, 240))
