"""Codes of positions: they say what they should, and every slip in one is noticed."""

from __future__ import annotations

import json
import sys
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from code_check import CHARACTERS, slips
from command import started
from hypothesis import given
from hypothesis import strategies as st

from livecube.cube.code import parse_code, parse_position, position_code, spelled_code
from livecube.cube.holding import HOLDINGS, Holding
from livecube.cube.notation import facelets_text, parse_turns
from livecube.cube.position import SOLVED, apply_turns, inverse_turns, turns_text
from livecube.errors import NotationError, PositionError

if TYPE_CHECKING:
    from pathlib import Path

MADE = "R D L2 R F U' L R2 D' R B' U' L U2 B2 U D2 L' F U' F2 B' U' F' D' R F2 U2 R2"

turns = st.lists(st.integers(0, 17), max_size=40)
holdings = st.sampled_from([None, *HOLDINGS])


@given(turns, holdings)
def test_a_position_comes_back_from_its_code_however_it_is_written(
    made: list[int], holding: Holding | None
) -> None:
    position = apply_turns(SOLVED, made)
    code = position_code(position, holding)
    for text in (code, code.lower(), code.replace("-", " "), spelled_code(code), f" {code}\n"):
        found, held = parse_code(text)
        assert (found == position).all()
        assert held == holding


def test_every_wrong_character_and_every_exchange_is_noticed() -> None:
    for number, holding in enumerate((None, HOLDINGS[7], HOLDINGS[23])):
        code = position_code(apply_turns(SOLVED, range(3 * number, 15)), holding)
        for slip in slips(code):
            with pytest.raises(PositionError, match="wrong, or two are exchanged"):
                parse_code(slip)


def test_codes_have_no_characters_that_look_alike() -> None:
    assert not {*"01ILO"} & {*CHARACTERS}
    assert len(CHARACTERS) == 31


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("2222-2222-2222-22T", "has 15"),
        ("2222-2222-2222-22T0", "there is no '0'"),
        ("ZZZZ-ZZZZ-ZZZZ-ZZZZ", "wrong, or two"),
        ("", "0"),
    ],
)
def test_what_is_no_code_is_refused_with_a_reason(text: str, said: str) -> None:
    with pytest.raises(PositionError, match=said):
        parse_code(text)


def test_a_position_may_be_given_as_turns_facelets_or_code() -> None:
    position, _ = parse_position(MADE)
    code = position_code(position, HOLDINGS[3])
    for text in (code, code.replace("-", ""), spelled_code(code)):
        found, held = parse_position(text)
        assert (found == position).all()
        assert held == HOLDINGS[3]
    assert (parse_position(facelets_text(position))[0] == position).all()
    with pytest.raises(NotationError):
        parse_position("R Q")


@given(turns)
def test_turns_are_never_taken_for_a_code(made: list[int]) -> None:
    for text in (turns_text(made), turns_text(made).replace(" ", "")):
        assert (parse_position(text)[0] == apply_turns(SOLVED, made)).all()


@pytest.mark.thorough
def test_a_code_that_the_voice_reads_aloud_is_the_same_when_it_is_typed(tmp_path: Path) -> None:
    heard, program = tmp_path / "heard", tmp_path / "espeak-ng"
    program.write_text(
        f"#!{sys.executable}\nimport sys\nopen({str(heard)!r}, 'w').write(sys.stdin.read())\n"
    )
    program.chmod(0o755)
    code = position_code(apply_turns(SOLVED, parse_turns("R U' F2 D")), HOLDINGS[9])
    done = started("hints", code, "--json", "--voice", PATH=str(tmp_path))
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["code"] == code
    words = heard.read_text(encoding="utf-8")
    assert not {*words} & {*"-0123456789"}
    assert json.loads(started("hints", words, "--json").stdout)["code"] == code


def test_every_command_with_a_position_takes_a_code_and_tells_it() -> None:
    position = apply_turns(SOLVED, parse_turns("R U' R' F2"))
    code = position_code(position)
    (scramble,) = json_of("scramble", code, "--json")
    assert (apply_turns(SOLVED, parse_turns(scramble["scramble"])) == position).all()
    assert scramble["code"] == code
    assert json_of("inspect", code, "--json")[0]["code"] == code
    back = turns_text(inverse_turns(parse_turns("R U' R' F2")))
    typed = ("live", "--typed", "--no-hints", "--no-history", "--json", "--scramble")
    by_code, by_turns = (
        [
            one
            for one in json_of(*typed, start, text=back + "\n")
            if one["event"] in ("solve", "turn")
        ]
        for start in (code, "R U' R' F2")
    )
    assert by_code[-1]["solved"]
    assert [{**one, "t": 0} for one in by_code[:-1]] == [{**one, "t": 0} for one in by_turns[:-1]]


def json_of(*arguments: str, text: str = "") -> list[Any]:
    done = started(*arguments, text=text)
    assert done.returncode == 0, done.stderr
    return [json.loads(line) for line in done.stdout.splitlines()]


@pytest.mark.thorough
def test_a_position_that_is_brought_is_tried_and_compared() -> None:
    position, _ = parse_position(MADE)
    code = position_code(position)
    done = started("bring", code, "--simulated", "--speed", "1000", "--tries", "1")
    assert done.returncode == 0, done.stderr
    title, *_, tried = done.stdout.splitlines()
    assert title == f"position {code}, white cross"
    assert "plain into blue-orange, 8 turns in 1.5" in tried
    assert "(predicted): plain into blue-orange 0.89 + 0.12; keyhole-corner into" in tried
    # Whoever tries is not told the way before.
    assert "into" not in "".join(done.stdout.splitlines()[:-1])


def test_a_position_without_a_pair_to_do_is_refused() -> None:
    done = started("bring", position_code(np.array(SOLVED)), "--simulated")
    assert done.returncode == 2
    assert "no pair to do" in done.stderr
