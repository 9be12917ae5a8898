"""Explanations, their computed examples, and the words for where pieces are."""

from __future__ import annotations

from functools import cache
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import pytest
from advising import advisor_at
from command import started
from examples import thorough

from livecube.advice import examples
from livecube.advice.examples import _most
from livecube.advice.pieces import slot_words
from livecube.composition.assembly import find_technique
from livecube.cube.geometry import FACES
from livecube.cube.holding import HOLDINGS, Holding, fixed_turns, parse_colour
from livecube.cube.notation import parse_moves, parse_turns
from livecube.cube.position import SOLVED, apply_turns
from livecube.errors import UsageError
from livecube.search.situation import Situation
from livecube.techniques.base import about
from livecube.techniques.registry import TECHNIQUES

if TYPE_CHECKING:
    import subprocess
    from collections.abc import Iterable, Sequence

    from livecube.advice.advisor import Advisor
    from livecube.advice.examples import Example
    from livecube.techniques.base import Technique

IDS = [technique.id for technique in TECHNIQUES]


@pytest.fixture(scope="module")
def advisor() -> Advisor:

    return advisor_at()


def quick_ones(techniques: Iterable[str]) -> list[Any]:
    """The suite leaves out some, whose examples take longer to find than all others."""
    slow = ("shortest", "keyhole-chain", "x-cross", "pseudo-x-cross")
    return [thorough(one) if one in slow else one for one in techniques]


@cache
def example_of(technique: str) -> Example:
    from livecube.advice.examples import find_example

    found = find_example(advisor_at(), find_technique(technique))
    assert found is not None
    return found


def printed(*arguments: str, columns: int = 120) -> subprocess.CompletedProcess[str]:
    return started("explain", *arguments, COLUMNS=str(columns))


# Words.


@pytest.mark.parametrize("technique", TECHNIQUES, ids=IDS)
def test_every_technique_has_a_line_and_two_paragraphs(technique: Technique) -> None:
    words = about(technique)
    assert words.title.lower().replace(" ", "-") == technique.id
    assert 0 < len(words.summary) <= 63
    for paragraph in (words.seeing, words.paying):
        assert 300 < len(paragraph) < 750
        assert "\n" not in paragraph
        assert "  " not in paragraph
        assert paragraph.endswith(".")


def test_an_unknown_technique_is_an_error_that_names_the_known_ones() -> None:
    with pytest.raises(UsageError, match=r"'keyhole'; known: .*keyhole-corner, keyhole-edge"):
        find_technique("keyhole")


HELD = Holding.of(parse_colour("white"), parse_colour("green"))
"""The cross down is yellow."""
CROSS_UP = Holding.of(parse_colour("yellow"), parse_colour("blue"))


@pytest.mark.parametrize(
    ("turns", "slot", "holding", "words"),
    [
        ("", "green-red", HELD, "corner home, edge home"),
        ("D", "green-red", HELD, "corner home, edge home"),
        ("R U R'", "blue-red", HELD, "corner home, edge home"),
        (
            "R U R'", "green-red", HELD,
            "corner up front left (yellow facing left), edge up front (green facing up), joined",
        ),
        (
            "R U R'", "green-red", CROSS_UP,
            "corner down back left (yellow facing left), edge down back (green facing down),"
            " joined",
        ),
        (
            "R U R' F", "green-red", HELD,
            "corner up front right (yellow facing up), edge front right (red facing front)",
        ),
        (
            "R U R' U' R U R' U'", "green-red", HELD,
            "corner in its slot (yellow facing front), edge up back (green facing up)",
        ),
        (
            "R", "blue-red", HELD,
            "corner down front right (yellow facing front), edge down right (blue facing down)",
        ),
    ],
)  # fmt: skip
def test_words_where_the_answer_can_be_seen(
    turns: str, slot: str, holding: Holding, words: str
) -> None:
    situation = Situation.of(apply_turns(SOLVED, parse_turns(turns)), parse_colour("yellow"))
    number = situation.slot_names(range(4)).index(slot)
    assert slot_words(situation, number, holding) == words


@pytest.mark.parametrize("quarters", range(4))
def test_a_flipped_edge_is_called_so_in_every_slot(quarters: int) -> None:
    held = HOLDINGS[0]
    for move in parse_moves("y " * quarters):
        held = held.after(move)
    turns, _ = fixed_turns(parse_moves("R U R' U2 R U2 R' U F' U' F"), held)
    situation = Situation.of(apply_turns(SOLVED, turns), held.faces[5])
    words = [slot_words(situation, slot, held) for slot in range(4)]
    assert [one.split(", ")[1] for one in words if "edge home" not in one] == ["edge flipped"]


def test_a_flipped_edge_is_called_so() -> None:
    example = example_of("keyhole-flip")
    words = slot_words(example.situation, example.slots[0], example.holding)
    assert words == "corner home, edge flipped"


# Examples.


def after(example: Example, turns: Sequence[int]) -> Situation:
    return Situation.of(apply_turns(example.position, turns), FACES.index("U"))


@pytest.mark.parametrize("technique", quick_ones(IDS))
def test_the_sequences_of_an_example_do_what_they_say(advisor: Advisor, technique: str) -> None:
    example = example_of(technique)
    where = example.position, FACES.index("U"), example.holding
    rows = advisor.advise(*where, plans=False).opportunities
    assert example.sequences
    for sequence in example.sequences:
        assert sequence in rows
        assert sequence.technique == technique
        assert sequence.holding == example.holding
        assert tuple(fixed_turns(sequence.moves, example.holding)[0]) == sequence.turns_fixed
        end = after(example, sequence.turns_fixed)
        assert end.offset == 0
        wanted = example.situation.solved | sum(1 << slot for slot in example.slots)
        assert end.solved & wanted == wanted


@pytest.mark.parametrize("technique", quick_ones(IDS))
def test_the_plain_way_beside_it_solves_as_many_pairs(technique: str) -> None:
    example = example_of(technique)
    moves = [move for step in example.plainly for move in step.moves]
    turns = [turn for step in example.plainly for turn in step.turns_fixed]
    assert fixed_turns(moves, example.holding)[0] == turns
    end = after(example, turns)
    assert end.offset == 0
    assert end.solved & example.situation.solved == example.situation.solved
    pairs = end.solved.bit_count() - example.situation.solved.bit_count()
    assert pairs >= len(example.slots)
    if example.situation.offset == 0:
        assert all(end.solved >> slot & 1 for slot in example.slots)
        if len(example.slots) == 1:
            quickest = {row.plain and row.plain.seconds for row in example.sequences}
            assert quickest == {sum(step.seconds for step in example.plainly)}


@pytest.mark.parametrize(
    "technique",
    quick_ones(one for one in IDS if one not in ("plain", "made-pair", "keyhole-flip")),
)
def test_examples_show_what_a_technique_is_worth(technique: str) -> None:
    example = example_of(technique)
    plain = sum(len(step.turns_fixed) for step in example.plainly)
    assert example.sequences[0].turns <= plain
    seconds = sum(step.seconds for step in example.plainly)
    if technique != "shortest":
        assert example.sequences[0].seconds < seconds


def test_an_example_is_the_same_every_time(advisor: Advisor) -> None:
    from livecube.advice.examples import find_example

    for technique in TECHNIQUES[1:4]:
        again, known = find_example(advisor, technique), example_of(technique.id)
        assert again is not None
        assert again.position.tolist() == known.position.tolist()
        assert again.sequences == known.sequences
        assert again.plainly == known.plainly


@pytest.mark.parametrize("technique", ["shortest", "made-pair"])
def test_of_the_first_equally_ranked_setups_the_quickest_is_the_example(
    technique: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def candidate(name: str, turns: int, seconds: float) -> SimpleNamespace:
        row = SimpleNamespace(
            technique=technique, fastest=technique != "shortest", total=seconds, seconds=seconds,
            turns=turns, slots=("green-red",),
            traits=SimpleNamespace(is_yardstick=technique == "shortest", is_plain=False),
        )  # fmt: skip
        advice = SimpleNamespace(opportunities=[row])
        situation = Situation.of(SOLVED, FACES.index("U"))
        return SimpleNamespace(name=name, rank=(1, turns, 0), position=advice, situation=situation)

    candidates = [
        candidate("long", 8, 1.0), candidate("slow", 7, 3.0), candidate("quick", 7, 2.0),
        candidate("as quick", 7, 2.0), candidate("slower", 7, 2.5),
    ]  # fmt: skip
    advisor: Any = SimpleNamespace(engine=None, advise=lambda position, *_, **__: position)
    advisor.only = lambda _: advisor
    monkeypatch.setattr(examples, "_candidates", lambda *_: candidates)
    monkeypatch.setattr(examples, "_example", lambda _, chosen, __: chosen.name)
    found: Any = examples.find_example(advisor, find_technique(technique))
    assert found == "quick"


# The command.


@pytest.mark.parametrize("technique", quick_ones(IDS))
def test_what_is_shown_fits_80_columns_and_marks_the_pieces(technique: str) -> None:
    from rich.console import Console

    from livecube.views.explanation import explanation_lines

    console = Console(width=80, highlight=False, markup=False, no_color=True)
    with console.capture() as capture:
        for line in explanation_lines(find_technique(technique), example_of(technique)):
            console.print(line)
    shown = capture.get()
    assert "\x1b" not in shown
    assert max(map(len, shown.splitlines())) <= 80
    picture = [line for line in shown.splitlines() if "[" in line and "In brackets" not in line]
    assert sum(line.count("[") for line in picture) == 5 * len(example_of(technique).slots)


@pytest.mark.usefixtures("tables")
def test_explain_in_a_pipe_is_plain_text() -> None:
    done = printed("keyhole-corner")
    assert done.returncode == 0, done.stderr
    assert "\x1b" not in done.stdout
    assert max(map(len, done.stdout.splitlines())) <= 80
    assert done.stdout.startswith("Keyhole corner\n\n")
    assert done.stdout.count("no published source") == 1
    assert "edge: home" in done.stdout


def test_explain_alone_lists_the_techniques() -> None:
    done = printed(columns=80)
    assert done.returncode == 0, done.stderr
    assert [line.split()[0] for line in done.stdout.splitlines()] == IDS
    assert max(map(len, done.stdout.splitlines())) <= 80


def test_explain_of_something_unknown_ends_with_status_2() -> None:
    done = printed("keyhole")
    assert done.returncode == 2
    assert "known: shortest, plain" in done.stderr
    assert done.stdout == ""


def test_a_technique_without_an_example_is_still_explained() -> None:
    from livecube.views.explanation import explanation_lines

    lines = explanation_lines(find_technique("pseudo-pair"), None)
    assert lines[-1].plain == "There is no example in this version."


def test_of_the_candidates_in_inspection_only_three_are_judged() -> None:
    def most(*offsets: int | None) -> int:
        found: Any = [SimpleNamespace(situation=SimpleNamespace(offset=one)) for one in offsets]
        return _most(found)

    assert [most(), most(0, None), most(2), most(None, 0)] == [24, 24, 24, 3]
