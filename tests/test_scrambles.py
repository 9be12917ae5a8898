"""Scrambles: all states are equally probable, and the turns lead there."""

from __future__ import annotations

import json
import random
from itertools import product
from typing import TYPE_CHECKING

import numpy as np
import pytest
import scramble_check
from examples import examples
from hypothesis import given
from hypothesis import strategies as st

from livecube.composition.scrambler import Scrambler, load_scrambler
from livecube.cube.notation import parse_turns
from livecube.cube.position import (
    SOLVED,
    SOLVED_BYTES,
    TURN_BYTES,
    apply_turns,
    inverse_turn,
    make_turn,
    turn_quarters,
)
from livecube.edges.cache import load_phase_tables
from livecube.mending.mender import shortest_link
from livecube.scrambling.coordinates import (
    CORNER_ORDERS,
    EDGE_ORDERS,
    FLIPS,
    MIDDLE_ORDERS,
    MIDDLE_SETS,
    SECOND_TURNS,
    TWISTS,
    coordinates_of,
    move_tables,
)
from livecube.scrambling.partial_link import partial_link
from livecube.scrambling.path import FARTHEST_BACK, ScramblePath
from livecube.scrambling.states import random_state, seeded_draw
from livecube.scrambling.two_phase import MOST_TURNS, few_turns_between, turns_between

if TYPE_CHECKING:
    from collections.abc import Sequence

LONG = "R U F D L B2 R' U2 F D' R L"
SEQUENCES = st.lists(st.integers(0, 17), min_size=1, max_size=22)


def turned(position: bytes, turns: Sequence[int]) -> bytes:
    for turn in turns:
        position = position.translate(TURN_BYTES[turn])
    return position


@pytest.fixture(scope="module")
def scrambler() -> Scrambler:
    return load_scrambler(seed=7)


@pytest.mark.thorough
def test_marginals_of_random_states_are_even() -> None:
    drawn = scramble_check.draw_states(2_000, seed=5)
    worst = min(scramble_check.probabilities(drawn).values())
    # In a hundred fair tests the least probability is below this once in ten thousand runs; the
    # seed makes every run the same.
    assert worst > 1e-6
    assert all(scramble_check.is_possible(position) for position in drawn)


@pytest.mark.thorough
def test_uneven_draws_are_found_out() -> None:
    """A shuffle that exchanges each piece with any other, also with pieces already placed."""
    draw = seeded_draw(1)
    drawn = [random_state(lambda below: draw(12) % below) for _ in range(2_000)]
    assert min(scramble_check.probabilities(drawn).values()) < 1e-6


def test_states_near_solved_are_drawn_again() -> None:
    """Article 4b3: at least two moves away."""
    identity = [7, 6, 5, 4, 3, 2, 1, 11, 10, 9, 8, 7, 6, 5, 4, 3, 2, 1] + [0] * 18
    draw = seeded_draw(3)
    rigged = iter(identity)
    state = random_state(lambda below: next(rigged, None) or draw(below))
    assert next(rigged, None) is None  # the solved state was drawn first
    assert shortest_link(state, SOLVED_BYTES, 1) is None


@given(SEQUENCES, SEQUENCES)
def test_turns_lead_from_anywhere_to_anywhere(first: list[int], second: list[int]) -> None:
    start, end = turned(SOLVED_BYTES, first), turned(SOLVED_BYTES, second)
    made = turns_between(load_phase_tables(), start, end)
    assert turned(start, made) == end
    assert len(made) <= MOST_TURNS


def test_a_scramble_is_followed_in_any_way_that_it_can_be_turned(scrambler: Scrambler) -> None:
    path = scrambler.new()
    position = path.start
    for turn in path.turns:
        if turn_quarters(turn) == 2:  # as two quarters, counter-clockwise
            for _ in range(2):
                position = position.translate(TURN_BYTES[make_turn(turn // 3, 3)])
                assert path.guide(position).on_path
        else:
            position = position.translate(TURN_BYTES[turn])
        assert path.guide(position).on_path
    assert path.guide(position).reached
    assert not path.guide(turned(path.start, path.turns[:-1])).reached


def test_opposite_turns_come_in_either_order() -> None:
    path = ScramblePath(SOLVED_BYTES, parse_turns("R U2 D F"))
    position = turned(SOLVED_BYTES, parse_turns("R D"))
    assert path.guide(position).upcoming == tuple(parse_turns("U2 F"))
    position = turned(position, parse_turns("U"))
    assert path.guide(position).upcoming == tuple(parse_turns("U F"))
    assert path.guide(turned(position, parse_turns("U F"))).reached


@examples(10)
@given(SEQUENCES, st.data())
def test_a_wrong_turn_is_seen_at_once_and_undone_by_the_shortest_way(
    turns: list[int], data: st.DataObject
) -> None:
    path = ScramblePath(SOLVED_BYTES, turns)
    made = data.draw(st.integers(0, len(path.turns)))
    wrong = data.draw(st.lists(st.integers(0, 17), min_size=1, max_size=5))
    stray = turned(SOLVED_BYTES, [*path.turns[:made], *wrong])
    guidance = path.guide(stray)
    if guidance.on_path:
        assert turned(stray, guidance.upcoming) == path.target
        return
    if guidance.lost:
        assert len(wrong) > FARTHEST_BACK
        return
    assert len(guidance.back) <= len(wrong)
    back = turned(stray, guidance.back)
    assert path.guide(back).on_path
    assert turned(back, guidance.upcoming) == path.target
    # Nothing shorter leads back: one turn less leads nowhere on the path.
    nearer = [stray]
    for _ in range(min(len(guidance.back) - 1, 2)):
        nearer = [one.translate(table) for one in nearer for table in TURN_BYTES]
        assert not any(path.guide(one).on_path for one in nearer[:400])


def test_turns_taken_back_are_no_mistakes() -> None:
    path = ScramblePath(SOLVED_BYTES, parse_turns("R U F"))
    position = turned(SOLVED_BYTES, parse_turns("R U"))
    earlier = position.translate(TURN_BYTES[inverse_turn(parse_turns("U")[0])])
    assert path.guide(earlier).upcoming == tuple(parse_turns("U F"))


def test_scrambles_are_printed(capsys: pytest.CaptureFixture[str]) -> None:
    from livecube.cli.scramble import scramble

    scramble.main(["--count", "2", "--seed", "4", "--json"], standalone_mode=False)
    first, second = map(json.loads, capsys.readouterr().out.splitlines())
    scramble.main(["--count", "2", "--seed", "4"], standalone_mode=False)
    assert capsys.readouterr().out == f"{first['scramble']}\n{second['scramble']}\n"
    assert first != second


def test_coordinates_of_the_two_phases_have_the_published_ranges() -> None:
    # H. Kociemba, "The Two-Phase-Algorithm", kociemba.org/cube.htm.
    assert (TWISTS, FLIPS, MIDDLE_SETS) == (2187, 2048, 495)
    assert (CORNER_ORDERS, EDGE_ORDERS, MIDDLE_ORDERS) == (40320, 40320, 24)
    assert set(SECOND_TURNS) == {t for t in range(18) if t // 3 in (0, 5) or t % 3 == 1}
    assert len(SECOND_TURNS) == 10


@pytest.mark.thorough
def test_tables_of_coordinates_turn_as_the_cube_does() -> None:
    tables = move_tables()
    counts = (TWISTS, FLIPS, MIDDLE_SETS, CORNER_ORDERS, EDGE_ORDERS, MIDDLE_ORDERS)
    turns = [list(range(18))] * 3 + [list(SECOND_TURNS)] * 3
    assert [table.shape for table in tables.values()] == [
        (count, len(its)) for count, its in zip(counts, turns, strict=True)
    ]
    way = random.Random(3).choices(SECOND_TURNS, k=12)
    positions = np.array([apply_turns(SOLVED, way[:end]) for end in range(13)])
    known = coordinates_of(positions).tolist()
    for column, (table, its) in enumerate(zip(tables.values(), turns, strict=True)):
        at = known[0][column]
        for turn, row in zip(way, known[1:], strict=True):
            at = int(table[at, its.index(turn)])
            assert at == row[column]
        for number, turn in enumerate(its):
            to = table[:, number].astype(int)
            assert (np.bincount(to, minlength=len(table)) == 1).all()
            twice = table[to, number]
            half = (
                np.arange(len(table)) if turn % 3 == 1 else table[:, its.index(turn // 3 * 3 + 1)]
            )
            assert (twice == half).all()


@pytest.mark.thorough
def test_a_short_way_is_the_fewest_up_to_six_turns_and_else_no_longer_than_the_usual_way() -> None:
    tables = load_phase_tables()
    start = turned(SOLVED_BYTES, parse_turns("R U F2"))
    for text in ("", "R", "R U2 F'", "R U F D L B"):
        end = turned(start, parse_turns(text))
        link = shortest_link(start, end)
        assert link is not None
        assert few_turns_between(tables, start, end) == list(link)
    usual = turns_between(tables, start, turned(start, parse_turns(LONG)))
    assert len(usual) > len(parse_turns(LONG))
    for text in ("R U F D L B R", LONG):
        turns = parse_turns(text)
        end = turned(start, turns)
        made = few_turns_between(tables, start, end)
        assert turned(start, made) == end
        assert len(made) <= len(turns)


@pytest.mark.thorough
def test_a_link_of_ten_turns_is_found_and_one_of_eleven_is_not() -> None:
    start = SOLVED_BYTES
    end = turned(start, parse_turns("R U2 F D' L B2 U R2 F' D'"))
    link = partial_link(start, end, range(20))
    assert link is not None
    assert (len(link), turned(start, link)) == (10, end)
    assert partial_link(start, turned(end, parse_turns("R")), range(20)) is None


@pytest.mark.parametrize("first", range(6))
def test_pieces_are_brought_there_by_no_more_turns_than_all_of_them_take(first: int) -> None:
    rng = random.Random(first)
    start = turned(SOLVED_BYTES, rng.choices(range(18), k=20))
    way = [3 * first + 1, *rng.choices(range(18), k=4)]
    end = turned(start, way)
    whole = shortest_link(start, end)
    assert whole is not None
    link = partial_link(start, end, range(20))
    assert link is not None
    assert turned(start, link) == end
    assert len(link) == len(whole)
    for count in (0, 1, 4, 10):
        pieces = rng.sample(range(20), count)
        some = partial_link(start, end, pieces)
        assert some is not None
        there = turned(start, some)
        assert [there[piece] for piece in pieces] == [end[piece] for piece in pieces]
        assert len(some) <= len(whole)
        # Fewer turns do not suffice: tried as far as that is quick.
        for fewer in product(range(18), repeat=min(2, len(some) - 1) if some else 0):
            near = turned(start, fewer)
            assert not some or [near[p] for p in pieces] != [end[p] for p in pieces]
