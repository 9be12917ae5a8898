"""Positions and turns: laws that hold for every cube, and how turns are counted."""

from __future__ import annotations

from functools import reduce
from itertools import product
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from livecube.cube.geometry import (
    FACELET_NORMAL,
    FACELET_POINT,
    HOME,
    NEXT_STICKER,
    OPPOSITE,
    ROTATION_MATRICES,
    ROTATIONS,
    TURNS,
    Array,
    piece_faces,
)
from livecube.cube.position import (
    SOLVED,
    TURN_BYTES,
    TURN_NAMES,
    apply_turn,
    apply_turns,
    blocks_outside,
    compose,
    from_stickers,
    htm,
    in_one_order,
    inverse,
    inverse_turn,
    inverse_turns,
    is_solved,
    make_turn,
    merge,
    parse_turn,
    qtm,
    rotated,
    rotation_taking,
    stickers,
    summed_quarters,
    turn_face,
    turn_name,
    turn_quarters,
    turns_text,
    twisted_corners,
    what_was_done,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    import numpy.typing as npt

turns = st.integers(0, 17)
turn_lists = st.lists(turns, max_size=40)
rotations = st.integers(0, 23)


def odd(order: Sequence[int]) -> bool:
    pairs = [(i, j) for j in range(len(order)) for i in range(j)]
    return sum(order[i] > order[j] for i, j in pairs) % 2 == 1


@st.composite
def positions(draw: st.DrawFn) -> Array:
    """Any position that turns can reach."""
    corners = draw(st.permutations(range(8)))
    edges = draw(st.permutations(range(8, 20)))
    if odd(corners) != odd(edges):
        edges[:2] = reversed(edges[:2])
    twists = draw(st.lists(st.integers(0, 2), min_size=7, max_size=7))
    flips = draw(st.lists(st.integers(0, 1), min_size=11, max_size=11))
    turned = [*twists, -sum(twists) % 3, *flips, sum(flips) % 2]
    places = HOME[[*corners, *edges]]
    return np.array([twisted(p, n) for p, n in zip(places, turned, strict=True)], dtype=np.uint8)


def twisted(place: int, times: int) -> int:
    """The facelet that lies ``times`` stickers clockwise on the same piece."""
    return reduce(lambda p, _: int(NEXT_STICKER[p]), range(times), int(place))


def equal(one: Array, other: Array) -> bool:
    return one.shape == other.shape and bool((one == other).all())


# Turns and positions.


@given(positions(), turns)
def test_a_turn_and_its_inverse_undo_each_other(position: Array, turn: int) -> None:
    assert equal(apply_turns(position, [turn, inverse_turn(turn)]), position)
    assert not equal(apply_turn(position, turn), position)
    assert equal(apply_turns(position, [turn] * 4), position)


@given(turn_lists)
def test_inverse_turns_lead_back_and_to_the_inverse(sequence: list[int]) -> None:
    reached = apply_turns(SOLVED, sequence)
    assert is_solved(apply_turns(reached, inverse_turns(sequence)))
    assert equal(apply_turns(SOLVED, inverse_turns(sequence)), inverse(reached))


@given(positions(), positions(), positions())
def test_positions_are_a_group(a: Array, b: Array, c: Array) -> None:
    assert equal(compose(compose(a, b), c), compose(a, compose(b, c)))
    assert equal(compose(a, SOLVED), a)
    assert equal(compose(SOLVED, a), a)
    assert is_solved(compose(a, inverse(a)))
    assert is_solved(compose(inverse(a), a))
    assert equal(inverse(compose(a, b)), compose(inverse(b), inverse(a)))


@given(positions(), turn_lists)
def test_turning_is_composing(position: Array, sequence: list[int]) -> None:
    done = apply_turns(SOLVED, sequence)
    assert equal(apply_turns(position, sequence), compose(position, done))
    one_by_one = bytes(position.tolist())
    for turn in sequence:
        one_by_one = one_by_one.translate(TURN_BYTES[turn])
    assert one_by_one == bytes(compose(position, done).tolist())


@given(turn_lists, rotations)
def test_rotated_is_the_same_turns_of_other_faces(sequence: list[int], rotation: int) -> None:
    to = [int(ROTATIONS[rotation][9 * face + 4]) // 9 for face in range(6)]
    there = [make_turn(to[turn_face(t)], turn_quarters(t)) for t in sequence]
    assert equal(rotated(apply_turns(SOLVED, sequence), rotation), apply_turns(SOLVED, there))


@given(positions(), positions(), rotations)
def test_rotated_is_conjugation(a: Array, b: Array, rotation: int) -> None:
    spin = ROTATIONS[rotation]
    back = np.argsort(spin)
    assert equal(stickers(rotated(a, rotation)), spin[stickers(a)[back]])
    assert equal(
        rotated(compose(a, b), rotation), compose(rotated(a, rotation), rotated(b, rotation))
    )


@given(st.lists(positions(), min_size=4, max_size=4), turn_lists, rotations)
def test_a_batch_is_many_single_positions(
    four: list[Array], sequence: list[int], rotation: int
) -> None:
    batch = np.array(four).reshape(2, 2, 20)
    other = batch[::-1]
    single: list[tuple[Array, Callable[[Array], npt.NDArray[Any]]]] = [
        (apply_turn(batch, 5), lambda p: apply_turn(p, 5)),
        (apply_turns(batch, sequence), lambda p: apply_turns(p, sequence)),
        (stickers(batch), stickers),
        (from_stickers(stickers(batch)), lambda p: p),
        (inverse(batch), inverse),
        (rotated(batch, rotation), lambda p: rotated(p, rotation)),
        (is_solved(batch).astype(np.uint8), is_solved),
    ]
    for together, alone in single:
        for i, j in np.ndindex(2, 2):
            assert np.array_equal(together[i, j], alone(batch[i, j]))
    both = compose(batch, other)
    for i, j in np.ndindex(2, 2):
        assert equal(both[i, j], compose(batch[i, j], other[i, j]))
    assert is_solved(np.array([SOLVED, four[0]])).tolist() == [True, equal(four[0], SOLVED)]


@given(positions())
def test_stickers_are_all_54_and_keep_their_pieces(position: Array) -> None:
    places = stickers(position)
    assert sorted(places.tolist()) == list(range(54))
    assert equal(places[HOME], position)
    assert equal(places[NEXT_STICKER], NEXT_STICKER[places])  # clockwise stays clockwise
    assert equal(places[4::9], np.arange(4, 54, 9, dtype=np.uint8))


# Geometry, against the words of its own description.


def test_facelets_are_numbered_as_the_unfolded_cube_is_read() -> None:
    solid = dict(zip("xyz", np.eye(3, dtype=np.int64), strict=True))
    right, up, front = solid["x"], solid["y"], solid["z"]
    rows = {  # face: its normal, then rightwards and downwards as seen from outside
        "U": (up, right, front),
        "L": (-right, front, -up),
        "F": (front, right, -up),
        "R": (right, -front, -up),
        "B": (-front, -right, -up),
        "D": (-up, right, -front),
    }
    for number, face in enumerate("ULFRBD"):
        normal, rightwards, downwards = rows[face]
        for row in range(3):
            for column in range(3):
                facelet = 9 * number + 3 * row + column
                place = normal + (column - 1) * rightwards + (row - 1) * downwards
                assert FACELET_POINT[facelet].tolist() == place.tolist()
                assert FACELET_NORMAL[facelet].tolist() == normal.tolist()


def test_rotations_are_all_24_of_space() -> None:
    assert len({m.tobytes() for m in ROTATION_MATRICES}) == 24
    for matrix, moved in zip(ROTATION_MATRICES, ROTATIONS, strict=True):
        assert round(np.linalg.det(matrix)) == 1
        assert (FACELET_POINT[moved] == FACELET_POINT @ matrix.T).all()
        assert (FACELET_NORMAL[moved] == FACELET_NORMAL @ matrix.T).all()
    for face in range(6):
        for to in range(6):
            with pytest.raises(ValueError, match="no rotation"):
                rotation_taking(face, to, OPPOSITE[face], to)


# Vocabularies, there and back.


def test_nobody_can_turn_the_solved_position_itself() -> None:
    assert not SOLVED.flags.writeable


def test_turn_names() -> None:
    assert [parse_turn(turn_name(turn)) for turn in range(18)] == list(range(18))
    assert [make_turn(turn_face(t), turn_quarters(t)) for t in range(18)] == list(range(18))
    assert turns_text(range(18)).split() == list(TURN_NAMES)
    for wrong in ("", "r", "R3", "R2'", "M", " R", "Rw"):
        with pytest.raises(ValueError, match="is not a turn"):
            parse_turn(wrong)
    with pytest.raises(ValueError, match="not a turn"):
        make_turn(2, 4)


# Merging and counting (the rules of the half-turn metric).


@pytest.mark.parametrize(
    ("text", "merged", "half", "quarter"),
    [
        ("", "", 0, 0),
        ("R R", "R2", 1, 2),
        ("R R R", "R'", 1, 1),
        ("R R R R", "", 0, 0),
        ("R R'", "", 0, 0),
        ("R2 R2", "", 0, 0),
        ("R L' R L'", "L2 R2", 2, 4),
        ("R L R'", "L", 1, 1),
        ("L R", "L R", 2, 2),
        ("R L", "L R", 2, 2),
        ("D U D' U'", "", 0, 0),
        ("B2 F B", "F B'", 2, 2),
        ("R U R'", "R U R'", 3, 3),
        ("U R R' U", "U U", 2, 2),  # what vanishes still separates
        ("R L U U' L R", "L R L R", 4, 4),
        ("U2 D U2 D R2", "D2 R2", 2, 4),
    ],
)
def test_merging(text: str, merged: str, half: int, quarter: int) -> None:
    sequence = [parse_turn(name) for name in text.split()]
    assert turns_text(m.turn for m in merge(sequence)) == merged
    assert (htm(sequence), qtm(sequence)) == (half, quarter)
    assert turns_text(in_one_order(sequence)) == merged


@pytest.mark.parametrize(
    ("turns", "summed"),
    [([], []), ([0], [(0, 1)]), ([1], [(0, 2)]), ([0, 0], [(0, 2)]), ([2, 1], [(0, 1)]),
     ([0, 3, 0], [(0, 1), (1, 1), (0, 1)]), ([17, 17], [(5, 2)]), ([0, 2], [(0, 0)])],
)  # fmt: skip
def test_neighbours_of_one_face_are_summed(turns: list[int], summed: list[tuple[int, int]]) -> None:
    assert summed_quarters(turns) == summed


def test_merged_turns_tell_what_they_were_made_of() -> None:
    sequence = [parse_turn(name) for name in "U R L' R U U' D F".split()]
    assert [(turn_name(m.turn), m.first, m.last) for m in merge(sequence)] == [
        ("U", 0, 0),
        ("L'", 2, 2),
        ("R2", 1, 3),
        ("D", 6, 6),
        ("F", 7, 7),
    ]


@given(turn_lists)
def test_merging_changes_neither_the_cube_nor_what_is_merged(sequence: list[int]) -> None:
    parts = merge(sequence)
    turned = [m.turn for m in parts]
    assert equal(apply_turns(SOLVED, turned), apply_turns(SOLVED, sequence))
    assert htm(sequence) <= len(sequence)
    assert htm(sequence) <= qtm(sequence) <= 2 * htm(sequence)
    assert htm(inverse_turns(sequence)) == htm(sequence)
    for m in parts:
        own = [t for t in sequence[m.first : m.last + 1] if turn_face(t) == turn_face(m.turn)]
        assert sum(map(turn_quarters, own)) % 4 == turn_quarters(m.turn)
        between = {turn_face(t) for t in sequence[m.first : m.last + 1]}
        assert between <= {turn_face(m.turn), OPPOSITE[turn_face(m.turn)]}


@given(turn_lists, turns)
def test_a_turn_more_changes_the_count_by_at_most_one(sequence: list[int], turn: int) -> None:
    assert abs(htm([*sequence, turn]) - htm(sequence)) <= 1


def test_a_single_position_composes_with_a_batch_in_either_place() -> None:
    single = apply_turns(SOLVED, [0, 4, 8])
    batch = np.stack([apply_turns(SOLVED, [turn]) for turn in range(18)])
    for alone, many in ((compose(single, batch), True), (compose(batch, single), False)):
        for turn in range(18):
            pair = (single, batch[turn]) if many else (batch[turn], single)
            assert (alone[turn] == compose(*pair)).all()


@given(positions(), turn_lists)
def test_what_was_done_leads_from_one_position_to_the_other(
    position: Array, sequence: list[int]
) -> None:
    before, after = bytes(position.tolist()), bytes(apply_turns(position, sequence).tolist())
    assert what_was_done(before, after) == bytes(apply_turns(SOLVED, sequence).tolist())


@given(positions(), st.lists(st.integers(1, 2), min_size=2, max_size=8), turns)
def test_positions_that_differ_by_twisted_corners_alone_name_them(
    position: Array, twists: list[int], turn: int
) -> None:
    other = position.copy()
    for corner, times in enumerate(twists):
        other[corner] = twisted(int(other[corner]), times)
    one, two = bytes(position.tolist()), bytes(other.tolist())
    assert twisted_corners(one, two) == tuple(range(len(twists)))
    assert twisted_corners(one, one) == ()
    assert twisted_corners(one, bytes(apply_turn(other, turn).tolist())) == ()
    other[19] = twisted(int(other[19]), 1)  # an edge is flipped too
    assert twisted_corners(one, bytes(other.tolist())) == ()


def test_a_block_outside_is_a_corner_and_an_edge_that_were_turned_together() -> None:
    for corner, edge in product(range(8), range(8, 20)):
        if not piece_faces(edge) < piece_faces(corner):
            continue
        places = {(int(HOME[corner]), int(HOME[edge]))}
        found: set[tuple[int, int]] = set()
        while places - found:
            found |= places
            # A turn moves both or neither; a turn of one alone would part them.
            for turn in TURNS:
                for one, two in found:
                    to = int(turn[one]), int(turn[two])
                    if (to[0] == one) == (to[1] == two):
                        places.add(to)
        home = {int(HOME[edge]), int(NEXT_STICKER[HOME[edge]])}
        assert blocks_outside(int(HOME[corner]), int(HOME[edge])) == {
            (one, two) for one, two in found if two not in home
        }


def test_the_first_rotations_are_quarter_turns_as_of_the_upper_and_the_front_layer() -> None:
    for number, face in ((1, 0), (2, 2)):
        layer = FACELET_POINT @ FACELET_NORMAL[9 * face + 4] == 1
        assert (ROTATIONS[number][layer] == TURNS[3 * face][layer]).all()
