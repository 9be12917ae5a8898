"""A single question is answered without a kernel: by the same sequences, in the same order."""

from __future__ import annotations

import random
import subprocess
import sys
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from examples import thorough

from livecube.composition.assembly import known_techniques
from livecube.cube.position import SOLVED, apply_turns
from livecube.edges.apart import pair_table_made_apart
from livecube.edges.automaton_file import load_hands
from livecube.edges.cache import kept_pair_table
from livecube.search import shortest_kernel
from livecube.search.engine import Engine
from livecube.search.hand_arrays import UPRIGHT, hand_arrays
from livecube.search.situation import Situation
from livecube.search.spelling import spelled
from livecube.search.task import Task
from livecube.search.uncompiled import TooManyTurnsError, shortest_sequences
from livecube.virtual.session import session

if TYPE_CHECKING:
    from collections.abc import Iterator

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


def test_hints_with_the_cross_whole_do_not_wait_for_numba() -> None:
    script = (
        "import sys; sys.argv[1:] = ['hints', \"R U R' U' L' U L\", '--json']\n"
        "from livecube.cli import main; main(); sys.exit('numba' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, check=False)
    assert done.returncode == 0, done.stderr
