"""Every technique against the referee: the same targets, lengths and sets of sequences."""

from __future__ import annotations

import ast
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np
import pytest
import referee
from referee import Answer
from technique_comparison import (
    COMPARED,
    Tally,
    compare_technique,
    differences,
    load_engines,
)

import livecube
from livecube.techniques.base import USUAL, Traits, traits, within
from livecube.techniques.keyholes import questions
from livecube.techniques.registry import TECHNIQUES, own_traits

if TYPE_CHECKING:
    from referee import Answers

    from livecube.search.engine import Engine
    from livecube.search.situation import Situation
    from livecube.techniques.base import Chance

POSITIONS: Final = {
    "made-pair": 80,
    "keyhole-chain": 24,
    "shortest": 32,
    "x-cross": 18,
    "pseudo-x-cross": 6,
}
"""How many for each technique; 24 where nothing is said. ``checks`` has more."""

LEAST: Final = 15
"""Targets whose answer must have been within the referee's reach, for each id."""

OFFSETS: Final[dict[str, set[int | None]]] = {
    "shortest": {None, 0, 1, 2, 3},
    "plain": {0},
    "made-pair": {0},
    "x-cross": {None},
    "pseudo-x-cross": {None},
}
"""At which offsets a technique is possible; at all four where nothing is said."""


@pytest.fixture(scope="module")
def engines() -> dict[str, Engine]:
    return load_engines()


@pytest.mark.parametrize("technique", COMPARED)
def test_program_and_referee_agree(engines: dict[str, Engine], technique: str) -> None:
    tally = Tally()
    compare_technique(engines, technique, POSITIONS.get(technique, 24), "test", tally)
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
"""How many, and a digest of every 97th."""


def test_the_questions_of_the_book_are_those_that_they_were() -> None:
    """The cross is whole at the offset that is said, and what is asked has not changed."""
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
    """As little as a third party has to write."""

    id = "bare"

    def chances(self, situation: Situation) -> list[Chance]:
        return []


def test_a_technique_has_the_usual_traits_and_those_that_it_says() -> None:
    assert traits(Bare()) == USUAL == Traits()

    class InInspection(Bare):
        in_inspection = True
        is_yardstick = True

    assert traits(InInspection()) == Traits(in_inspection=True, is_yardstick=True)


def test_of_our_own_techniques_one_is_plain_and_one_the_yardstick() -> None:
    own = {one.id: traits(one) for one in TECHNIQUES}
    assert [name for name, its in own.items() if its.is_plain] == ["plain"]
    assert [name for name, its in own.items() if its.is_yardstick] == ["shortest"]
    assert all(its.sees_only_state for its in own.values())
    assert own_traits("plain") == own["plain"]
    assert own_traits("multislot") == USUAL


NAMING: Final = ("techniques/", "virtual/", "stages/solve.py")
"""Where techniques are named: by themselves, by the virtual solver, in hindsight."""


def test_no_technique_is_asked_for_by_its_name() -> None:
    """A comparison with a name is one that a third party's technique has no say in."""
    names = {one.id for one in TECHNIQUES}
    root = Path(livecube.__file__).parent
    found = [
        f"{path.relative_to(root)}: {ast.unparse(node)}"
        for path in root.rglob("*.py")
        if not str(path.relative_to(root)).startswith(NAMING)
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if any(isinstance(one, ast.Constant) and one.value in names for one in _parts(node))
    ]
    assert not found


def _parts(node: ast.AST) -> list[ast.expr]:
    """What is compared, and the members of collections that are compared with."""
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
