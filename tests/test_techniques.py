"""Every technique against the referee: the same targets, lengths and sets of sequences."""

from __future__ import annotations

import ast
import random
from collections import defaultdict
from dataclasses import replace
from hashlib import sha256
from itertools import permutations
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np
import pytest
import referee
from examples import thorough
from referee import Answer
from technique_comparison import (
    COMPARED,
    Tally,
    compare_technique,
    differences,
    load_engines,
)

import livecube
from livecube.cube.geometry import FACES, PIECE_AT
from livecube.cube.position import SOLVED
from livecube.search.situation import AT_OFFSETS, SLOT_PIECES, Situation
from livecube.search.task import ALL_TURNS, LEFT, NO_D, NO_TAIL, TURNED_BACK
from livecube.techniques.base import USUAL, Showing, Traits, traits, within
from livecube.techniques.keyholes import questions
from livecube.techniques.registry import TECHNIQUES, own_traits

if TYPE_CHECKING:
    from referee import Answers

    from livecube.search.engine import Engine
    from livecube.techniques.base import Chance

POSITIONS: Final = {
    "made-pair": 56,
    "keyhole-chain": 18,
    "keyhole-flip": 13,
    "pseudo-pair": 13,
    "shortest": 28,
    "x-cross": 9,
    "pseudo-x-cross": 6,
}
"""Number of positions for each technique; 20 if not listed. ``checks`` tries more."""

LEAST: Final = 10
"""For each id, least number of targets with an answer within the referee's limits."""

OFFSETS: Final[dict[str, set[int | None]]] = {
    "shortest": {None, 0, 1, 2, 3},
    "plain": {0},
    "made-pair": {0},
    "x-cross": {None},
    "pseudo-x-cross": {None},
}
"""The offsets at which a technique is possible; all four if not listed."""


SLOW: Final = (
    *("shortest", "keyhole-flip", "keyhole-chain", "pseudo-pair", "x-cross", "pseudo-x-cross"),
)
"""For these the referee searches long; other files compare them at fewer positions, too."""


@pytest.fixture(scope="module")
def engines() -> dict[str, Engine]:
    return load_engines()


@pytest.mark.parametrize(
    "technique",
    [thorough(one) if one in SLOW else one
     for one in COMPARED],
)  # fmt: skip
def test_program_and_referee_agree(engines: dict[str, Engine], technique: str) -> None:
    tally = Tally()
    compare_technique(engines, technique, POSITIONS.get(technique, 20), "test", tally)
    assert not tally.disagreements, "\n".join(tally.disagreements)
    assert tally.compared(technique) >= LEAST
    assert tally.crosses == set("ULFRBD")
    assert tally.offsets == OFFSETS.get(technique, {0, 1, 2, 3})


def test_referee_knows_every_technique() -> None:
    assert set(COMPARED) == set(referee.TECHNIQUES)


ANSWER: Final[Answers] = {("blue-red",): Answer(3, frozenset(["R U R'", "B' U B"]))}
DEEPER: Final[Answers] = {("blue-red",): Answer(None, frozenset())}


@pytest.mark.parametrize(
    ("expected", "rows"),
    [
        (ANSWER, ["R U R'"]),
        (ANSWER, ["R U R'", "B' U B", "B' U2 B"]),
        (ANSWER, ["R U R'", "B' U B", "R U R'"]),
        (ANSWER, ["R U2 R' U", "B' U B U'"]),
        (ANSWER, []),
        ({}, ["R U R'"]),
        (DEEPER, ["R U R'"]),
        (DEEPER, []),
        (ANSWER | {("blue-orange",): Answer(None, frozenset())}, ["R U R'", "B' U B"]),
    ],
)
def test_comparison_sees(expected: Answers, rows: list[str]) -> None:
    assert list(differences(expected, {("blue-red",): rows}, 8))


def test_comparison_accepts_any_order_and_what_lies_deeper() -> None:
    assert not list(differences(ANSWER, {("blue-red",): ["B' U B", "R U R'"]}, 8))
    assert not list(differences(DEEPER, {("blue-red",): ["R U R' " * 3]}, 8))


QUESTIONS: Final = (38908, "13f2e479c5cd")
"""The number of questions, and a digest of every 97th."""


@pytest.mark.thorough
def test_the_questions_of_the_book_are_those_that_they_were() -> None:
    """The cross is whole at the stated offset, and the questions have not changed."""
    asked = [technique for technique in TECHNIQUES if technique.id in ("plain", "pseudo-pair")]
    digest, count = sha256(), 0
    for situation, task in questions(asked):
        count += 1
        if count % 97 == 0:
            assert situation.offset is not None
            solved = situation.corners, situation.edges
            digest.update(repr((situation.offset, solved, task)).encode())
            digest.update(np.asarray(situation.position).tobytes())
    assert (count, digest.hexdigest()[:12]) == QUESTIONS


class Bare:
    """The least that a third party has to write."""

    id = "bare"

    def chances(self, situation: Situation) -> list[Chance]:
        return []


def test_a_technique_has_the_usual_traits_and_those_that_it_says() -> None:
    assert traits(Bare()) == USUAL == Traits()

    class InInspection(Bare):
        in_inspection = True
        is_yardstick = True

    assert traits(InInspection()) == Traits(in_inspection=True, is_yardstick=True)


def test_an_example_is_long_enough_to_explain_something() -> None:
    """Turns that scatter the cross, broken slots, fewest turns, and turns less than plainly."""
    shown = {one.id: traits(one).showing for one in TECHNIQUES}
    assert {name: its for name, its in shown.items() if its != Showing()} == {
        "x-cross": Showing(4, None, 4, 0), "pseudo-x-cross": Showing(3, None, 0, 0),
        "plain": Showing(0, None, 7, 0), "shortest": Showing(0, None, 0, 2),
        "keyhole-chain": Showing(0, 3, 0, 0),
    }  # fmt: skip


def test_of_our_own_techniques_one_is_plain_and_one_the_yardstick() -> None:
    own = {one.id: traits(one) for one in TECHNIQUES}
    assert [name for name, its in own.items() if its.is_plain] == ["plain"]
    assert [name for name, its in own.items() if its.is_yardstick] == ["shortest"]
    planned = {name for name, its in own.items() if its.sees_only_state}
    assert planned >= {"plain", "made-pair", "keyhole-corner", "keyhole-edge", "keyhole-flip"}
    ordinary = {name for name, its in own.items() if its.is_ordinary}
    assert ordinary == {"plain", "made-pair", "shortest"}
    for name, its in own.items():
        assert its.is_keyhole is ("keyhole" in name)
        assert its.in_inspection is ("x-cross" in name)
        assert its.begins_joined is ("made" in name)
        assert its.begins_flipped is ("flip" in name)
        assert its.inserts_alone == {"keyhole-corner": "corner", "keyhole-edge": "edge"}.get(name)
    assert own.keys() - planned == {"keyhole-chain"}
    # Of these, hindsight says that one piece came in before the other, or both with the cross.
    seen_later = {"keyhole-corner", "keyhole-edge", "keyhole-flip", "x-cross"}
    assert {name for name, its in own.items() if its.named_by_hindsight} == seen_later
    assert own_traits("plain") == own["plain"]
    assert own_traits("multislot") == USUAL


NAMING: Final = ("techniques/", "virtual/", "stages/solve.py")
"""Files that may name techniques: their own, the virtual solver's, and hindsight's."""


def test_no_technique_is_asked_for_by_its_name() -> None:
    """A third party's technique cannot take part in a comparison with names."""
    names = {one.id for one in TECHNIQUES}
    root = Path(livecube.__file__).parent
    found = [
        f"{path.relative_to(root)}: {ast.unparse(node)}"
        for path in root.rglob("*.py")
        if not str(path.relative_to(root)).startswith(NAMING)
        for text in (path.read_text(encoding="utf-8"),)
        if any(f'"{name}"' in text for name in names)  # else it need not be parsed
        for node in ast.walk(ast.parse(text))
        if any(isinstance(one, ast.Constant) and one.value in names for one in _parts(node))
    ]
    assert not found


def _parts(node: ast.AST) -> list[ast.expr]:
    """The compared expressions, and the members of collections among them."""
    match node:
        case ast.Compare():
            beside = [node.left, *node.comparators]
        case ast.MatchValue():
            beside = [node.value]
        case _:
            return []
    inside = [one.elts for one in beside if isinstance(one, ast.Tuple | ast.List | ast.Set)]
    return [*beside, *(member for members in inside for member in members)]


@pytest.mark.parametrize(
    ("title", "within_a_sentence"),
    [
        ("Keyhole corner", "keyhole corner"),
        ("X-cross", "X-cross"),
        ("Pseudo X-cross", "pseudo X-cross"),
    ],
)
def test_a_title_within_a_sentence_is_small_but_for_a_letter_by_itself(
    title: str, within_a_sentence: str
) -> None:
    assert within(title) == within_a_sentence


def under(offset: int, slot: int) -> int:
    """The slot under which the home of a slot's corner lies at an offset."""
    place = int(PIECE_AT[AT_OFFSETS[offset][SLOT_PIECES[slot]]])
    return SLOT_PIECES.index(place)


def seen(offset: int | None, corners: set[int], edges: set[int], flipped: set[int]) -> Situation:
    def bits(slots: set[int]) -> int:
        return sum(1 << slot for slot in slots)

    solved = Situation.of_down(SOLVED, FACES.index("D"))
    return replace(
        solved, offset=offset, corners=bits(corners), edges=bits(edges), flipped=bits(flipped),
        joined=bits({*range(4)} - corners - edges - flipped),
    )  # fmt: skip


def expected(
    offset: int, corners: set[int], edges: set[int], flipped: set[int]
) -> dict[str, set[tuple[tuple[int, ...], int, tuple[int | None, ...]]]]:
    """For each technique the slots, the turns of the cross layer before it, and the doors."""
    every, solved = {*range(4)}, corners & edges
    found: dict[str, set[tuple[tuple[int, ...], int, tuple[int | None, ...]]]] = defaultdict(set)

    def keyhole(name: str, slot: int, doors: list[int | None]) -> None:
        if doors != [None] * 4:
            prefix = sum(1 << a for a, door in enumerate(doors) if door is not None)
            found[name].add(((slot,), prefix, tuple(doors)))

    for slot in every - solved:
        found["shortest"].add(((slot,), 1, (None,) * 4))
        if offset == 0:
            found["plain"].add(((slot,), 1, (None,) * 4))
            if slot not in corners | edges | flipped:
                found["made-pair"].add(((slot,), 1, (None,) * 4))
        others = every - solved - {slot}
        turned = [(offset + a) % 4 for a in range(4)]
        if slot in edges:
            below = [under(at, slot) for at in turned]
            keyhole("keyhole-corner", slot, [door if door in others else None for door in below])
        if slot in corners:
            name = "keyhole-flip" if slot in flipped else "keyhole-edge"
            keyhole(
                name, slot,
                [next((d for d in others - corners if under(at, d) == slot), None)
                 for at in turned],
            )  # fmt: skip
            for other in edges - corners:
                prefix = sum(1 << a for a in range(4) if under(turned[a], other) == slot)
                found["pseudo-pair"].add(((slot, other), prefix, (None,) * 4))
    waiting = corners ^ edges
    if len(waiting) >= 2 and len(every - solved) >= 3:
        for name in ("keyhole-corner", "keyhole-edge", "keyhole-flip"):
            for (slot,), prefix, _ in set(found[name]):
                for other in waiting - {slot}:
                    doors = every - solved - {slot, other}
                    goes_on = [
                        a
                        for a in range(4)
                        if prefix >> a & 1 and any(
                            (under((offset + a + b) % 4, other) == door)
                            if other in edges else (under((offset + a + b) % 4, door) == other)
                            for b in (1, 2, 3) for door in doors
                        )
                    ]  # fmt: skip
                    if goes_on:
                        its = sum(1 << a for a in goes_on)
                        found["keyhole-chain"].add(((slot, other), its, (None,) * 4))
    return found


TAILS: Final = {
    "shortest": NO_TAIL, "plain": NO_TAIL, "made-pair": NO_TAIL, "keyhole-chain": LEFT,
}  # fmt: skip


def test_chances_are_those_that_follow_from_the_pieces_that_are_home() -> None:
    rng = random.Random(5)
    usual = [one for one in TECHNIQUES if not traits(one).in_inspection]
    for _ in range(400):
        kinds = [rng.choice(["", "c", "e", "f", "ce", "cf"]) for _ in range(4)]
        corners, edges, flipped = ({s for s in range(4) if k in kinds[s]} for k in "cef")
        offset = rng.randrange(4)
        situation = seen(offset, corners, edges, flipped)
        found = expected(offset, corners, edges, flipped)
        for technique in usual:
            chances = technique.chances(situation)
            assert {(c.slots, c.task.prefix, c.doors) for c in chances} == found[technique.id]
            assert len(chances) == len(found[technique.id])
            for chance in chances:
                first = chance.slots[:1] if chance.then else chance.slots
                goal = {*first} | corners & edges
                pieces = goal | {4 + slot for slot in goal}
                if chance.then:
                    other = chance.slots[1]
                    assert chance.then_into == (other,)
                    pieces.add(other if other in corners else 4 + other)
                assert chance.task.goal == sum(1 << piece for piece in pieces)
                assert chance.task.target == chance.slots[0]
                assert chance.task.allowed == (ALL_TURNS if technique.id == "shortest" else NO_D)
                assert chance.task.tail == TAILS.get(technique.id, TURNED_BACK)
                assert chance.task.tied == (technique.id == "made-pair")


def test_without_a_whole_cross_only_inspection_offers_chances() -> None:
    situation = seen(None, set(), set(), set())
    offered = {
        technique.id: [chance.slots for chance in technique.chances(situation)]
        for technique in TECHNIQUES
        if technique.id != "shortest"
    }
    assert {name for name, slots in offered.items() if slots} == {"x-cross", "pseudo-x-cross"}
    assert offered["x-cross"] == [(slot,) for slot in range(4)]
    assert sorted(offered["pseudo-x-cross"]) == [*permutations(range(4), 2)]
    whole = seen(0, set(), set(), set())
    inspecting = [one for one in TECHNIQUES if traits(one).in_inspection]
    assert [one.chances(whole) for one in inspecting] == [[]] * 2
    for technique in inspecting:
        for chance in technique.chances(situation):
            corner, edge = chance.slots[0], chance.slots[-1]
            assert chance.task.goal == 1 << corner | 16 << edge
            assert (chance.task.prefix, chance.task.target) == (1, corner)
            assert chance.task.tail == (LEFT if chance.then else NO_TAIL)
            assert chance.then_into == (chance.slots if chance.then else ())
