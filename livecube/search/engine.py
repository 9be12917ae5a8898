"""The search as Python calls it: tables, one position, a list of tasks, the sequences found."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from livecube.search.coordinates import PIECE_MOVES, SLOT_SYMMETRY, TURN_SEEN
from livecube.search.kernel import run
from livecube.search.situation import CROSS_AT, PLACES_AT
from livecube.search.task import LONGEST, Found, task_rows

if TYPE_CHECKING:
    from collections.abc import Sequence

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
        self.tables = tables
        self._stop = np.zeros(1, dtype=np.uint8)
        self._turns = np.zeros((_ROOM, LONGEST), dtype=np.uint8)  # turns all along, even unused
        self._lengths = np.empty(_ROOM, dtype=np.int64)
        self._tasks = np.empty(_ROOM, dtype=np.int64)

    def twin(self) -> Engine:
        """Another one over the same tables, for another thread."""
        twin = Engine(self.tables)
        twin.pairs = self.pairs
        return twin

    def stop(self) -> None:
        """Make the search that runs in another thread end soon; its answer is empty."""
        self._stop[0] = 1

    def search(self, situation: Situation, tasks: Sequence[Task]) -> Found:
        """All shortest sequences of all tasks.

        Raises ``OverflowError`` if there are more than anybody can use.
        """
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
            situation.places,
            task_rows(tasks),
            self._stop,
            self._turns,
            self._lengths,
            self._tasks,
        )
        if found == _ROOM:
            raise OverflowError(f"a position has {_ROOM} sequences or more")
        found = max(found, 0)
        return Found(self._turns[:found], self._lengths[:found], self._tasks[:found])

    def shortest(self, situation: Situation, task: Task) -> int:
        """Turns of the shortest sequence of a task that has one."""
        return int(self.search(situation, [task]).lengths[0])

    def solve(self, situation: Situation, tasks: Sequence[Task]) -> list[list[tuple[int, ...]]]:
        """For each task its sequences in the down frame as tuples, shorter ones first."""
        answers: list[list[tuple[int, ...]]] = [[] for _ in tasks]
        found = self.search(situation, tasks)
        rows, lengths = found.turns.tolist(), found.lengths.tolist()
        for row, length, task in zip(rows, lengths, found.tasks.tolist(), strict=True):
            answers[task].append(tuple(row[:length]))
        return answers
