"""Demonstrations: what each step shows is so on the cube, on a terminal and on a page."""

from __future__ import annotations

from asyncio import run as run_loop
from typing import TYPE_CHECKING

import numpy as np
import pytest
from browser import MISSING, sized
from command import started
from hypothesis import given
from hypothesis import strategies as st
from test_widths import wrong_on

from livecube.composition.showing import ShowPart
from livecube.cube.code import parse_position, position_code
from livecube.cube.holding import HOLDINGS, Holding, Move, fixed_turns
from livecube.cube.notation import parse_moves
from livecube.cube.position import SOLVED, apply_turns, inverse_turn, inverse_turns
from livecube.edges.sinks import Board
from livecube.events import Turn
from livecube.lessons.step_page import step_page
from livecube.lessons.step_screen import StepScreen
from livecube.lessons.steps import Demonstration, demonstrated
from livecube.views.picture import held_letters

if TYPE_CHECKING:
    from collections.abc import AsyncGenerator, Iterable
    from pathlib import Path

    from selenium.webdriver import Chrome

    from livecube.events import CubeEvent

CODE = "3KYP-SG2S-WBJX-U8TB"
YELLOW_UP = Holding.of(5, 1)
SHOWN = ("U R U R' U2 R U R'", "blue-orange")

SYMBOLS = [*"UDLRFBMESxyz", *(f"{face}w" for face in "UDLRFB")]
moves = st.lists(
    st.builds(Move, st.sampled_from(SYMBOLS), st.integers(1, 3)), min_size=1, max_size=12
)


def of_the_advised_way() -> Demonstration:
    position, _ = parse_position(CODE)
    return demonstrated(position, 0, YELLOW_UP, parse_moves(SHOWN[0]))


@given(moves, st.sampled_from(HOLDINGS), st.integers(0, 5))
def test_each_step_is_what_the_moves_lead_to(made: list[Move], holding: Holding, face: int) -> None:
    turns, _ = fixed_turns(made, holding)
    # The moves lead home, so that all slots that they touch are filled in the end.
    begun = apply_turns(SOLVED, inverse_turns(turns))
    shown = demonstrated(begun, face, holding, made)
    assert shown.steps[-1].position == bytes(SOLVED.tolist())
    for number, step in enumerate(shown.steps):
        if number:
            before = np.frombuffer(shown.steps[number - 1].position, dtype=np.uint8)
            assert apply_turns(before, shown.turns(number)).tobytes() == step.position
        assert len(step.marked) == 5 * len(shown.slots)
    assert shown.steps[0].words or not shown.slots


def test_the_marked_stickers_are_those_of_the_pair_in_every_step() -> None:
    shown = of_the_advised_way()
    assert shown.slots == (SHOWN[1],)
    for step in shown.steps:
        letters = held_letters(np.frombuffer(step.position, dtype=np.uint8), step.holding)
        assert sorted(letters[one] for one in step.marked) == ["B", "B", "L", "L", "U"]
    assert shown.steps[-1].words == "corner home; edge home"


def stepped(events: Iterable[CubeEvent]) -> list[int]:
    """The step after each event of a cube."""
    board, steps = Board(StepScreen(of_the_advised_way())), list[int]()

    async def all_of_them() -> AsyncGenerator[CubeEvent, None]:
        for event in events:
            yield event
            steps.append(board.shown.number)

    run_loop(ShowPart(board).follow(all_of_them()))
    return steps


def test_a_cube_steps_on_and_back_and_other_turns_do_nothing() -> None:
    shown = of_the_advised_way()
    turns = [turn for number in range(1, 9) for turn in shown.turns(number)]
    on = [Turn(0.1 * number, turn) for number, turn in enumerate(turns)]
    assert stepped(on) == [*range(1, 9)]
    back = [Turn(2 + event.t, inverse_turn(event.turn)) for event in reversed(on)]
    assert stepped([*on, *back]) == [*range(1, 9), *reversed(range(8))]
    other = next(turn for turn in range(18) if turn // 3 != turns[0] // 3)
    assert stepped([Turn(0.0, other), *on[:2]]) == [0, 1, 2]


@pytest.mark.thorough
def test_each_step_fits_a_terminal_of_every_size() -> None:
    moves_shown = parse_moves("(R U2 R' U' R U' R') y (L' U2 L U L' U L) (R U2 R' U' R U' R')")
    shown = demonstrated(apply_turns(SOLVED, [4, 0, 10, 7]), 0, YELLOW_UP, moves_shown)
    for number in range(len(shown.steps)):
        assert not wrong_on(StepScreen(shown, number, keys=True), "b: back")


def test_all_steps_are_printed_where_there_is_no_screen() -> None:
    done = started("show", CODE)
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith(f"{SHOWN[0]} into {SHOWN[1]}, white cross\n")
    assert done.stdout.count("[") == 9 * 5
    assert done.stdout.count("held with yellow up, orange front") == 9
    given_moves = started("show", CODE, SHOWN[0], "--up", "yellow", "--front", "orange")
    assert given_moves.stdout == done.stdout


def test_without_moves_to_show_a_sentence_says_so() -> None:
    done = started("show", CODE, " ")
    assert done.returncode == 2
    assert "nothing to show" in done.stderr


@pytest.mark.thorough
@pytest.mark.skipif(bool(MISSING), reason=MISSING)
def test_the_page_is_stepped_through_without_a_script(tmp_path: Path, driver: Chrome) -> None:
    from selenium.webdriver.common.by import By
    from selenium.webdriver.common.keys import Keys

    file = tmp_path / "page.html"
    position, _ = parse_position(CODE)
    file.write_text(step_page(of_the_advised_way(), position_code(position)), encoding="utf-8")
    sized(driver, 390, 844)
    driver.get(file.as_uri())

    def seen() -> list[str]:
        sections = driver.find_elements(By.CSS_SELECTOR, ".walk > section")
        return [one.text.split("\n")[0] for one in sections if one.is_displayed()]

    assert seen() == ["start"]
    driver.find_element(By.ID, "step-0").send_keys(Keys.ARROW_RIGHT)
    assert seen() == ["1. U"]
    driver.find_element(By.CSS_SELECTOR, "label[for=step-2]").click()
    assert seen() == ["2. R"]
    wide = "return document.body.scrollWidth - document.documentElement.clientWidth"
    assert driver.execute_script(wide) <= 0
    assert not driver.find_elements(By.TAG_NAME, "script")
