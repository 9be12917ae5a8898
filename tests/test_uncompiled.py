"""Some questions are answered without a kernel: by the same sequences, in the same order."""

from __future__ import annotations

import os
import random
import subprocess
import sys
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from examples import thorough

from livecube.composition.assembly import known_techniques
from livecube.cube.code import parse_code
from livecube.cube.geometry import FACES
from livecube.cube.notation import parse_turns
from livecube.cube.position import SOLVED, apply_turns
from livecube.edges.apart import pair_table_made_apart
from livecube.edges.automaton_file import load_hands
from livecube.edges.cache import kept_pair_table, load_openings, load_search
from livecube.search import shortest_kernel
from livecube.search.answers import Answers
from livecube.search.bounds import near_piece_seconds
from livecube.search.engine import Engine
from livecube.search.hand_arrays import UPRIGHT, hand_arrays
from livecube.search.situation import Situation, slot_bits
from livecube.search.spelling import spelled
from livecube.search.task import AT_DOORS, LEFT, NO_D, TURNED_BACK, TWO_PARTS_MS, Task
from livecube.search.uncompiled import TooManyTurnsError, shortest_sequences
from livecube.techniques.base import traits
from livecube.techniques.registry import TECHNIQUES
from livecube.techniques.x_cross import PseudoXCross
from livecube.virtual.session import session

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from livecube.search.tables import Tables
    from livecube.search.task import Found

MOST = 100_000


def beginnings(seed: int, solves: int) -> Iterator[tuple[Situation, list[Task]]]:
    """Situations with the cross whole, and all that techniques ask there."""
    for solve in session(seed, solves).solves:
        turns = [turn.turn for turn in solve.turns]
        for stage in solve.stages[:4]:
            done = turns[: stage.end_turn - solve.first_line + 1]
            situation = Situation.of(apply_turns(SOLVED, done), solve.cross)
            if situation.free:
                found = [one for each in known_techniques() for one in each.chances(situation)]
                yield situation, [chance.task for chance in found]


@pytest.mark.parametrize(
    ("with_pairs", "solves"), [(False, 2), (True, 2), thorough(False, 6), thorough(True, 6)]
)
def test_sequences_and_spellings_are_those_of_the_kernels(
    tables: Tables, *, with_pairs: bool, solves: int
) -> None:
    engine, hands, asked = Engine(tables), hand_arrays(load_hands()), set[Task]()
    if with_pairs:
        kept = kept_pair_table()
        pairs = pair_table_made_apart() if kept is None else kept
        assert pairs is not None
        engine.pairs = pairs
    for situation, tasks in beginnings(17, solves):
        expected = engine.solve(situation, tasks)
        try:
            found, tried = shortest_sequences(tables, engine.pairs, situation, tasks, MOST)
        except TooManyTurnsError:
            continue
        assert found == expected
        assert 0 < tried <= MOST
        asked.update(tasks)
        for sequences in expected:
            for starts in (UPRIGHT, (3, 17)):
                written = spelled(hands, sequences[:2], starts)
                assert spelled(hands, sequences[:2], starts, compiled=False) == written
    assert {task.tail for task in asked} == {0, 1}
    assert {task.tied for task in asked} == {False, True}


def test_the_kernel_has_room_for_all_turns_and_for_every_stand_of_the_hands(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """It would write beyond it unnoticed."""
    hands, spell, shapes = hand_arrays(load_hands()), shortest_kernel.spell, []

    def seen(*given: Any) -> Any:
        shapes.append([array.shape for array in given[3:]])
        return spell(*given)

    monkeypatch.setattr("livecube.search.shortest_kernel.spell", seen)
    assert [way.turns for way in spelled(hands, [(0,), (0, 3, 2, 5), ()], [0])] == [
        (0,), (0, 3, 2, 5), (),
    ]  # fmt: skip
    assert spelled(hands, [], [0]) == []
    # Before each turn and in the end the hands may stand in every holding and state; four numbers
    # tell of a stand.
    stands = 24 * len(hands.seconds)
    assert shapes == [[(4,), (4,), (5, stands), (4, 5, stands), (5,)]] * 3


def test_short_ways_to_a_cross_and_to_one_that_is_left_aside_are_those_of_the_kernel(
    tables: Tables,
) -> None:
    engine, none, draw = Engine(tables), np.empty(0, dtype=np.uint8), random.Random(3)
    for _ in range(25):
        drawn = draw.sample(range(18), 5)
        situation = Situation.of(apply_turns(SOLVED, drawn), 0)
        task = Task(
            draw.choice([0, 0, 0b1, 0b10000, 0b100010]),
            prefix=draw.randrange(1, 16),
            tail=draw.randrange(3),
            target=draw.randrange(4),
        )
        found, _ = shortest_sequences(tables, none, situation, [task], 10**7)
        assert found == engine.solve(situation, [task])


def test_a_question_that_takes_long_goes_to_the_kernel(
    tables: Tables, monkeypatch: pytest.MonkeyPatch
) -> None:
    [situation, tasks], *_ = beginnings(17, 1)
    expected = Engine(tables).solve(situation, tasks)
    _, tried = shortest_sequences(tables, np.empty(0, dtype=np.uint8), situation, tasks, MOST)
    with pytest.raises(TooManyTurnsError):
        shortest_sequences(tables, np.empty(0, dtype=np.uint8), situation, tasks, tried - 1)
    kernel = list[int]()
    search = Engine.search

    def noted(engine: Engine, situation: Situation, tasks: list[Task]) -> Found:
        kernel.append(len(tasks))
        return search(engine, situation, tasks)

    monkeypatch.setattr(Engine, "search", noted)
    engine = Engine(tables, patience=tried)
    assert engine.twin().solve(situation, tasks) == engine.solve(situation, tasks) == expected
    assert kernel == []
    assert engine.solve(situation, tasks) == engine.twin().solve(situation, tasks) == expected
    assert kernel == [len(tasks)] * 2


def openings_asked(situation: Situation) -> Iterator[list[Task]]:
    """The cross, then all that techniques ask in inspection."""
    yield [Task(goal=0)]
    for technique in known_techniques():
        if traits(technique).in_inspection:
            for chance in technique.chances(situation):
                yield [chance.task] if chance.second is None else [chance.task, chance.second]


@pytest.mark.parametrize(
    ("seed", "scrambled"),
    [
        (10, 7),
        (1, 30),
        *(thorough(*one) for one in ((2, 6), (6, 7), (9, 7), (11, 7), (3, 20), (5, 20), (7, 20))),
    ],
)
def test_the_fastest_openings_are_those_of_the_kernel(seed: int, scrambled: int) -> None:
    draw, hands = random.Random(seed), load_hands()
    search, openings = load_search(hands), load_openings(hands).twin()
    position = apply_turns(SOLVED, [draw.randrange(18) for _ in range(scrambled)])
    situation, found = Situation.of(position, draw.randrange(6)), list[int]()
    starts = UPRIGHT if draw.random() < 0.5 else draw.sample(range(24), 2)
    for parts in openings_asked(situation):
        assert openings.knows(situation, parts)
        limit = {"ceiling_ms": TWO_PARTS_MS} if len(parts) > 1 else {}
        expected = search.ways(situation, parts, starts, **limit)
        assert openings.ways(situation, parts, starts) == expected
        found += [len(parts)] * len(expected)
    assert 1 in found
    assert scrambled > 10 or 2 in found  # few of these are quick enough


def test_the_second_part_keeps_a_slot_that_the_first_happens_to_solve() -> None:
    """Here 11 turns would do, and break it again."""
    position, _ = parse_code("3J5A-KVJW-4CRF-43TM")
    situation, hands = Situation.of(position, FACES.index("F")), load_hands()
    slots = situation.slot_numbers(("red-white", "orange-yellow"))
    [chance] = [one for one in PseudoXCross().chances(situation) if one.slots == slots]
    assert chance.second is not None
    parts = [chance.task, chance.second]
    ways = load_openings(hands).ways(situation, parts, UPRIGHT)
    assert ways == load_search(hands).ways(situation, parts, UPRIGHT, ceiling_ms=TWO_PARTS_MS)
    assert ways
    for way in ways:
        after = [apply_turns(situation.position, way.turns[:n]) for n in range(len(way.turns) + 1)]
        stood = [Situation.of_down(down, situation.face) for down in after]
        i, j = slots
        first = next(one for one in stood if one.corners >> i & 1 and one.edges >> j & 1)
        assert first.solved
        assert stood[-1].solved == first.solved | 1 << i | 1 << j


def test_near_bounds_are_those_of_the_search_up_to_a_limit(tables: Tables) -> None:
    hands = load_hands()
    whole = load_search(hands).tables.pieces
    for kind in (0, 1):
        near = near_piece_seconds(tables.moves, hand_arrays(hands), kind)
        assert (near == np.minimum(whole[kind], near.max())).all()
        assert 0.1 < (near < near.max()).any(axis=1).mean() < 0.2


def test_only_openings_are_answered_without_a_book_or_a_search() -> None:
    hands = load_hands()
    openings, none = load_openings(hands), Answers(hands)
    alone = Answers(hands, openings=openings)
    scrambled = Situation.of(apply_turns(SOLVED, parse_turns("R F' L D2 B U R2 F")), 5)
    whole = Situation.of(apply_turns(SOLVED, parse_turns("R U R' U'")), 5)
    for parts in openings_asked(scrambled):
        written = alone.ways(scrambled, parts, UPRIGHT)
        assert parts[0].goal or written == alone.twin().ways(scrambled, parts, UPRIGHT)
        assert none.ways(scrambled, parts, UPRIGHT) == []
        for way in written:
            moves = alone.moves(way.tokens)
            assert way.ms == hands.sequence_ms(moves) + alone.hands.finish[way.end]
            end = Situation.of_down(apply_turns(scrambled.position, way.turns), 5)
            assert end.offset == 0
            assert all(end.solved >> slot & 1 for slot in slot_bits(parts[-1].goal))
    task, *_ = (chance.task for one in TECHNIQUES for chance in one.chances(whole))
    others = [
        Task(1, prefix=2), Task(1, NO_D), Task(1, tail=TURNED_BACK), Task(17, tied=True),
    ]  # fmt: skip
    second = Task(34, NO_D, AT_DOORS, TURNED_BACK, 1)
    asked = [(whole, [task]), *((scrambled, [one]) for one in others)]
    asked += [(scrambled, [Task(1), second]), (scrambled, [Task(1, tail=LEFT), second])]
    for situation, parts in asked:
        assert not openings.knows(situation, parts)
        assert alone.ways(situation, parts, UPRIGHT) == []


@pytest.mark.parametrize(
    ("moves", "cache"),
    [
        ("R U R' U' L' U L", "kept"),
        thorough("R D L2 R F U' L R2 D' R B' U' L U2 B2 U D2 L' F U'", "empty"),
    ],
)
def test_hints_do_not_wait_for_numba(tmp_path: Path, moves: str, cache: str) -> None:
    """Neither with the cross whole nor, on a first start, for a scrambled cube."""
    script = (
        f"import sys; sys.argv[1:] = ['hints', {moves!r}, '--json']\n"
        "from livecube.cli import main; main(); sys.exit('numba' in sys.modules)"
    )
    its = {"LIVECUBE_CACHE": str(tmp_path)} if cache == "empty" else {}
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, check=False, env=os.environ | its
    )
    assert done.returncode == 0, done.stderr
