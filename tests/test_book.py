"""The book says what the search finds, for every target, and knows what solves ask."""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from random import Random
from typing import TYPE_CHECKING

import numpy as np
import pytest

from livecube.cube.geometry import FACES
from livecube.cube.notation import parse_turns
from livecube.cube.position import SOLVED, apply_turn, apply_turns, rotated, rotation_taking
from livecube.edges.cache import book_made_apart, kept_book, kept_pair_table, pair_table_made_apart
from livecube.search.engine import Engine
from livecube.search.situation import Situation
from livecube.search.task import NO_D, Task
from livecube.techniques.questions import questions
from livecube.techniques.registry import TECHNIQUES
from livecube.virtual.session import session

if TYPE_CHECKING:
    from livecube.search.book import Book
    from livecube.search.tables import Tables

_SAMPLE = 150
_DOWN = FACES.index("D")
_RING = [FACES.index(face) for face in "FRBL"]


@pytest.fixture(scope="module")
def searching(tables: Tables) -> Engine:
    """An engine that looks nothing up."""
    engine = Engine(tables)
    pairs = kept_pair_table()
    pairs = pair_table_made_apart() if pairs is None else pairs
    if pairs is not None:
        engine.pairs = pairs
    return engine


@pytest.fixture(scope="module")
def book() -> Book:
    kept = kept_book() or book_made_apart()
    if kept is None:
        pytest.skip("the cache folder cannot be written to")
    return kept


@pytest.fixture(scope="module")
def knowing(searching: Engine, book: Book) -> Engine:
    """An engine that looks up what it can."""
    engine = Engine(searching.tables)
    engine.pairs = searching.pairs
    engine.book = book
    return engine


def _tasks(situation: Situation) -> list[Task]:
    """What techniques ask that is in the book: nothing that another goes on from."""
    return [
        chance.task
        for technique in TECHNIQUES
        if not technique.in_inspection
        for chance in technique.chances(situation)
        if not chance.then
    ]


@pytest.mark.parametrize("quarters", range(4))
def test_the_book_says_what_the_search_finds_in_the_same_order(
    quarters: int, searching: Engine, knowing: Engine, book: Book
) -> None:
    random = Random(quarters)
    spin = rotation_taking(_DOWN, _DOWN, _RING[0], _RING[quarters])
    seen = set()
    for before, _ in random.sample(list(questions(TECHNIQUES)), _SAMPLE):
        situation = Situation.of_down(rotated(before.position, spin), _DOWN)
        tasks = [task._replace(extra=random.randrange(2)) for task in _tasks(situation)]
        assert None not in book.entries(situation, tasks)
        assert knowing.solve(situation, tasks) == searching.solve(situation, tasks)
        seen |= {(situation.offset, task.target, task.extra) for task in tasks}
    assert seen == set(product(range(4), range(4), range(2)))


def test_what_is_asked_in_solves_is_in_the_book(book: Book) -> None:
    asked = [0, 0, 0, 0]
    for solve in session(seed=5, solves=40).solves:
        position = SOLVED
        for turn in solve.turns:
            position = apply_turn(position, turn.turn)
            situation = Situation.of(position, solve.cross)
            if situation.offset is not None:
                tasks = _tasks(situation)
                assert None not in book.entries(situation, tasks)
                asked[situation.offset] += len(tasks)
    assert min(asked) > 50


def test_what_the_book_has_not_is_searched_for_beside_what_it_has(
    searching: Engine, knowing: Engine, book: Book
) -> None:
    situation = Situation.of_down(apply_turns(SOLVED, parse_turns("R U R' U")), _DOWN)
    known = Task(goal=0b11111111, target=0)
    without_l = Task(goal=0b11111111, target=0, allowed=NO_D & ~0b111000)
    longer = Task(goal=0b11111111, target=0, extra=2)
    tasks = [without_l, known, longer, known]
    assert [entry is None for entry in book.entries(situation, tasks)] == [True, False, True, False]
    assert knowing.solve(situation, tasks) == searching.solve(situation, tasks)


def test_a_book_whose_parts_do_not_fit_together_is_not_whole(book: Book) -> None:
    assert book.is_whole
    assert not replace(book, lengths=book.lengths[:, 1:]).is_whole
    assert not replace(book, ends=book.ends[1:]).is_whole
    assert not replace(book, questions=np.empty(0, np.int64), ends=np.empty((0, 2), int)).is_whole
