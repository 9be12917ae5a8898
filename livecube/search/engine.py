"""The search as Python calls it: tables, a position, a list of tasks, the sequences found."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from livecube.search.situation import (
    CROSS_AT,
    PIECE_MOVES,
    PLACES_AT,
    SLOT_SYMMETRY,
    TURN_SEEN,
)
from livecube.search.spelling import spelled
from livecube.search.task import LONGEST, Found, task_rows
from livecube.search.uncompiled import TooManyTurnsError, shortest_sequences

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from livecube.search.hand_arrays import HandArrays
    from livecube.search.situation import Situation
    from livecube.search.tables import Tables
    from livecube.search.task import Task, Written

__all__ = ["PATIENCE", "PATIENCE_AT_FIRST", "Engine"]

_ROOM: Final = 1 << 14
"""Most sequences of one call (a position has about 1,500, one turn longer included)."""


PATIENCE: Final = 500_000
"""Turns that are tried without a kernel before it is loaded, which takes as long as all of them."""
PATIENCE_AT_FIRST: Final = 5_000_000
"""The same on a machine where the kernel has yet to be compiled."""
_SPELLING: Final = 5_000
"""As many take as long as a spelling without a kernel."""


class Engine:
    """Answers tasks from tables. Not to be used by two threads at once."""

    def __init__(self, tables: Tables, patience: int = 0) -> None:
        """``patience``: so many turns are tried before the kernels are loaded."""
        self.pairs = np.empty(0, dtype=np.uint8)
        """The pair table, once it is built; it makes every search several times faster."""
        self.tables = tables
        self._patience = patience
        self._turns = np.zeros((_ROOM, LONGEST), dtype=np.uint8)  # valid turns, even where unused
        self._lengths = np.empty(_ROOM, dtype=np.int64)
        self._tasks = np.empty(_ROOM, dtype=np.int64)
        self._scratch: tuple[npt.NDArray[np.int64], ...] | None = None

    def twin(self) -> Engine:
        """An engine over the same tables, for another thread."""
        twin = Engine(self.tables, self._patience)
        twin.pairs = self.pairs
        return twin

    def search(self, situation: Situation, tasks: Sequence[Task]) -> Found:
        """All shortest sequences of all tasks.

        Raises ``OverflowError`` if there are too many.
        """
        from livecube.search.shortest_kernel import empty_scratch, run

        if self._scratch is None:
            self._scratch = empty_scratch()
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
            self._scratch,
            self._turns,
            self._lengths,
            self._tasks,
        )
        if found == _ROOM:
            raise OverflowError(f"a position has {_ROOM} sequences or more")
        return Found(self._turns[:found], self._lengths[:found], self._tasks[:found])

    def shortest(self, situation: Situation, task: Task) -> int:
        """Number of turns of the shortest sequence of a task; there must be one."""
        return len(self.solve(situation, [task])[0][0])

    def solve(self, situation: Situation, tasks: Sequence[Task]) -> list[list[tuple[int, ...]]]:
        """For each task its sequences in the down frame as tuples, shorter ones first."""
        if self._patience > 0:
            try:
                answers, tried = shortest_sequences(
                    self.tables, self.pairs, situation, tasks, self._patience
                )
            except TooManyTurnsError:
                self._patience = 0
            else:
                self._patience -= tried
                return answers
        answers = [[] for _ in tasks]
        found = self.search(situation, tasks)
        rows, lengths = found.turns.tolist(), found.lengths.tolist()
        for row, length, task in zip(rows, lengths, found.tasks.tolist(), strict=True):
            answers[task].append(tuple(row[:length]))
        return answers

    def spelled(
        self, hands: HandArrays, sequences: Sequence[Sequence[int]], starts: Sequence[int]
    ) -> list[Written]:
        """The cheapest written form of each sequence: :func:`livecube.search.spelling.spelled`."""
        self._patience -= _SPELLING * len(sequences)
        return spelled(hands, sequences, starts, compiled=self._patience <= 0)
