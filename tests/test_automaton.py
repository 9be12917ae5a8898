"""The table of hands and eyes: sums of prices, left and right hands, files that are refused."""

from __future__ import annotations

import json
import tomllib
from dataclasses import replace
from itertools import pairwise
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import jsonschema
import numpy as np
import pytest
from changed_tables import changed_table
from click.testing import CliRunner
from examples import examples
from hypothesis import given
from hypothesis import strategies as st

from livecube.cli.hands import hands
from livecube.cube.holding import HOLDINGS, Move
from livecube.edges.automaton_file import (
    automaton_schema_text,
    load_features,
    load_hands,
    usual_hands_text,
)
from livecube.edges.cache import load_bounds
from livecube.errors import UsageError
from livecube.hands.automaton import MOVES, NEVER, Automaton, looking_ms
from livecube.hands.features import _tokens, parse_features
from livecube.search.book import usual_cross

if TYPE_CHECKING:
    from pathlib import Path

USUAL: dict[str, Any] = tomllib.loads(usual_hands_text())
SCHEMA: dict[str, Any] = json.loads(automaton_schema_text())
VALIDATOR = jsonschema.Draft202012Validator(SCHEMA)
RIGHT, LEFT = load_hands("right"), load_hands("left")
PRINTED: dict[str, Any] = json.loads(CliRunner().invoke(hands, ["--table", "--json"]).output)
NUMBER = {str(move): number for number, move in enumerate(MOVES)}
ROTATIONS = [Move(axis, quarters) for axis in "xyz" for quarters in (1, 2, 3)]
MIRROR = str.maketrans("LR", "RL")

sequences = st.lists(st.sampled_from([*MOVES, *MOVES[:18], *ROTATIONS]), max_size=12)
values = st.one_of(
    st.booleans(),
    st.sampled_from([-0.2, -0.1, 0, 0.0009, 0.001, 1, 10, 10.001, 10**400]),
    st.floats(-1, 11, allow_nan=False),
    st.text(max_size=4),
    st.lists(st.sampled_from(["UFR", "FU", 0.1]), max_size=3),
    st.dictionaries(st.sampled_from(["moves", "extra"]), st.just(0.1)),
    st.sampled_from(
        ["R F", "R F'\n", "U* R2", "R D F", "start Rw", "R start", "R  U", "R U* rotated"]
    ),
)
names = st.sampled_from(["U", "y", "behind", "only", "plain", "wdie", "base"])


def mirrored(move: Move) -> Move:
    """The move as seen in a mirror beside the cube."""
    symbol = move.symbol.translate(MIRROR)
    return move if symbol == "x" else Move(symbol, 4 - move.quarters)


def table_ms(table: dict[str, Any], moves: list[Move]) -> int:
    """The price of a sequence by the printed table alone; rotations one at a time."""
    state, total = table["start"], 0
    for move in moves:
        if move.is_rotation:
            total += round(1000 * table["rotations"][str(move)])
            state = table["rotated"]
            continue
        number = table["moves"].index(str(move))
        seconds = table["seconds"][state][number]
        if seconds is None:
            return NEVER
        total, state = total + round(1000 * seconds), table["next"][state][number]
    return total


@given(sequences)
def test_mirrored_sequences_cost_the_other_hand_the_same(moves: list[Move]) -> None:
    assert RIGHT.sequence_ms(moves) == LEFT.sequence_ms([mirrored(move) for move in moves])


def test_the_hands_differ() -> None:
    """If they did not, the property above would hold for hands that are never mirrored."""
    assert not np.array_equal(RIGHT.seconds_ms, LEFT.seconds_ms)
    assert not np.array_equal(RIGHT.looking.corner_ms, LEFT.looking.corner_ms)
    assert load_features("left").mirrored() == load_features("right")


def test_in_the_mirror_only_rotations_about_x_keep_their_direction() -> None:
    uneven = replace(load_features("right"), rotation=dict.fromkeys("xyz", (1, 2, 3)))
    assert uneven.mirrored().rotation == {"x": (1, 2, 3), "y": (3, 2, 1), "z": (3, 2, 1)}


@given(sequences)
def test_the_printed_table_is_all_there_is_to_a_price(moves: list[Move]) -> None:
    one_by_one = table_ms(PRINTED, moves)
    assert RIGHT.sequence_ms(moves) <= one_by_one
    alone = all(not (a.is_rotation and b.is_rotation) for a, b in pairwise(moves))
    if alone:
        assert RIGHT.sequence_ms(moves) == one_by_one


def test_a_face_never_turns_twice_in_a_row_nor_two_wide_turns_of_one_axis() -> None:
    axis = {
        face: name for name, faces in {"x": "RL", "y": "UD", "z": "FB"}.items() for face in faces
    }
    for before in MOVES:
        for move in MOVES:
            a, b = before.symbol, move.symbol
            wides = a.endswith("w") and b.endswith("w") and axis[a[0]] == axis[b[0]]
            never = a[0] == b[0] or wides
            assert (RIGHT.sequence_ms([before, move]) >= NEVER) == never, f"{before} {move}"


def test_every_state_can_be_reached_and_none_leads_astray() -> None:
    states = len(RIGHT.state_names)
    assert states == len(set(RIGHT.state_names)) <= 200
    assert RIGHT.seconds_ms.shape == RIGHT.next.shape == (states, 36)
    assert ((RIGHT.next >= 0) == (RIGHT.seconds_ms < NEVER)).all()
    assert RIGHT.seconds_ms.min() >= 1
    reached, found = {RIGHT.start, RIGHT.rotated}, [RIGHT.start, RIGHT.rotated]
    for state in found:
        new = set(RIGHT.next[state].tolist()) - reached - {-1}
        reached |= new
        found += new
    assert len(reached) == states


def test_the_state_is_the_last_move_not_of_u_and_the_turn_of_u_behind_it() -> None:
    state = RIGHT.start
    for name, stands in [("U", "start U"), ("R'", "R'"), ("U2", "R' U2"), ("Uw", None)]:
        before, state = state, int(RIGHT.next[state, NUMBER[name]])
        assert state == -1 or RIGHT.state_names[state] == stands, name
        assert (state == -1) == (stands is None)
    assert RIGHT.state_names[RIGHT.next[before, NUMBER["Dw'"]]] == "Dw'"


def test_rotations_cost_the_cheapest_sum_and_lead_where_they_say() -> None:
    for start, holding in enumerate(HOLDINGS):
        for move in ROTATIONS:  # no single rotation is a shorter way on
            to = HOLDINGS.index(holding.after(move))
            price = round(1000 * PRINTED["rotations"][str(move)])
            assert (RIGHT.rotation_ms[:, to] <= RIGHT.rotation_ms[:, start] + price).all()
        for end in range(24):
            at = holding
            for move in RIGHT.rotation_moves[start][end]:
                at = at.after(move)
            assert at == HOLDINGS[end]
            assert RIGHT.rotation_ms[start, end] == sum(
                round(1000 * PRINTED["rotations"][str(move)])
                for move in RIGHT.rotation_moves[start][end]
            )


def test_looking_is_told_by_where_the_pieces_are_and_works_for_many_positions_at_once() -> None:
    eyes, ms = (
        USUAL["eyes"],
        {k: round(1000 * v) for k, v in USUAL["eyes"].items() if not isinstance(v, dict)},
    )
    ufr, ubl_edge_up, flipped_fr = 0, 3 * 2 + 1, 2 * 8 + 1
    corner, edge = (ufr, 0), (flipped_fr, 1)
    plain = ms["base"] + ms["corner"] + ms["edge"] + 2 * ms["in_sight"] + ms["stayed"] + ms["moved"]
    assert looking_ms(RIGHT.looking, "plain", [corner], [edge]) == plain
    extra = round(1000 * eyes["techniques"]["keyhole-corner"]) - ms["edge"] - ms["moved"]
    keyhole = plain + extra - ms["in_sight"] + ms["keyhole_corner_up"]
    assert looking_ms(RIGHT.looking, "keyhole-corner", [corner], corner_alone=True) == keyhole
    many = looking_ms(
        RIGHT.looking, "plain", [(np.array([ufr, ubl_edge_up]), np.array([0, 1]))], [edge]
    )
    assert many.tolist() == [
        plain,
        plain - ms["in_sight"] - ms["stayed"] + ms["behind"] + ms["moved"],
    ]
    assert json.loads(json.dumps(PRINTED["looking"])) == PRINTED["looking"]


@st.composite
def tables(draw: st.DrawFn) -> dict[str, Any]:
    """The usual table with a few entries changed, removed or added."""
    return changed_table(draw, USUAL, values, names)


def accepted(table: dict[str, Any]) -> bool:
    try:
        parse_features(table, "mine.toml")
    except UsageError as error:
        return not str(error).startswith("mine.toml: ")  # the message names the file
    return True


def each_place_once(table: dict[str, Any]) -> bool:
    listed = [place for places in table["eyes"]["places"].values() for place in places]
    return len(listed) == len(set(listed)) == 20


@examples(60)
@given(tables())
def test_the_schema_and_the_parser_agree(table: dict[str, Any]) -> None:
    """Except for places: a schema cannot say that each is listed once."""
    assert accepted(table) == (VALIDATOR.is_valid(table) and each_place_once(table))


def test_the_schema_is_one_and_the_usual_prices_follow_it() -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    assert VALIDATOR.is_valid(USUAL)


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        ("U = [0.10, 0.145, 0.10]", "U = [0.10, 0.145]", "[turn] U must be three numbers"),
        ("U = [0.10, 0.145, 0.10]", "", "[turn] U is missing"),
        ("U = [0.10, 0.145, 0.10]", "U = [0.10, nan, 0.10]", "[turn] U: nan is not between"),
        ("U = [0.10, 0.145, 0.10]", "u = [0.10, 0.16, 0.10]", "[turn]: 'u' is unknown"),
        ("[wide]", "[wdie]", "'wdie' is unknown; the sections are turn, wide"),
        ('"R* F*"', '"R*F*"', "behind, line 1: moves = 'R*F*' must be two moves"),
        ('"R* F*"', '"R* D F*"', "line 1: moves = 'R* D F*' must be two moves"),
        ('"R* F*", extra = 0.16', '"R* F*", extra = 20', "line 1: 20 is not between"),
        ('"R* F*", extra = 0.16', '"R* F*", extra = 0.16, only = 1', "only = 1 must be true"),
        ('"UFR", ', '"UFR", "UFR", ', "in_sight: UFR is listed twice"),
        ('"UFR", ', "", "UFR must be in one of the three lists"),
        ('"UFR", ', '"URF", ', "'URF' is not a place; they are UFR"),
        ("keyhole-flip", "keyhole-flop", "'keyhole-flop' is unknown; the techniques are"),
        ("U = [0.10, 0.145, 0.10]", "U = [0.001, 0.145, 0.10]", "U after"),
        ("behind = [", "before = [", "[hands]: 'before' is unknown; the entries are behind"),
        ("[turn]", "[turn", "is not TOML"),
    ],
)
def test_a_wrong_file_is_refused_with_file_and_entry(
    tmp_path: Path, before: str, after: str, said: str
) -> None:
    path = tmp_path / "mine.toml"
    text = usual_hands_text().replace(before, after, 1)
    assert text != usual_hands_text()
    text = (
        text.replace("behind = [\n", 'behind = [\n  { moves = "R U", extra = -0.05 },\n', 1)
        if said == "U after"
        else text
    )
    path.write_text(text, encoding="utf-8")
    with pytest.raises(UsageError) as refused:
        load_hands(path)
    assert str(path) in str(refused.value)
    assert said in str(refused.value)


def test_a_file_that_is_not_there_is_told_with_the_names_that_are(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"cannot be read.*give right, left or a file"):
        load_hands(tmp_path / "none.toml")


def test_a_copy_is_read_back_the_same_and_a_line_may_hold_for_one_hand_only(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(usual_hands_text(), encoding="utf-8")
    assert load_features(path) == load_features("right")
    line = (
        'behind = [{ moves = "B* D2", extra = 0.5, only = true }, { moves = "Rw* B", extra = 0.3 },'
    )
    path.write_text(usual_hands_text().replace("behind = [\n", line, 1), encoding="utf-8")
    mine = load_hands(path)
    for first, second, extra in [
        ("B", "D2", 500),
        ("Rw2", "B", 300),
        ("Lw", "B'", 300),
        ("R2", "B", 0),
    ]:
        alone = [int(mine.seconds_ms[mine.start, NUMBER[name]]) for name in (first, second)]
        state = mine.next[mine.start, NUMBER[first]]
        assert mine.seconds_ms[state, NUMBER[second]] == alone[1] + extra


def test_the_table_is_printed_for_people_too() -> None:
    lines = CliRunner().invoke(hands, ["--table"]).output.splitlines()
    assert lines[0].split()[1:] == [str(move) for move in MOVES]
    assert len(lines) == 1 + len(RIGHT.state_names)
    assert CliRunner().invoke(hands, ["--json"]).exit_code != 0
    left = json.loads(CliRunner().invoke(hands, ["--table", "--json", "--hands", "left"]).output)
    assert left == LEFT.to_json()
    assert table_ms(left, [Move("L", 1)]) == table_ms(PRINTED, [Move("R", 3)])


def test_a_copy_of_what_the_command_prints_is_read_back_the_same(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(CliRunner().invoke(hands).output, encoding="utf-8")
    assert load_hands(path).to_json() == RIGHT.to_json()
    path.write_text(usual_hands_text().replace("D = [0.20,", "D = [1.5,", 1), encoding="utf-8")
    assert load_hands(path).sequence_ms([Move("D", 1)]) == 1500
    assert json.loads(CliRunner().invoke(hands, ["--schema"]).output) == SCHEMA


@pytest.mark.thorough
@pytest.mark.usefixtures("tables")
def test_other_hands_are_advised_otherwise(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from livecube.cli.hints import hints

    usual, crosses = load_bounds(load_hands()), usual_cross(load_hands())
    # Bounds for other hands take some seconds. These hands are slower than the usual ones,
    # so the usual bounds are valid for them too.
    monkeypatch.setattr(
        "livecube.search.bounds.piece_seconds",
        lambda moves, hands, kind, *, still: (usual.still if still else usual.pieces)[kind],
    )
    monkeypatch.setattr("livecube.search.bounds.cross_seconds", lambda moves, seen, hands: crosses)
    monkeypatch.setattr("livecube.edges.cache._keep", lambda name, table: table)

    path = tmp_path / "slow-d.toml"
    slow = usual_hands_text().replace("D = [0.20, 0.30, 0.20]", "D = [3, 3, 3]", 1)
    path.write_text(slow, encoding="utf-8")
    moves = "D R U R' D'"  # few questions are left, which no book answers
    rows = []
    for more in ([], ["--hands", str(path)]):
        done = CliRunner().invoke(hints, [moves, "--json", *more])
        assert done.exit_code == 0, done.output
        found = json.loads(done.output)["opportunities"]
        keyholes = [row for row in found if row["technique"] == "keyhole-corner"]
        rows.append(min(keyholes, key=lambda row: row["seconds"]))
    assert "D'" in rows[0]["moves"].split()
    assert not {"D", "D2", "D'"} & {*rows[1]["moves"].split()}
    assert rows[1]["seconds"] > rows[0]["seconds"]


def test_a_regrip_costs_40_ms_at_least() -> None:
    stand_in: Any = SimpleNamespace(_priced=lambda moves: [(90, one) for one in (0, 39, 40, 265)])
    assert Automaton.regrips_ms(stand_in, ()) == [40, 265]


@pytest.mark.parametrize(
    "right", ["R F'", "R U* F", "R U Fw2", "rotated R", "start R", "R* L*", "rotated U' R"]
)
def test_moves_behind_one_another_are_read(right: str) -> None:
    assert _tokens(right, "mine") == tuple(right.split(" "))


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        *((text, "must be two moves with a blank between") for text in (
            None, "", "R", "R Q", "Q R", "R U Q", "Q U R", "R R F", "R U rotated", "R start",
            "R U R U", "R  F", ["R", "F"])),
        ("R rotated F", "must be two moves"), ("R U* start", "must be two moves"),
    ],
)  # fmt: skip
def test_what_is_no_move_behind_another_is_refused(wrong: object, words: str) -> None:
    with pytest.raises(UsageError, match=f"^mine: moves = .* {words}"):
        _tokens(wrong, "mine")
