"""The fastest ways, from the book or from a search."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from livecube.cube.position import in_one_order
from livecube.hands.automaton import MOVES
from livecube.search.book import (
    FIRST_ROTATION,
    NO_BOOK,
    asked,
    ceiling_ms,
    question_numbers,
    way_tokens,
)
from livecube.search.hand_arrays import AFTER, HOLDING_SEEN, ROTATED_BY, UPRIGHT, hand_arrays
from livecube.search.situation import CROSS_AT, TURN_SEEN
from livecube.search.task import (
    FASTEST_MS,
    MOST_WAYS,
    NEARLY_MS,
    TWO_PARTS_MS,
    Written,
    fastest_of,
    task_rows,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    import numpy.typing as npt

    from livecube.cube.holding import Move
    from livecube.hands.automaton import Automaton
    from livecube.search.book import Book
    from livecube.search.openings import Openings
    from livecube.search.situation import Situation
    from livecube.search.task import Task
    from livecube.search.ways import FastestSearch, Way

__all__ = ["Answers", "book_ways", "make_book"]

_TURN_GIVEN: Final = [np.argsort(TURN_SEEN[slot]).tolist() for slot in range(4)]
_HOLDING_GIVEN: Final = [np.argsort(HOLDING_SEEN[slot]).tolist() for slot in range(4)]
_AFTER: Final[list[list[int]]] = AFTER.tolist()
_ROTATED_BY: Final[list[list[int]]] = ROTATED_BY.tolist()

_Key = tuple[int | None, bytes, "Task", tuple[int, ...]]
_REMEMBERED: Final = 10_000
"""Number of kept answers: the same pair is asked for repeatedly while others are solved."""


def _at_once() -> None:
    """Do not wait."""


class Answers:
    """Answers questions for one pair of hands. Not to be used by two threads at once."""

    def __init__(
        self,
        automaton: Automaton,
        book: Book = NO_BOOK,
        search: FastestSearch | None = None,
        openings: Openings | None = None,
    ) -> None:
        self.automaton = automaton
        self.hands = hand_arrays(automaton)
        self.book = book
        self.search = search
        """None: only the book answers, and ``openings``."""
        self.pause: Callable[[], None] = _at_once
        """Called before each answer: a thread may let another one go first."""
        self.openings = openings
        """Answers questions of inspection instead of the search."""
        self._moves: list[tuple[Move, ...]] = [(move,) for move in MOVES]
        self._moves += automaton.rotation_moves[0]
        self._known: dict[_Key, list[Written]] = {}

    def twin(self) -> Answers:
        """Answers for the same hands in another thread; tables and book are shared."""
        search = self.search and self.search.twin()
        openings = self.openings and self.openings.twin()
        return Answers(self.automaton, self.book, search, openings)

    def moves(self, tokens: Sequence[int]) -> tuple[Move, ...]:
        """Tokens as moves and rotations."""
        return tuple(move for token in tokens for move in self._moves[token])

    def filled(self, numbers: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
        """The place of each question in the book, answered first if need be; −1: unknown."""
        self.pause()
        at = self.book.places_of(numbers)
        missing = sorted(set(numbers[(at < 0) & (numbers >= 0)].tolist()))
        if not missing or self.search is None:
            return at
        answers = {}
        for number in missing:
            answers[number] = book_ways(self.search, number)
        self.book = self.book.with_answers(answers, self.hands)
        return self.book.places_of(numbers)

    def ways(
        self,
        situation: Situation,
        parts: Sequence[Task],
        starts: Sequence[int],
        *,
        however_dear: bool = True,
    ) -> list[Written]:
        """The fastest ways of a question, best first.

        Returns all ways up to ``FASTEST_MS`` slower than the best, at most ``MOST_WAYS``. ``parts``
        and ``starts`` as for :class:`~livecube.search.ways.FastestSearch`. Empty if neither the
        book nor openings have them, and there is no search. ``however_dear``: also search for
        keyholes slower than the ceiling of the book; some of these searches take long. In two parts
        no way is slower than ``TWO_PARTS_MS``.
        """
        self.pause()
        known = self._from_book(situation, parts, starts, however_dear=however_dear)
        if known is not None:
            return known
        if self.openings is not None and self.openings.knows(situation, parts):
            found = self.openings.ways(situation, parts, starts)
        elif self.search is None:
            return []
        else:
            limit = {"ceiling_ms": TWO_PARTS_MS} if len(parts) > 1 else {}
            found = self.search.ways(
                situation, parts, starts, within_ms=FASTEST_MS, most=MOST_WAYS, **limit
            )
        return [Written(way.ms, way.turns, way_tokens(way), way.start, way.end) for way in found]

    def _from_book(
        self,
        situation: Situation,
        parts: Sequence[Task],
        starts: Sequence[int],
        *,
        however_dear: bool,
    ) -> list[Written] | None:
        """The same from the book; None: the book does not have all of it."""
        if len(parts) > 1:
            return None
        [part] = parts
        self.look_up(situation, parts, starts)
        ways = self._known.get(_key(situation, part, starts))
        if ways is None:
            return None
        highest = ceiling_ms(part, self.automaton)
        if not ways or (highest is not None and ways[0].ms + FASTEST_MS > highest):
            return None if however_dear and self.search is not None else []
        return fastest_of(ways)

    def look_up(self, situation: Situation, tasks: Iterable[Task], starts: Sequence[int]) -> None:
        """Remember what the book says to several questions: sooner done than one by one."""
        if situation.offset is None or not all(start in UPRIGHT for start in starts):
            return
        keys = {task: _key(situation, task, starts) for task in tasks}
        new = [task for task, key in keys.items() if key not in self._known]
        if not new:
            return
        fronts = np.array([UPRIGHT.index(start) for start in starts])
        rows = np.repeat(task_rows(new), len(fronts), axis=0)
        places = np.broadcast_to(situation.places, (len(rows), 8))
        numbers = question_numbers(situation.offset, places, np.tile(fronts, len(new)), rows)
        if len(self._known) >= _REMEMBERED:
            self._known.clear()
        for task, at in zip(new, self.filled(numbers).reshape(len(new), -1), strict=True):
            if (at >= 0).all():
                self._known[keys[task]] = self._cheapest(fronts, at)

    def _cheapest(
        self, fronts: npt.NDArray[np.int64], places: npt.NDArray[np.int64]
    ) -> list[Written]:
        """The ways that count as fastest among those of questions at these places of the book.

        The fastest comes first, each comes only once.
        """
        best: dict[tuple[int, ...], Written] = {}
        ends, ms = self.book.ends, self.book.entries.ms
        groups = [self.book.ways[ends[question] : ends[question + 1]] for question in places]
        most = min((int(ms[group].min()) for group in groups if len(group)), default=0) + FASTEST_MS
        for front, group in zip(fronts.tolist(), groups, strict=True):
            for entry in group[ms[group] <= most].tolist():
                way = self.entry(entry, front)
                turns = in_one_order(way.turns)
                if turns not in best or way.ms < best[turns].ms:
                    best[turns] = way
        ways = [*best.values()]
        if len(fronts) > 1:  # the book has those from one front in this order
            ways.sort(key=lambda way: (way.ms, self.text(way)))
        return ways

    def behind_rotation(self, way: Written, start: int) -> Written:
        """The way, begun in holding ``start``: with a rotation first if it begins in another."""
        if way.start == start:
            return way
        token = FIRST_ROTATION + int(np.flatnonzero(ROTATED_BY[start] == way.start).item())
        tokens = (token, *way.tokens)
        ms = self.automaton.sequence_ms(self.moves(tokens)) + int(self.hands.finish[way.end])
        return way._replace(ms=ms, tokens=tokens, start=start)

    def first_ms(self, way: Written) -> int:
        """The price of its first turn, with the rotations before it; 0 without turns."""
        count = next((n for n, token in enumerate(way.tokens, 1) if token < FIRST_ROTATION), None)
        return self.automaton.sequence_ms(self.moves(way.tokens[:count]))

    def text(self, way: Written) -> str:
        """A sequence as text."""
        return " ".join(map(str, self.moves(way.tokens)))

    def entry(self, entry: int, front: int) -> Written:
        """An entry of the book, begun with slot ``front`` at the front right."""
        entries = self.book.entries
        tokens = [token for token in entries.tokens[entry].tolist() if token < 255]
        turns = [turn for turn in entries.turns[entry].tolist() if turn < 18]
        held = 0
        for token in tokens:
            if token < FIRST_ROTATION:
                held = _AFTER[held][token]
            else:
                held = _ROTATED_BY[held][token - FIRST_ROTATION]
        return Written(
            int(entries.ms[entry]),
            tuple(_TURN_GIVEN[front][turn] for turn in turns),
            tuple(tokens),
            UPRIGHT[front],
            _HOLDING_GIVEN[front][held],
        )


def _key(situation: Situation, task: Task, starts: Sequence[int]) -> _Key:
    return situation.offset, situation.places.tobytes(), task, tuple(starts)


def book_ways(search: FastestSearch, number: int) -> list[Way]:
    """The ways that the book keeps for a question: the fastest, and those nearly as fast."""
    offset, places, task = asked(number)
    highest = ceiling_ms(task, search.automaton)
    return search.ways_from(
        int(CROSS_AT[offset]), np.array(places), [task], [0], NEARLY_MS, MOST_WAYS,
        **({} if highest is None else {"ceiling_ms": highest}),
    )  # fmt: skip


# The search makes the book of beginnings, in chunks if need be.


def make_book(
    search: FastestSearch,
    numbers: Iterable[int],
    known: Book = NO_BOOK,
    *,
    threads: int = 1,
) -> Book:
    """A book that answers these questions and those in ``known``.

    To make a large book in chunks, pass the book so far each time: its questions are not answered
    again.
    """
    from concurrent.futures import ThreadPoolExecutor  # seldom needed, and slow to import

    wanted = np.unique(np.fromiter(numbers, dtype=np.int64))
    missing: list[int] = wanted[known.places_of(wanted) < 0].tolist()
    if not missing:
        return known
    answers: dict[int, list[Way]] = {}

    def answer(part: int) -> None:
        own = search.twin()
        for number in missing[part::threads]:
            answers[number] = book_ways(own, number)

    with ThreadPoolExecutor(threads) as pool:
        list(pool.map(answer, range(threads)))
    return known.with_answers(answers, hand_arrays(search.automaton))
