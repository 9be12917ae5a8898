"""The book: answers with the cross whole, worked out once.

With the cross whole an answer depends only on the question, the offset, and on where those
pieces are that it asks for and that are not solved; turned so that its target is the slot at
the front right, there are some thousands of such questions. The book holds the sequences of
those it is made of, also those one turn longer than the shortest. What it does not hold is
searched for.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt

from livecube.cube.geometry import OPPOSITE
from livecube.search.book_kernel import BOOK_EXTRA, Pages, entry_of, question_number, turn_aside
from livecube.search.coordinates import TURN_SEEN
from livecube.search.task import task_rows

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from livecube.search.engine import Engine
    from livecube.search.situation import Situation
    from livecube.search.task import Task

__all__ = ["BOOK_EXTRA", "Book", "make_book", "question"]

_WIDTH: Final = 12
"""No sequence in the book has more turns."""
_UNUSED: Final = 18
"""Behind the end of a sequence."""


def question(situation: Situation, task: Task) -> int | None:
    """The number of a question with the cross whole, the same for all four targets.

    None: the book has none of the kind.
    """
    if situation.offset is None:
        return None
    number = int(question_number(situation.offset, situation.places, task_rows([task])[0]))
    return None if number < 0 else number


@dataclass(frozen=True)
class Book:
    """Answers by the number of their question."""

    questions: npt.NDArray[np.int64]
    """Shape (n,)."""
    ends: npt.NDArray[np.int64]
    """Shape (n, 2): behind the last of each question's shortest sequences, and behind the last
    of all; those of the next question follow."""
    turns: npt.NDArray[np.uint8]
    """Shape (4, m, k): the sequences for each target."""
    lengths: npt.NDArray[np.uint8]
    """Shape (4, m)."""

    @cached_property
    def pages(self) -> Pages:
        """The same as the search reads it."""
        order = self.questions.argsort()
        return Pages(self.questions[order], order, self.ends, self.turns, self.lengths)

    @property
    def is_whole(self) -> bool:
        """Whether its parts fit together, as far as that can be seen at once."""
        if self.ends.shape != (len(self.questions), 2) or not len(self.questions):
            return False
        count = int(self.ends[-1, 1])
        return self.lengths.shape == (4, count) == self.turns.shape[:2]

    def entries(self, situation: Situation, tasks: Sequence[Task]) -> list[int | None]:
        """For each task the number of its entry; None: it is not in the book."""
        return [self._entry(question(situation, task)) for task in tasks]

    def _entry(self, number: int | None) -> int | None:
        entry = -1 if number is None else int(entry_of(self.pages, number))
        return None if entry < 0 else entry

    def shortest(self, situation: Situation, task: Task) -> int | None:
        """Turns of the shortest sequence of a task; None: it is not in the book."""
        (entry,) = self.entries(situation, [task])
        if entry is None:
            return None
        first = int(self.ends[entry - 1, 1]) if entry else 0
        aside = int(turn_aside(task.allowed, task.prefix))
        return int(self.lengths[task.target, first]) + (aside > 0)


def make_book(engine: Engine, questions: Iterable[tuple[Situation, Task]]) -> Book:
    """Answer questions by searching, each number once.

    ``engine`` should have the pair table, which makes it several times quicker, and no book.
    """
    numbers, ends, turns, lengths = list[int](), list[tuple[int, int]](), [], []
    known, end = set[int](), 0
    for situation, task in questions:
        number = question(situation, task)
        if number is None or number in known:
            continue
        known.add(number)
        found = engine.search(situation, [task._replace(extra=BOOK_EXTRA)])
        if found.lengths.max(initial=0) > _WIDTH:
            raise OverflowError(f"a sequence has more turns than the {_WIDTH} that the book holds")
        shortest = int(np.count_nonzero(found.lengths == found.lengths[:1]))
        numbers.append(number)
        ends.append((end + shortest, end + len(found.lengths)))
        end += len(found.lengths)
        begun = int(turn_aside(task.allowed, task.prefix) > 0)
        rest = found.turns[:, begun : begun + _WIDTH]
        used = np.arange(_WIDTH) < found.lengths[:, None] - begun
        turns.append(np.where(used, TURN_SEEN[task.target][rest], _UNUSED))
        lengths.append((found.lengths - begun).astype(np.uint8))
    questioned = np.repeat(np.arange(len(ends)), [len(rows) for rows in lengths])
    for_slot_0 = np.concatenate(turns), np.concatenate(lengths)
    for_all = [_for_target(target, questioned, *for_slot_0) for target in range(4)]
    return Book(
        np.array(numbers, dtype=np.int64),
        np.array(ends, dtype=np.int64),
        np.array([turns for turns, _ in for_all]),
        np.array([lengths for _, lengths in for_all]),
    )


def _for_target(
    target: int,
    questioned: npt.NDArray[np.int64],
    turns: npt.NDArray[np.uint8],
    lengths: npt.NDArray[np.uint8],
) -> tuple[npt.NDArray[np.uint8], npt.NDArray[np.uint8]]:
    """The sequences for slot 0 turned to another slot, as a search would find them there.

    Turned round, turns of opposite faces may stand in the other order, and so may sequences.
    """
    given = np.append(np.argsort(TURN_SEEN[target]), _UNUSED).astype(np.uint8)[turns]
    opposite = np.array([3 * face for face in OPPOSITE])
    for i in range(_WIDTH - 1):
        one, other = given[:, i].copy(), given[:, i + 1].copy()
        beside = (one >= 3) & (one < 15)  # turns of U and D stay what they are
        there = opposite[np.where(beside, one, 0) // 3]
        swap = beside & (other // 3 * 3 == there) & (one > other)
        given[:, i], given[:, i + 1] = np.where(swap, other, one), np.where(swap, one, other)
    columns = [given[:, i] for i in range(_WIDTH - 1, -1, -1)]
    order = np.lexsort(np.array([*columns, lengths, questioned]))
    return np.where(given == _UNUSED, 0, given)[order], lengths[order]
