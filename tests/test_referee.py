"""The referee itself: against plain enumeration and by hand; it loads nothing of the program."""

from __future__ import annotations

import subprocess
import sys
from collections import Counter
from functools import cache
from itertools import islice
from pathlib import Path
from textwrap import dedent
from typing import TYPE_CHECKING

import pytest
from examples import part_of
from referee import TECHNIQUES, Answer, Question, answers
from referee_accepts import accepted
from referee_cube import OPPOSITE, TURNS, View
from referee_positions import places_for
from referee_search import canonical, goal
from referee_two_steps import answers_in_two, does_both, merges

if TYPE_CHECKING:
    from collections.abc import Iterator

HERE = Path(__file__).parent
LONGEST = 4


def all_sequences(length: int) -> Iterator[tuple[str, ...]]:
    """All sequences without merging turns, opposite neighbours in both orders."""
    if length == 0:
        yield ()
        return
    for before in all_sequences(length - 1):
        for name in TURNS:
            faces = [turn[0] for turn in (*before[-2:], name)]
            merges = faces[-2:-1] == faces[-1:] or (
                len(faces) == 3 and faces[0] == faces[2] == OPPOSITE[faces[1]]
            )
            if not merges:
                yield (*before, name)


@cache
def everything() -> list[tuple[str, ...]]:
    """All sequences, shorter ones first."""
    return [turns for length in range(LONGEST + 1) for turns in all_sequences(length)]


def enumerated(view: View, question: Question) -> dict[int, set[str]]:
    states: dict[tuple[str, ...], bytes] = {(): view.now(question.pieces)}
    ends = [view.homes(question.pieces, offset) for offset in range(4)]
    rows: dict[int, set[str]] = {}
    for turns in everything():
        if turns:  # shorter sequences come earlier in the list
            states[turns] = states[turns[:-1]].translate(TURNS[turns[-1]])
        if states[turns] in ends and accepted(view, question, turns):
            rows.setdefault(len(turns), set()).add(canonical(turns))
    return rows


def within(rows: dict[int, set[str]], slack: int) -> Answer:
    shortest = min(rows, default=LONGEST + 1)
    if shortest + slack > LONGEST:
        return Answer(None, frozenset())
    near = [rows.get(shortest + more, set()) for more in range(slack + 1)]
    return Answer(shortest, frozenset().union(*near))


# A flip takes more turns than are enumerated here; it asks as keyhole-edge does.
@pytest.mark.parametrize("technique", part_of([t for t in TECHNIQUES if t != "keyhole-flip"]))
def test_referee_finds_what_enumeration_finds(technique: str) -> None:
    kind = "scrambled" if technique in ("x-cross", "pseudo-x-cross") else "inserted"
    near = (
        place
        for place in places_for(technique, "enumerated", kind)
        if any(
            a.length for a in answers(place.turns, place.down, technique, slack=0, limit=4).values()
        )
    )
    for place in islice(near, 1):
        questions = TECHNIQUES[technique](place.view)
        first = dict(list(questions.items())[:3])
        rows = {targets: enumerated(place.view, q) for targets, q in first.items()}
        for slack in (0, 1):
            found = answers(place.turns, place.down, technique, slack=slack, limit=LONGEST)
            for targets in rows:
                assert found[targets] == within(rows[targets], slack), (place, targets)


# Worked out by hand, yellow cross: after D the corner home of green-orange lies under
# green-red; R U R' takes out the corner there, and D' turns back.
@pytest.mark.parametrize(
    ("technique", "targets"),
    [
        ("shortest", {("green-orange",), ("green-red",)}),
        ("plain", {("green-orange",), ("green-red",)}),
        ("keyhole-corner", {("green-orange",)}),
        ("keyhole-edge", {("green-red",)}),
        ("keyhole-flip", set()),
        ("keyhole-chain", set()),  # only two slots are free
        ("pseudo-pair", {("green-red", "green-orange")}),
        ("made-pair", set()),
        ("x-cross", set()),
        ("pseudo-x-cross", set()),
    ],
)
def test_targets(technique: str, targets: set[tuple[str, ...]]) -> None:
    found = answers("D R U R' D'", "D", technique)
    assert found.keys() == targets
    if technique in ("keyhole-corner", "keyhole-edge", "pseudo-pair"):
        assert set(found.values()) == {Answer(5, frozenset(["D R U' R' D'"]))}


# Undone: after D and D' the corner homes of green-orange and then of blue-orange lie under
# green-red, so R U' R' and F' U F put both in through it; D2 turns back.
CHAIN = "D R U' R' D F' U F D2"
CHAINED = View.after("D2 F' U' F D' R U R' D'", "D")


def test_a_keyhole_chain_worked_out_by_hand() -> None:
    assert sorted(CHAINED.free) == ["blue-orange", "green-orange", "green-red"]
    assert [CHAINED.edge_solved(s) for s in ("blue-orange", "green-orange")] == [True, True]
    found = answers_in_two(CHAINED, "keyhole-chain")
    assert found["green-orange", "blue-orange"] == Answer(9, frozenset([CHAIN]))
    assert ("blue-orange", "green-orange") not in found  # no door would be left


@pytest.mark.parametrize(
    ("slots", "turns", "so"),
    [
        (("green-orange", "blue-orange"), CHAIN, True),
        (("green-orange", "blue-orange"), "D R U2 R' U R U' R' D F' U F D2", False),
        (("green-orange", "blue-orange"), "D R U' R' D' D2 F' U F D2", False),  # turned back
        (("green-orange", "blue-orange"), "D R U' R' D F' U F D", False),
        (("green-orange", "blue-orange"), "D R U' R' D'", False),
        (("green-orange", "blue-red"), CHAIN, False),
        (("blue-orange", "green-orange"), CHAIN, False),
    ],
)
def test_both_parts_of_a_chain_are_judged(slots: tuple[str, str], turns: str, so: bool) -> None:
    assert does_both(CHAINED, "keyhole-chain", slots, tuple(turns.split())) == so


@pytest.mark.parametrize(
    ("turns", "so"),
    [("R U R'", False), ("R L U", False), ("R R2", True), ("U R L R2 U", True), ("R L U R", False)],
)
def test_turns_that_count_as_one(turns: str, so: bool) -> None:
    assert merges(tuple(turns.split())) == so


def test_made_pair_taken_out_and_put_back() -> None:
    assert answers("R U R'", "D", "made-pair") == {
        ("green-red",): Answer(3, frozenset(["R U' R'"])),
    }


def test_no_made_pair_with_an_edge_flipped_in_its_slot() -> None:
    # The corner stands above its slot and matches the edge below it on both sides.
    view = View.after("D B2 D' R' B' R", "F")
    assert view.free == ["red-yellow"]
    assert view.edge_flipped("red-yellow")
    assert not view.joined("red-yellow")


def test_cross_positions_by_distance() -> None:
    # Counted from solved, and the same for each colour: 1, 15, 158, 1394, 9809.
    for down in "ULFRBD":
        view = View.after("", down)
        cross = goal(frozenset([view.now(view.cross)]), "ULFRBD")
        cross.explore(4)
        counts = Counter(cross.near.values())
        assert [counts[depth] for depth in range(5)] == [1, 15, 158, 1394, 9809]


def test_referee_loads_nothing_of_the_program() -> None:
    code = f"""
        import sys
        sys.path.insert(0, {str(HERE)!r})
        import referee_positions
        print(*[name for name in sys.modules if name.split(".")[0] == "livecube"])
    """
    done = subprocess.run(
        [sys.executable, "-I", "-c", dedent(code)], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == ""
