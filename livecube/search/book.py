"""The book: answers with the cross whole, worked out once.

With the cross whole an answer depends only on the question, the offset, and on where those
pieces are that it asks for and that are not solved; turned so that its target is the slot at
the front right, there are some thousands of such questions. The book holds the sequences of
those it is made of, also those one turn longer than the shortest. What it does not hold is
searched for.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt

from livecube.cube.geometry import OPPOSITE
from livecube.search.coordinates import PIECE_MOVES, SLOT_SYMMETRY, TURN_SEEN
from livecube.search.situation import PLACES_AT
from livecube.search.task import ALL_TURNS, NO_D, Found

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from livecube.search.engine import Engine
    from livecube.search.situation import Situation
    from livecube.search.task import Task

__all__ = ["BOOK_EXTRA", "Book", "make_book", "question"]

BOOK_EXTRA: Final = 1
"""So many turns longer than the shortest are sequences in the book."""
_MOST_LOOSE: Final = 5
"""With more pieces that are not solved a question does not fit into its number."""

_WIDTH: Final = 12
"""No sequence in the book has more turns."""
_UNUSED: Final = 18
"""Behind the end of a sequence."""

_SOLVED_PLACES: Final = PLACES_AT.tolist()
_ASIDE: Final = {1 << quarters: quarters for quarters in (1, 2, 3)}
_D: Final = 15
"""The turn D; D2 and D' follow."""
_TURNED_ASIDE: Final[list[list[list[int]]]] = [
    [list(range(24))] * 2,
    *PIECE_MOVES[:, _D : _D + 3].swapaxes(0, 1).tolist(),
]
"""By quarter turns of the cross layer and kind of piece: where each place gets."""
_SEEN: Final[list[list[list[int]]]] = SLOT_SYMMETRY.tolist()


def question(situation: Situation, task: Task) -> int | None:
    """The number of a question with the cross whole, the same for all four targets.

    None: the book has none of the kind.
    """
    if situation.offset is None or task.extra > BOOK_EXTRA or task.allowed not in (ALL_TURNS, NO_D):
        return None
    target, goal = task.target, task.goal
    # A task that must begin with one certain D turn is the rest of it, asked behind that turn.
    aside = _only_turn_aside(task)
    prefix, offset = 1 if aside else task.prefix, (situation.offset + aside) % 4
    number, loose = 1, 0
    places, solved = situation.places, _SOLVED_PLACES[offset]
    for i in range(8):
        slot, kind = (target + i) % 4, i // 4
        piece = slot + 4 * kind
        place = _TURNED_ASIDE[aside][kind][places[piece]]
        if goal >> piece & 1 and place != solved[piece]:
            number = number << 8 | 32 * i + _SEEN[target][kind][place]
            loose += 1
    if loose > _MOST_LOOSE:
        return None
    corners, edges = _seen_from(goal & 15, target), _seen_from(goal >> 4, target)
    goal = corners | edges << 4
    kind = prefix | task.tail << 4 | task.tied << 6 | (task.allowed == NO_D) << 7
    return ((number << 8 | kind) << 8 | goal) << 2 | offset


def _only_turn_aside(task: Task) -> int:
    """Quarter turns of the cross layer with which every sequence begins; 0: it may begin freely."""
    return _ASIDE.get(task.prefix, 0) if task.allowed == NO_D else 0


def _seen_from(slots: int, target: int) -> int:
    """A set of slots, counted from the target on."""
    return (slots >> target | slots << 4 - target) & 15


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
    def _entry(self) -> dict[int, int]:
        return {number: entry for entry, number in enumerate(self.questions.tolist())}

    @cached_property
    def _ends(self) -> list[list[int]]:
        return [[0, 0], *self.ends.tolist()]

    @property
    def is_whole(self) -> bool:
        """Whether its parts fit together, as far as that can be seen at once."""
        if self.ends.shape != (len(self.questions), 2) or not len(self.questions):
            return False
        count = int(self.ends[-1, 1])
        return self.lengths.shape == (4, count) == self.turns.shape[:2]

    def entries(self, situation: Situation, tasks: Sequence[Task]) -> list[int | None]:
        """For each task the number of its entry; None: it is not in the book."""
        numbers = (question(situation, task) for task in tasks)
        return [None if number is None else self._entry.get(number) for number in numbers]

    def shortest(self, situation: Situation, task: Task) -> int | None:
        """Turns of the shortest sequence of a task; None: it is not in the book."""
        (entry,) = self.entries(situation, [task])
        if entry is None:
            return None
        rest = int(self.lengths[task.target, self._ends[entry][1]])
        return rest + (_only_turn_aside(task) > 0)

    def look_up(self, entries: Sequence[int], tasks: Sequence[Task]) -> Found:
        """The answers in these entries, one a task."""
        turns, lengths, counts = [], [], []
        for entry, task in zip(entries, tasks, strict=True):
            first, behind = self._ends[entry][1], self._ends[entry + 1][1 if task.extra else 0]
            rows, many = (
                self.turns[task.target, first:behind],
                self.lengths[task.target, first:behind],
            )
            if aside := _only_turn_aside(task):
                rows = np.insert(rows[:, :-1], 0, _D + aside - 1, axis=1)
                many = many + 1
            turns.append(rows)
            lengths.append(many)
            counts.append(behind - first)
        return Found(
            np.concatenate(turns),
            np.concatenate(lengths).astype(np.int64),
            np.repeat(np.arange(len(tasks)), counts),
        )


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
        found = engine.search(situation, [replace(task, extra=BOOK_EXTRA)])
        if found.lengths.max(initial=0) > _WIDTH:
            raise OverflowError(f"a sequence has more turns than the {_WIDTH} that the book holds")
        shortest = int(np.count_nonzero(found.lengths == found.lengths[:1]))
        numbers.append(number)
        ends.append((end + shortest, end + len(found.lengths)))
        end += len(found.lengths)
        begun = int(_only_turn_aside(task) > 0)
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
