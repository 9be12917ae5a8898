"""The sentences about sequences, word for word, and when each rule applies."""

from __future__ import annotations

import ast
import re
from pathlib import Path
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any, Final

import click
import pytest

from livecube.advice.words import (
    Case,
    Level,
    apply_rules,
    before_the_eyes,
    cross_sentence,
    place_of,
    plan_words,
    repair_sentence,
    sentence,
    spoken_place,
    spoken_words,
    what_sentence,
    where_sentence,
)
from livecube.cli import commands
from livecube.cube.geometry import FACES
from livecube.cube.holding import HOLDINGS, SCRAMBLE_HOLDING, Move
from livecube.cube.notation import parse_moves
from livecube.cube.position import SOLVED
from livecube.search.situation import Situation
from livecube.techniques.registry import own_traits

if TYPE_CHECKING:
    from collections.abc import Iterator

YELLOW_DOWN = Situation.of(SOLVED, FACES.index("D"))
TURNED = SCRAMBLE_HOLDING.after(Move("y", 1))  # red is in front


def row(**changed: Any) -> Any:
    usual: dict[str, Any] = {
        "technique": "keyhole-corner",
        "title": "Keyhole corner",
        "slots": ("green-red",),
        "holding": SCRAMBLE_HOLDING,
        "moves": tuple(parse_moves("D R U' R' D'")),
        "turns": 5,
        "seconds": 1.25,
        "looking": 0.5,
        "plain": None,
        "door": None,
        "top_kept": 0,
        "pairs_kept": 0,
    }
    told = usual | changed
    return SimpleNamespace(**told, traits=own_traits(told["technique"]))


def plain(seconds: float, looking: float = 0.5) -> SimpleNamespace:
    return SimpleNamespace(turns=9, seconds=seconds, looking=looking)


def test_slots_are_where_they_are_in_the_hands() -> None:
    slots = ("green-red", "blue-red", "blue-orange", "green-orange")
    places = ["front right", "back right", "back left", "front left"]
    assert [place_of(slot, SCRAMBLE_HOLDING) for slot in slots] == places
    assert [place_of(slot, TURNED) for slot in slots] == [places[-1], *places[:-1]]
    on_its_side = SCRAMBLE_HOLDING.after(Move("z", 1))
    assert any(place_of(slot, on_its_side) == slot for slot in slots)
    assert {place_of(slot, held) for slot in slots for held in HOLDINGS} == {*places, *slots}


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({}, "Keyhole corner into green-red (front right): so; 1.25 s."),
        ({"slots": ()}, "Keyhole corner: so; 1.25 s."),
        (
            {"slots": ("green-red", "blue-red"), "door": "green-orange"},
            "Keyhole corner into green-red (front right) and blue-red (back right), "
            "through green-orange (front left): so; 1.25 s.",
        ),
        (
            {"plain": plain(1.5)},
            "Keyhole corner into green-red (front right): so; 1.25 s, 0.25 s less than plain.",
        ),
        (
            {"plain": plain(1.0, 0.25)},
            "Keyhole corner into green-red (front right): so; 1.25 s, 0.50 s more than plain.",
        ),
        (  # less than a twentieth of a second is not told
            {"plain": plain(1.28)},
            "Keyhole corner into green-red (front right): so; 1.25 s.",
        ),
        (
            {"plain": plain(2.0), "technique": "plain", "title": "Plain"},
            "Plain into green-red (front right): so; 1.25 s.",
        ),
    ],
)
def test_one_sentence_says_what_where_why_and_how_long(changed: dict[str, Any], said: str) -> None:
    assert sentence(row(**changed), "so") == said
    assert sentence(row(**changed), "so", "leaves all well") == said[:-1] + "; leaves all well."


def test_a_cross_and_a_repair_have_sentences_of_their_own() -> None:
    assert cross_sentence(row(turns=1)) == "Cross, green front: 1.25 s, 1 turn."
    assert cross_sentence(row(), "white") == "White cross, green front: 1.25 s, 5 turns."
    one = "green-red (front right) is out: 5 turns bring all four in."
    assert repair_sentence(row()) == one
    two = row(slots=("green-red", "blue-red"), turns=1)
    said = "green-red (front right) and blue-red (back right) are out: 1 turn brings all four in."
    assert repair_sentence(two) == said


def test_a_hint_is_told_in_clues() -> None:
    two = row(slots=("green-red", "blue-red"))
    assert where_sentence(row(slots=())) == "There is something for the cross."
    where = "green-red (front right) and blue-red (back right)"
    assert where_sentence(two) == f"There is something: look at {where} and its pieces."
    assert what_sentence(two) == f"Keyhole corner into {where}, green front. Which moves?"
    assert what_sentence(row(slots=())) == "Keyhole corner, green front. Which moves?"


def test_a_hint_is_spoken_in_few_words() -> None:
    assert spoken_words(row(), SCRAMBLE_HOLDING) == "front right, keyhole corner"
    assert spoken_words(row(), TURNED) == "green red, keyhole corner"
    assert spoken_place(row(), None) == "green red"
    assert spoken_words(row(slots=(), title="Cross"), SCRAMBLE_HOLDING) == "Cross"
    two = row(slots=("green-red", "blue-red"))
    assert spoken_words(two, SCRAMBLE_HOLDING) == "front right, keyhole corner"


def test_a_plan_tells_what_its_first_step_leaves() -> None:
    def line(technique: str, ms: int, steps: int = 2) -> Any:
        task = SimpleNamespace(tied=technique == "made-pair")
        chance = SimpleNamespace(technique=technique, slots=(1,), task=task)
        step = SimpleNamespace(chance=chance, way=SimpleNamespace(ms=ms))
        before = SimpleNamespace(
            chance=SimpleNamespace(technique="made-pair", slots=(0,)), way=SimpleNamespace(ms=1)
        )
        return SimpleNamespace(steps=(before, step)[:steps])

    slot = YELLOW_DOWN.slot_name(1)
    assert plan_words(YELLOW_DOWN, line("made-pair", 900)) == f"leaves {slot} made"
    assert plan_words(YELLOW_DOWN, line("plain", 600)) == f"leaves {slot} in 0.60 s"
    assert plan_words(YELLOW_DOWN, line("plain", 601)) == ""
    assert plan_words(YELLOW_DOWN, line("plain", 600, steps=1)) == ""


@pytest.mark.parametrize(
    ("kept", "pairs", "said"),
    [
        (3, 0, []),
        (4, 0, ["keeps 4 upper-layer pieces"]),
        (4, 1, ["keeps a made pair"]),
        (0, 2, ["keeps a made pair"]),
    ],
)
def test_a_quiet_top_is_worth_a_word_from_four_pieces_on(
    kept: int, pairs: int, said: list[str]
) -> None:
    its = row(technique="plain", top_kept=kept, pairs_kept=pairs)
    case = Case(YELLOW_DOWN, (0,), its, Level.CALM, Level.CALM)
    assert [note.text for note in apply_rules(case)] == said


@pytest.mark.parametrize("needed", list(Level))
@pytest.mark.parametrize("level", list(Level))
def test_what_is_above_the_solvers_level_is_silenced(needed: Level, level: Level) -> None:
    case = Case(YELLOW_DOWN, (0,), row(technique="plain"), needed, level)
    notes = apply_rules(case)
    assert [note.silences for note in notes] == [True] * (needed > level)
    assert all(needed.name.lower() in note.text for note in notes)


def test_pairs_of_two_slots_do_not_stand_before_the_eyes_unless_they_are_made() -> None:
    assert before_the_eyes(YELLOW_DOWN, row(technique="made-pair", slots=("a", "b"), turns=9))
    assert not before_the_eyes(YELLOW_DOWN, row(slots=("green-red", "blue-red"), turns=3))
    assert not before_the_eyes(YELLOW_DOWN, row(turns=4))


# The closed list of words


DROPPED: Final = {
    r"half below|tenths? below": "median",
    r"\bveiled\b": "medium",
    r"--degrees|by degrees|degree of (a|the) hint": "clues",
    r"upper pieces stay|stays joined": "keeps",
    r"\b1 (quarter )?turns\b": "1 turn",
    r"closing turns?(?! \(AUF)": "closing turn (AUF)",
    r"as many as plain": "",
}
"""Patterns of dropped words, with their replacements."""
ROOT: Final = Path(__file__).parent.parent


def _told_by_code() -> Iterator[tuple[str, str]]:
    """Every string with a blank in the package, except docstrings."""
    for file in sorted((ROOT / "livecube").rglob("*.py")):
        if file.name == "schema.py":
            continue  # it updates old words of the history
        nodes = [*ast.walk(ast.parse(file.read_text(encoding="utf-8")))]
        docs = {id(node.value) for node in nodes if isinstance(node, ast.Expr)}
        for node in nodes:
            if not isinstance(node, ast.Constant) or id(node) in docs:
                continue
            if isinstance(node.value, str) and " " in node.value:
                yield f"{file.name}:{node.lineno}", node.value


def _told_by_help(command: click.Command, name: str) -> Iterator[tuple[str, str]]:
    with click.Context(command, info_name=name, terminal_width=1000) as context:
        yield name, command.get_help(context)
    if isinstance(command, click.Group):
        for one in command.list_commands(click.Context(command)):
            below = command.get_command(click.Context(command), one)
            assert below is not None
            yield from _told_by_help(below, f"{name} {one}")


def _told_by_pages() -> Iterator[tuple[str, str]]:
    for page in (ROOT / "README.md", *(ROOT / "livecube/guide").glob("*.md")):
        yield page.name, page.read_text(encoding="utf-8")


@pytest.mark.thorough
def test_words_that_were_dropped_are_read_nowhere() -> None:
    told = [
        *_told_by_code(),
        *(told for name, one in commands() for told in _told_by_help(one, name)),
        *_told_by_pages(),
    ]
    assert len(told) > 1500
    found = [
        (where, match[0])
        for where, text in told
        for pattern in DROPPED
        if (match := re.search(pattern, text))
    ]
    assert found == []
