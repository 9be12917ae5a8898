"""A model of the hands as a file: what is accepted, what is refused, and that it changes advice."""

from __future__ import annotations

import json
import tomllib
from typing import TYPE_CHECKING, Any

import jsonschema
import pytest
from changed_tables import changed_table
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st
from livecube.edges.hands_file import (
    default_hands,
    default_hands_text,
    hands_schema_text,
    load_hands,
)
from livecube.hands.model import parse_hands

from livecube.cli.hands import hands
from livecube.cube.holding import Move
from livecube.errors import UsageError

if TYPE_CHECKING:
    from pathlib import Path

DEFAULT: dict[str, Any] = tomllib.loads(default_hands_text())
SCHEMA: dict[str, Any] = json.loads(hands_schema_text())
VALIDATOR = jsonschema.Draft202012Validator(SCHEMA)

values = st.recursive(
    st.one_of(
        st.booleans(),
        st.integers(),
        st.sampled_from([-0.06, -0.05, 0, 0.0009, 0.001, 1, 10, 10.001, 10**400]),
        st.floats(-1, 11, allow_nan=False),
        st.text(max_size=4),
    ),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=3), inner),
    max_leaves=4,
)
names = st.sampled_from(["U", "R", "y", "M", "R U", "x U", "R  U", "R U\n", "RU", "follow", "wdie"])


@st.composite
def tables(draw: st.DrawFn) -> dict[str, Any]:
    """The usual table with a few entries changed, removed or added."""
    return changed_table(draw, DEFAULT, values, names)


def accepted(table: dict[str, Any]) -> bool:
    try:
        parse_hands(table, "mine.toml")
    except UsageError as error:
        return not str(error).startswith("mine.toml: ")  # the message names the file
    return True


@settings(max_examples=150)
@given(tables())
def test_the_schema_and_the_parser_agree(table: dict[str, Any]) -> None:
    assert accepted(table) == VALIDATOR.is_valid(table)


def test_the_schema_is_one_and_the_usual_hands_follow_it() -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    assert VALIDATOR.is_valid(DEFAULT)
    assert accepted(DEFAULT)


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        ("U = [0.10, 0.15, 0.10]", "U = [0.10, 0.15]", "[turn] U must be three numbers"),
        ("U = [0.10, 0.15, 0.10]", "", "[turn] U must be three numbers"),
        ("U = [0.10, 0.15, 0.10]", "U = [0.10, nan, 0.10]", "[turn] U: nan is not between"),
        ("U = [0.10, 0.15, 0.10]", "U = [0.10, '2', 0.10]", "[turn] U: '2' is not a number"),
        ("U = [0.10, 0.15, 0.10]", "u = [0.10, 0.15, 0.10]", "[turn] 'u' is unknown"),
        ("[wide]", "[wdie]", "'wdie' is unknown; the sections are [turn]"),
        ('"R U" = -0.01', '"R U" = -0.5', "[follow] 'R U': -0.5 is not between"),
        ('"R U" = -0.01', '"RU" = -0.01', "[follow] 'RU' must be two faces"),
        ("[turn]", "[turn", "is not TOML"),
    ],
)
def test_a_wrong_file_is_refused_with_file_and_entry(
    tmp_path: Path, before: str, after: str, said: str
) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(default_hands_text().replace(before, after, 1), encoding="utf-8")
    with pytest.raises(UsageError) as refused:
        load_hands(path)
    assert str(path) in str(refused.value)
    assert said in str(refused.value)


def test_a_copy_of_what_the_command_prints_is_read_back_the_same(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(CliRunner().invoke(hands).output, encoding="utf-8")
    assert load_hands(path) == default_hands()
    text = default_hands_text().replace("D = [0.16,", "D = [1.5,", 1)
    path.write_text(text, encoding="utf-8")
    assert load_hands(path).seconds([Move("D", 1)]) == 1.5
    assert json.loads(CliRunner().invoke(hands, ["--schema"]).output) == SCHEMA


@pytest.mark.usefixtures("tables")
def test_other_hands_are_advised_otherwise(tmp_path: Path) -> None:
    from livecube.cli.hints import hints

    path = tmp_path / "slow-d.toml"
    slow = default_hands_text().replace("D = [0.16, 0.24, 0.16]", "D = [3, 3, 3]", 1)
    path.write_text(slow, encoding="utf-8")
    moves = "R D L2 R F U' L R2 D' R B' U' L U2 B2 U D2 L' F U' F2 B' U' F' D' R F2 U2 R2"
    rows = []
    for more in ([], ["--hands", str(path)]):
        done = CliRunner().invoke(hints, [moves, "--json", *more])
        assert done.exit_code == 0, done.output
        rows.append(json.loads(done.output)["opportunities"][0])
    assert "D" in rows[0]["moves"].split()
    assert "D" not in rows[1]["moves"].split()
