"""The book of beginnings is made by the search, in chunks if need be."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from livecube.search.book import NO_BOOK, asked
from livecube.search.hand_arrays import UPRIGHT, hand_arrays
from livecube.search.situation import CROSS_AT
from livecube.search.ways import MOST_WAYS, NEARLY_MS

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from livecube.search.book import Book
    from livecube.search.ways import FastestSearch, Way

__all__ = ["answer", "make_book"]


def answer(search: FastestSearch, number: int) -> list[Way]:
    """What the book has for a question."""
    offset, places, task = asked(number)
    start = [UPRIGHT[0]]
    return search.ways_from(
        int(CROSS_AT[offset]), np.array(places), [task], start, NEARLY_MS, MOST_WAYS
    )


def make_book(
    search: FastestSearch,
    numbers: Iterable[int],
    known: Book = NO_BOOK,
    step: Callable[[], None] = lambda: None,
) -> Book:
    """A book that answers these questions and those of ``known``.

    ``step`` is called behind each question. To make a great book in chunks give what is known
    each time; questions that are in it already cost nothing.
    """
    wanted = np.unique(np.fromiter(numbers, dtype=np.int64))
    answers = {}
    for number in wanted[known.places_of(wanted) < 0].tolist():
        answers[number] = answer(search, number)
        step()
    return known.with_answers(answers, hand_arrays(search.automaton)) if answers else known
