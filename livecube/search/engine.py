"""The search as Python calls it: tables, one position, a list of tasks, the sequences found."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from livecube.search.coordinates import PIECE_MOVES, SLOT_SYMMETRY, TURN_SEEN
from livecube.search.kernel import run
from livecube.search.situation import CROSS_AT, PLACES_AT
from livecube.search.task import FIELDS, LONGEST, Found

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.search.book import Book
    from livecube.search.situation import Situation
    from livecube.search.tables import Tables
    from livecube.search.task import Task

__all__ = ["Engine"]

_ROOM: Final = 1 << 14
"""Most sequences that one call can return (a position has some 1,500 with those one longer)."""


class Engine:
    """Answers tasks from tables. Not to be used by two threads at once."""

    def __init__(self, tables: Tables) -> None:
        self.pairs = np.empty(0, dtype=np.uint8)
        """The pair table, once it is there; every search is several times faster with it."""
        self.book: Book | None = None
        """The book, once it is there; what is in it needs no search."""
        self.tables = tables
        self._stop = np.zeros(1, dtype=np.uint8)
        self._turns = np.zeros((_ROOM, LONGEST), dtype=np.uint8)  # turns all along, even unused
        self._lengths = np.empty(_ROOM, dtype=np.int64)
        self._tasks = np.empty(_ROOM, dtype=np.int64)

    def stop(self) -> None:
        """Make the search that runs in another thread end soon; its answer is empty."""
        self._stop[0] = 1

    def search(self, situation: Situation, tasks: Sequence[Task]) -> Found:
        """All sequences of all tasks, from the book as far as it has them.

        Raises ``OverflowError`` if there are more than anybody can use.
        """
        if self.book is None or situation.offset is None:
            return self._searched(situation, tasks)
        entries = self.book.entries(situation, tasks)
        known = [number for number, entry in enumerate(entries) if entry is not None]
        if not known:
            return self._searched(situation, tasks)
        found = self.book.look_up(
            [entry for entry in entries if entry is not None], [tasks[number] for number in known]
        )
        if len(known) == len(tasks):
            return found
        others = [number for number, entry in enumerate(entries) if entry is None]
        more = self._searched(situation, [tasks[number] for number in others])
        numbers = np.concatenate([np.array(known)[found.tasks], np.array(others)[more.tasks]])
        order = np.argsort(numbers, kind="stable")
        narrower = LONGEST - found.turns.shape[1]
        return Found(
            np.concatenate([np.pad(found.turns, ((0, 0), (0, narrower))), more.turns])[order],
            np.concatenate([found.lengths, more.lengths])[order],
            numbers[order],
        )

    def shortest(self, situation: Situation, task: Task) -> int:
        """Turns of the shortest sequence of a task that has one."""
        if self.book is not None and (turns := self.book.shortest(situation, task)) is not None:
            return turns
        return int(self.search(situation, [task]).lengths[0])

    def _searched(self, situation: Situation, tasks: Sequence[Task]) -> Found:
        """All sequences of all tasks, by searching."""
        self._stop[0] = 0
        found = run(
            self.tables.moves,
            self.tables.rows,
            self.tables.alone,
            self.tables.seen,
            self.pairs,
            SLOT_SYMMETRY,
            TURN_SEEN,
            PIECE_MOVES,
            CROSS_AT,
            PLACES_AT,
            situation.cross,
            np.array(situation.places),
            np.array([task.row() for task in tasks], dtype=np.int64).reshape(-1, FIELDS),
            self._stop,
            self._turns,
            self._lengths,
            self._tasks,
        )
        if found == _ROOM:
            raise OverflowError(f"a position has {_ROOM} sequences or more")
        found = max(found, 0)
        return Found(self._turns[:found], self._lengths[:found], self._tasks[:found])

    def solve(self, situation: Situation, tasks: Sequence[Task]) -> list[list[tuple[int, ...]]]:
        """For each task its sequences in the down frame as tuples, shorter ones first."""
        answers: list[list[tuple[int, ...]]] = [[] for _ in tasks]
        found = self.search(situation, tasks)
        rows, lengths = found.turns.tolist(), found.lengths.tolist()
        for row, length, task in zip(rows, lengths, found.tasks.tolist(), strict=True):
            answers[task].append(tuple(row[:length]))
        return answers
