"""Moves as people write them: read, written, and turned into turns of the fixed frame."""

from __future__ import annotations

import doctest
from itertools import combinations, permutations
from typing import Final

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from livecube.cube import notation
from livecube.cube.geometry import (
    FACELET_NORMAL,
    FACELET_POINT,
    FACES,
    OPPOSITE,
    ROTATIONS,
    parse_piece,
)
from livecube.cube.holding import (
    COLOURS,
    HOLDINGS,
    SCRAMBLE_HOLDING,
    Holding,
    Move,
    cross_down,
    fixed_turns,
    hand_moves,
    parse_colour,
    piece_colours,
    rotation_between,
)
from livecube.cube.notation import is_odd, moves_text, parse_moves, parse_turns
from livecube.cube.position import (
    SOLVED,
    apply_turns,
    is_solved,
    parse_turn,
    rotated,
    stickers,
    turns_text,
)
from livecube.errors import NotationError

SYMBOLS: Final = [*FACES, *(face + "w" for face in FACES), *"MESxyz"]
moves = st.builds(Move, st.sampled_from(SYMBOLS), st.integers(1, 3))
sequences = st.lists(moves, max_size=30)
turn_lists = st.lists(st.integers(0, 17), max_size=30)
holdings = st.sampled_from(HOLDINGS)
ROTATION_WITH: Final = {"R": "x", "L": "x'", "U": "y", "D": "y'", "F": "z", "B": "z'"}


def effect(text: str) -> tuple[bytes, Holding]:
    """The position and the holding that moves lead to from the solved cube."""
    turns, holding = fixed_turns(parse_moves(text))
    return bytes(apply_turns(SOLVED, turns).tolist()), holding


# World Cube Association Regulations, version of April 1, 2026.


def test_face_turns() -> None:
    # 12a1: F B R L U D clockwise, ' counter-clockwise, 2 half.
    for face in "FBRLUD":
        assert parse_moves(f"{face} {face}' {face}2") == [Move(face, n) for n in (1, 3, 2)]
    assert turns_text(parse_turns("F B' R2 L U' D2")) == "F B' R2 L U' D2"


@pytest.mark.parametrize("face", FACES)
def test_outer_block_turns(face: str) -> None:
    # 12a2: nFw turns n outer slices, n omitted is 2: the face and the slice beside it, which
    # leaves the cube as the opposite face turned and the whole cube rotated with it.
    assert parse_moves(f"2{face}w") == parse_moves(f"{face}w") == [Move(face + "w", 1)]
    opposite = FACES[OPPOSITE[FACES.index(face)]]
    turns, holding = fixed_turns(parse_moves(f"{face}w"))
    assert turns_text(turns) == opposite
    assert holding == fixed_turns(parse_moves(ROTATION_WITH[face]))[1]


@pytest.mark.parametrize("text", ["1Rw", "3Rw", "0Rw", "22Uw", "3Fw'", "1Bw2"])
def test_other_numbers_of_layers_are_invalid(text: str) -> None:
    # 12a2: on this cube 1Rw and 3Rw are not outer block turns.
    with pytest.raises(NotationError) as caught:
        parse_moves(f"R {text}")
    assert caught.value.column == 3


@pytest.mark.parametrize(
    ("rotation", "up", "front"),
    # 12a4: x follows R (what is in front goes up), y follows U (what is on the right comes to
    # the front), z follows F (what is on the left goes up). From white up, green front (4d1).
    [
        ("", "white", "green"),
        ("x", "green", "yellow"),
        ("x'", "blue", "white"),
        ("y", "white", "red"),
        ("y'", "white", "orange"),
        ("z", "orange", "green"),
        ("z'", "red", "green"),
        ("x y", "green", "red"),
    ],
)
def test_rotations(rotation: str, up: str, front: str) -> None:
    turns, holding = fixed_turns(parse_moves(rotation))
    assert (turns, holding.up, holding.front) == ([], up, front)
    assert str(holding) == f"{up} up, {front} front"
    assert holding == Holding.of(parse_colour(up), parse_colour(front))


# Common practice: slices follow L, D and F; lower-case letters are wide turns.


@pytest.mark.parametrize(
    ("text", "same"),
    [
        ("M", "x' R L'"),
        ("E", "y' U D'"),
        ("S", "z F' B"),
        ("M'", "x R' L"),
        ("Rw", "R M'"),
        ("Lw", "L M"),
        ("Uw", "U E'"),
        ("Dw", "D E"),
        ("Fw", "F S"),
        ("Bw", "B S'"),
        ("R M' L'", "x"),
        ("F S B'", "z"),
        ("r u f l d b", "Rw Uw Fw Lw Dw Bw"),
        ("r2' l'", "Rw2 Lw'"),
        ("y R", "B y"),
        ("x y x'", "z"),
    ],
)
def test_identities(text: str, same: str) -> None:
    assert effect(text) == effect(same)


@pytest.mark.parametrize(
    ("text", "turns"),
    [("M2 y R", "L2 R2 F"), ("r", "L"), ("M", "L' R"), ("x U", "F"), ("z2 R", "L"), ("y' F", "L")],
)
def test_read_in_a_holding(text: str, turns: str) -> None:
    assert sorted(parse_turns(text)) == sorted(map(parse_turn, turns.split()))


AXIS: Final = {"x": "R", "y": "U", "z": "F", "M": "L", "E": "D", "S": "F"}


def in_space(move: Move) -> list[int]:
    """The effect of a move on 54 facelets in space: whole layers turned about an axis."""
    axis = FACELET_NORMAL[9 * FACES.index(AXIS.get(move.symbol, move.symbol[0]))]
    height = FACELET_POINT @ axis
    if move.is_rotation:
        layer = height < 2
    elif move.symbol in "MES":
        layer = height == 0
    else:
        layer = height >= (0 if move.symbol.endswith("w") else 1)
    point, normal = FACELET_POINT.copy(), FACELET_NORMAL.copy()
    for _ in range(move.quarters):
        for vector in (point, normal):  # a clockwise quarter turn seen against the axis
            turned = np.outer(vector @ axis, axis) + np.cross(vector, axis)
            vector[layer] = turned[layer]
    places = np.concatenate([FACELET_POINT, FACELET_NORMAL], axis=1).tolist()
    return [places.index(row) for row in np.concatenate([point, normal], axis=1).tolist()]


@given(st.lists(moves, max_size=8))
def test_moves_turn_the_layers_that_they_name(sequence: list[Move]) -> None:
    space = list(range(54))
    for move in sequence:
        there = in_space(move)
        space = [there[place] for place in space]
    turns, holding = fixed_turns(sequence)
    to_hands = np.argsort(ROTATIONS[HOLDINGS.index(holding)])
    assert to_hands[stickers(apply_turns(SOLVED, turns))].tolist() == space


# Holdings.


@given(turn_lists, holdings)
def test_hand_moves_and_fixed_turns_undo_each_other(turns: list[int], holding: Holding) -> None:
    assert fixed_turns(hand_moves(turns, holding), holding) == (turns, holding)


@given(st.lists(st.builds(Move, st.sampled_from(FACES), st.integers(1, 3))), holdings)
def test_fixed_turns_and_hand_moves_undo_each_other(faces: list[Move], holding: Holding) -> None:
    turns, after = fixed_turns(faces, holding)
    assert after == holding
    assert hand_moves(turns, holding) == faces


@given(sequences, holdings)
def test_moves_and_their_inverse_undo_each_other(sequence: list[Move], holding: Holding) -> None:
    turns, after = fixed_turns(sequence, holding)
    back, end = fixed_turns([move.inverted() for move in reversed(sequence)], after)
    assert end == holding
    assert is_solved(apply_turns(SOLVED, [*turns, *back]))


@given(sequences, holdings)
def test_one_sequence_in_another_holding_is_the_rotated_pattern(
    sequence: list[Move], holding: Holding
) -> None:
    here = apply_turns(SOLVED, fixed_turns(sequence)[0])
    there = apply_turns(SOLVED, fixed_turns(sequence, holding)[0])
    assert (there == rotated(here, HOLDINGS.index(holding))).all()


@pytest.mark.parametrize("before", HOLDINGS, ids=str)
def test_rotation_between_is_the_shortest(before: Holding) -> None:
    needed = []
    for after in HOLDINGS:
        way = rotation_between(before, after)
        assert all(move.is_rotation for move in way)
        assert fixed_turns(way, before) == ([], after)
        needed.append(len(way))
    # Three axes with three angles each are one rotation away.
    assert [needed.count(n) for n in range(4)] == [1, 9, 14, 0]


# Reading and writing.


@given(sequences)
def test_written_moves_read_back(sequence: list[Move]) -> None:
    assert parse_moves(moves_text(sequence)) == sequence


@st.composite
def spelled(draw: st.DrawFn) -> tuple[Move, str]:
    """A move, and one of its spellings with the separator after it."""
    move = draw(moves)
    symbol, prime = move.symbol, draw(st.sampled_from("'’′"))
    if symbol.endswith("w"):
        symbol = draw(st.sampled_from([symbol, "2" + symbol, symbol[0].lower()]))
    amounts = {1: [""], 2: ["2", "2" + prime], 3: [prime]}
    gap = draw(st.sampled_from([" ", "\n", "\t ", " // R2 (not) read\n", "//\n"]))
    return move, symbol + draw(st.sampled_from(amounts[move.quarters])) + gap


@given(st.lists(spelled()))
def test_every_spelling_is_read(written: list[tuple[Move, str]]) -> None:
    assert parse_moves("".join(text for _, text in written)) == [move for move, _ in written]


@given(sequences, sequences, st.integers(1, 4), st.integers(1, 4))
def test_groups(one: list[Move], other: list[Move], often: int, outer: int) -> None:
    a, b = moves_text(one), moves_text(other)
    undone = [move.inverted() for move in reversed(one)]
    assert parse_moves(f"({a}){often} {b}") == one * often + other
    assert parse_moves(f"({a})' ({b} ({a}){often}'){outer}") == [
        *undone,
        *(other + undone * often) * outer,
    ]


def test_blanks_are_not_needed() -> None:
    assert parse_moves("RU2R'(RwM)2x") == parse_moves("R U2 R' Rw M Rw M x")
    assert parse_moves("") == parse_moves(" \n // nothing") == parse_moves("()3") == []


# Errors.


@pytest.mark.parametrize(
    ("text", "column", "says"),
    [
        ("R U Q", 5, "'Q' names no"),
        ("R q", 3, "'q' names no"),
        ("R U3", 4, "only 2"),
        ("R U22'", 4, "only 2"),
        ("R0", 2, "only 2"),
        ("R'2", 3, "'2' is not part"),
        ("R ' U", 3, '"\'" is not part'),
        ("R, U", 2, "',' is not part"),
        ("R\n\nU é", 6, "'é' is not part"),
        ("U 2R", 3, "2Rw"),
        ("U 2r", 3, "2Rw"),
        ("U rw", 4, "not both"),
        ("U2 Mw'", 5, "cannot be wide"),
        ("R) U", 2, "closes no group"),
        ("R (U (R)", 3, "never closed"),
        ("(R) (U)0", 8, "0 times"),
        ("(R)10001", 3, "longer than"),
        ("(R U)6000", 5, "this repetition is longer than"),
        ("U (R U)" + 400 * "9", 7, "longer than"),
        ("((((R)99)99)99)99", 12, "longer than"),
        ("R" * 10_001, 10_001, "longer than"),
        ("(R)9999 U U", 11, "longer than"),
    ],
)
def test_errors_name_the_column(text: str, column: int, says: str) -> None:
    with pytest.raises(NotationError) as caught:
        parse_moves(text)
    assert (caught.value.text, caught.value.column) == (text, column)
    assert says in caught.value.reason
    assert str(caught.value) == f"column {column}: {caught.value.reason}"


def test_an_error_in_a_move_quotes_all_of_it() -> None:
    with pytest.raises(NotationError, match='column 4: in "U3\'", only 2'):
        parse_moves("R U3' F")


@given(st.one_of(st.text(), st.text("RUFrufxyMSw23'’() /\n9Q", max_size=40)))
@example("(" * 10_000)
@example("(R)" * 2_000)
@example("\x00٣²R²")
def test_any_text_is_read_or_refused_with_a_column(text: str) -> None:
    try:
        found = parse_moves(text)
    except NotationError as error:
        column = error.column
    else:
        assert parse_moves(moves_text(found)) == found
        column = 1
    assert 1 <= column <= len(text) + 1


def test_examples_in_the_documentation() -> None:
    result = doctest.testmod(notation)
    assert result.attempted >= 3
    assert result.failed == 0


def test_a_holding_after_a_move_is_the_one_that_its_rotation_names() -> None:
    held = SCRAMBLE_HOLDING.after(Move("y", 1))  # as a turn of U: the red side comes to the front
    assert (held.up, held.front) == ("white", "red")
    assert SCRAMBLE_HOLDING.after(Move("R", 1)) == SCRAMBLE_HOLDING
    for holding in HOLDINGS:
        assert holding.after(Move("x", 1)).after(Move("x", 3)) == holding
        assert [holding.faces[holding.hand_face(face)] for face in range(6)] == [*range(6)]


def test_pieces_are_named_by_their_colours_in_alphabetical_order() -> None:
    names = [piece_colours(piece) for piece in range(20)]
    assert len(set(names)) == 20
    assert [len(name.split("-")) for name in names] == [3] * 8 + [2] * 12
    assert all(name.split("-") == sorted(name.split("-")) for name in names)
    assert piece_colours(parse_piece("URF")) == "green-red-white"
    assert piece_colours(parse_piece("DB")) == "blue-yellow"


def test_with_the_cross_down_green_is_in_front_or_else_red() -> None:
    for face, colour in enumerate(COLOURS):
        front = "red" if colour in ("green", "blue") else "green"
        held = cross_down(face)
        assert FACES[held.hand_face(face)] == "D"
        assert FACES[held.hand_face(COLOURS.index(front))] == "F"


def test_a_permutation_is_odd_if_an_odd_number_of_swaps_makes_it() -> None:
    for order in permutations(range(5)):
        swapped = sum(a > b for a, b in combinations(order, 2))
        assert is_odd([*order]) == bool(swapped % 2)
