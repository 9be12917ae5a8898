"""The book as the search reads it: the number of a question, its entry, its sequences."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np
from numba import njit

from livecube.search.coordinates import PIECE_MOVES, SLOT_SYMMETRY
from livecube.search.situation import PLACES_AT
from livecube.search.task import ALL_TURNS, NO_D

if TYPE_CHECKING:
    import numpy.typing as npt

__all__ = [
    "BOOK_EXTRA",
    "NO_PAGES",
    "D",
    "Pages",
    "entry_of",
    "question_number",
    "read_entry",
    "turn_aside",
]

BOOK_EXTRA: Final = 1
"""So many turns longer than the shortest are sequences in the book."""
D: Final = 15
"""The turn D; D2 and D' follow."""
_MOST_LOOSE: Final = 5
"""With more pieces that are not solved a question does not fit into its number."""


class Pages(NamedTuple):
    """The book as arrays."""

    questions: npt.NDArray[np.int64]
    """Shape (n,), sorted."""
    entries: npt.NDArray[np.int64]
    """Shape (n,): the entry of each question."""
    ends: npt.NDArray[np.int64]
    """This and the next two as :class:`livecube.search.book.Book` has them."""
    turns: npt.NDArray[np.uint8]
    lengths: npt.NDArray[np.uint8]


NO_PAGES: Final = Pages(
    np.empty(0, dtype=np.int64),
    np.empty(0, dtype=np.int64),
    np.empty((0, 2), dtype=np.int64),
    np.empty((4, 0, 0), dtype=np.uint8),
    np.empty((4, 0), dtype=np.uint8),
)


@njit(cache=True, nogil=True)
def turn_aside(allowed, prefix):  # type: ignore[no-untyped-def]
    """Quarter turns of the cross layer with which every sequence begins; 0: it may begin freely."""
    if allowed != NO_D:
        return 0
    for quarters in range(1, 4):
        if prefix == 1 << quarters:
            return quarters
    return 0


@njit(cache=True, nogil=True)
def _seen_from(slots, target):  # type: ignore[no-untyped-def]
    """A set of slots, counted from the target on."""
    return (slots >> target | slots << 4 - target) & 15


@njit(cache=True, nogil=True)
def question_number(offset, places, task):  # type: ignore[no-untyped-def]
    """The number of a question with the cross whole at an offset, the same for all four targets.

    ``places`` (8,) are those of the slot pieces, ``task`` (FIELDS,) is a row of the task. −1: the
    book has none of the kind.
    """
    goal, allowed, prefix, tail, target, tied, extra = task
    if offset < 0 or extra > BOOK_EXTRA or (allowed != ALL_TURNS and allowed != NO_D):
        return np.int64(-1)
    # A task that must begin with one certain D turn is the rest of it, asked behind that turn.
    aside = turn_aside(allowed, prefix)
    if aside:
        prefix = 1
    offset = (offset + aside) % 4
    number, loose = np.int64(1), 0
    for i in range(8):
        slot, kind = (target + i) % 4, i // 4
        piece = slot + 4 * kind
        place = np.int64(places[piece])
        if aside:
            place = np.int64(PIECE_MOVES[kind, D + aside - 1, place])
        if goal >> piece & 1 and place != PLACES_AT[offset, piece]:
            number = number << 8 | 32 * i + np.int64(SLOT_SYMMETRY[target, kind, place])
            loose += 1
    if loose > _MOST_LOOSE:
        return np.int64(-1)
    seen = _seen_from(goal & 15, target) | _seen_from(goal >> 4, target) << 4
    sort = prefix | tail << 4 | tied << 6 | (allowed == NO_D) << 7
    return ((number << 8 | sort) << 8 | seen) << 2 | offset


@njit(cache=True, nogil=True)
def entry_of(pages, number):  # type: ignore[no-untyped-def]
    """The entry of a question in the book; −1: it is not in it."""
    questions = pages.questions
    low, high = 0, questions.shape[0]
    while low < high:
        middle = (low + high) >> 1
        if questions[middle] < number:
            low = middle + 1
        else:
            high = middle
    if low < questions.shape[0] and questions[low] == number:
        return pages.entries[low]
    return -1


@njit(cache=True, nogil=True)
def read_entry(pages, entry, task, out_turns, out_length, found):  # type: ignore[no-untyped-def]
    """Write out the sequences of an entry, as a task asks for them; how many there are then."""
    aside = turn_aside(task[1], task[2])
    target = task[4]
    first = pages.ends[entry - 1, 1] if entry else 0
    behind = pages.ends[entry, 1 if task[6] else 0]
    for row in range(first, behind):
        if found == out_length.shape[0]:
            break
        length = 0
        if aside:
            out_turns[found, 0] = D + aside - 1
            length = 1
        for i in range(pages.lengths[target, row]):
            out_turns[found, length] = pages.turns[target, row, i]
            length += 1
        out_length[found] = length
        found += 1
    return found
