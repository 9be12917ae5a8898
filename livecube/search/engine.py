"""The search as Python calls it: tables, one position, a list of tasks, the sequences found."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from livecube.search.coordinates import PIECE_MOVES, cross_number, piece_places
from livecube.search.kernel import FIELDS, LONGEST, NO_TAIL, run
from livecube.search.situation import AT_OFFSETS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.search.situation import Situation
    from livecube.search.tables import Tables

__all__ = ["ALL_TURNS", "D_TURNS", "NO_D", "Engine", "Task"]

ALL_TURNS: Final = (1 << 18) - 1
D_TURNS: Final = 0b111 << 15
NO_D: Final = ALL_TURNS & ~D_TURNS

_ROOM: Final = 1 << 14
"""Most sequences that one call can return (a position has some 1,500 with those one longer)."""

_SOLVED_CROSS: Final = np.array([cross_number(p) for p in AT_OFFSETS])
_SOLVED_PLACES: Final = np.array([piece_places(p) for p in AT_OFFSETS], dtype=np.uint8)


@dataclass(frozen=True, slots=True)
class Task:
    """One question for the kernel; see :mod:`livecube.search.kernel` for the fields."""

    goal: int
    allowed: int = ALL_TURNS
    prefix: int = 1
    tail: int = NO_TAIL
    target: int = 0
    tied: bool = False
    extra: int = 0

    def row(self) -> tuple[int, ...]:
        """The task as the kernel reads it."""
        return (
            self.goal,
            self.allowed,
            self.prefix,
            self.tail,
            self.target,
            int(self.tied),
            self.extra,
        )


class Engine:
    """Answers tasks from tables. Not to be used by two threads at once."""

    def __init__(self, tables: Tables) -> None:
        self._tables = tables
        self._turns = np.empty((_ROOM, LONGEST), dtype=np.uint8)
        self._length = np.empty(_ROOM, dtype=np.int64)
        self._task = np.empty(_ROOM, dtype=np.int64)

    def solve(self, situation: Situation, tasks: Sequence[Task]) -> list[list[tuple[int, ...]]]:
        """For each task its sequences in the down frame, shorter ones first.

        Raises ``OverflowError`` if there are more sequences than anybody can use.
        """
        answers: list[list[tuple[int, ...]]] = [[] for _ in tasks]
        rows = np.array([task.row() for task in tasks], dtype=np.int64).reshape(-1, FIELDS)
        found = run(
            self._tables.moves,
            self._tables.rows,
            PIECE_MOVES,
            _SOLVED_CROSS,
            _SOLVED_PLACES,
            situation.cross,
            situation.places,
            rows,
            self._turns,
            self._length,
            self._task,
        )
        if found == _ROOM:
            raise OverflowError(f"a position has {_ROOM} sequences or more")
        turns, lengths = self._turns[:found].tolist(), self._length[:found].tolist()
        for row, length, task in zip(turns, lengths, self._task[:found].tolist(), strict=True):
            answers[task].append(tuple(row[:length]))
        return answers
