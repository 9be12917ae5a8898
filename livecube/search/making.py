"""The book of beginnings is made by the search, in chunks if need be."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING

import numpy as np

from livecube.search.answers import book_ways
from livecube.search.book import NO_BOOK
from livecube.search.hand_arrays import hand_arrays

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from livecube.search.book import Book
    from livecube.search.ways import FastestSearch, Way

__all__ = ["make_book"]


def make_book(
    search: FastestSearch,
    numbers: Iterable[int],
    known: Book = NO_BOOK,
    step: Callable[[], None] = lambda: None,
    *,
    threads: int = 1,
) -> Book:
    """A book that answers these questions and those of ``known``.

    ``step`` is called behind each question, by any thread. To make a large book in chunks, give
    each time what is known: questions that are in it are not asked again.
    """
    wanted = np.unique(np.fromiter(numbers, dtype=np.int64))
    missing: list[int] = wanted[known.places_of(wanted) < 0].tolist()
    if not missing:
        return known
    answers: dict[int, list[Way]] = {}

    def answer(part: int) -> None:
        own = search.twin()
        for number in missing[part::threads]:
            answers[number] = book_ways(own, number)
            step()

    with ThreadPoolExecutor(threads) as pool:
        list(pool.map(answer, range(threads)))
    return known.with_answers(answers, hand_arrays(search.automaton))
