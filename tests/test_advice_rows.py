"""Every row of the advice is correct, on a part of the positions of ``advice_check.py``.

The lists of every fourth position are compared as a whole with the referee's slow search: all that
are within its limits (``referee.LIMITS``), from every source.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import islice
from typing import TYPE_CHECKING, Final

import pytest
from advice_check import YARDSTICK, Figures, Told, check, row_differences
from advice_positions import SOURCES, cases
from advising import advisor_at
from examples import thorough
from hands_cube import played_in_hands, turns_in
from referee_cube import View
from technique_comparison import COMPARED

from livecube.cube.notation import parse_moves
from livecube.edges.automaton_file import load_hands

if TYPE_CHECKING:
    from livecube.advice.advisor import Advisor

POSITIONS: Final = 27
STEP: Final = 7
"""Every seventh case of a draw, which was chosen so that these few come upon all that is asserted
below. Their sources, cross colours and given holdings take turns, and the last is in inspection."""
WHOLE: Final = 4
RARE: Final = "keyhole-flip"
"""There are some among 600 positions, which ``advice_check.py`` goes through."""


@pytest.fixture(scope="module")
def advisor() -> Advisor:

    return advisor_at()


@pytest.mark.parametrize("positions", [POSITIONS // 3, thorough(POSITIONS)])
def test_rows_do_what_they_say(advisor: Advisor, positions: int) -> None:
    figures = Figures()
    for number, case in enumerate(islice(cases("t"), 0, STEP * positions, STEP)):
        check(advisor, case, figures, whole=number % WHOLE == 0)
    print("", *figures.lines(), sep="\n")
    assert not figures.wrong, "\n".join(figures.wrong[:10])
    assert figures.compared.total() >= 2 * positions - 4
    assert set(figures.offsets) >= {None, 0, 2, 3}
    if positions < POSITIONS:
        return
    assert set(figures.sources) == set(SOURCES)
    assert set(figures.offsets) == {None, 0, 1, 2, 3}
    assert set(figures.crosses) == set("ULFRBD")
    usual = {*COMPARED} - {RARE}
    assert {name for name, what in figures.rows if what == "shortest"} >= usual
    assert {name for name, what in figures.rows if what == "fastest"} >= usual - {YARDSTICK}


# Worked out by hand: R' and R leave the front and left edge of the upper layer and the corner
# between them alone, so these three are kept up to the turn between; the others are not.
TAKEN_OUT: Final = View.after("R U R'", "D")
ROW: Final = Told(
    "plain", ("green-red",), ("R", "U'", "R'"), "R U' R'", "white", "green", 3, 3, 0, 3, 320
)


@pytest.mark.parametrize(
    ("moves", "front"), [("R U' R'", "green"), ("y F U' F'", "green"), ("F U' F'", "red")]
)
def test_a_true_row_is_accepted(moves: str, front: str) -> None:
    ms = load_hands().sequence_ms(parse_moves(moves))
    assert not list(row_differences(TAKEN_OUT, replace(ROW, moves=moves, front=front, ms=ms)))


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"turns": ("R", "U", "R'")}, "does not solve"),
        ({"moves": "R U R'"}, "is another sequence"),
        ({"front": "red"}, "is another sequence"),
        ({"count": 4}, "does not have 4 turns"),
        ({"turns": ("R", "U", "U2", "R'"), "count": 4}, "does not have 4 turns"),
        ({"technique": "keyhole-corner"}, "constraint"),
        ({"top_kept": 5}, "upper-layer pieces"),
        ({"pairs_kept": 1}, "made pairs"),
        ({"ms": 319}, "takes 320 ms"),
    ],
)
def test_an_untrue_row_is_seen(changed: dict[str, object], said: str) -> None:
    row = replace(ROW, **changed)  # type: ignore[arg-type]
    assert any(said in text for text in row_differences(TAKEN_OUT, row))


# Common practice, no published source: Rw is L and x, M follows L, y turns as U does.
@pytest.mark.parametrize(
    ("moves", "up", "front", "fixed"),
    [
        ("R U R'", "white", "green", "R U R'"),
        ("Rw U", "white", "green", "L F"),
        ("M'", "white", "green", "L R'"),
        ("y R", "white", "green", "B"),
        ("Uw R", "white", "green", "D B"),
        ("R", "yellow", "green", "L"),
        ("F2 x2 z' U", "red", "blue", "B2 U"),
    ],
)
def test_moves_in_the_hands(moves: str, up: str, front: str, fixed: str) -> None:
    where = View.after("F D2 L'", "D").where
    assert played_in_hands(where, moves, up, front) == View.played(where, fixed.split())
    assert turns_in("R U2 M' y Rw") == 5
