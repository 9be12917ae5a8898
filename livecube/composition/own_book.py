"""The book of beginnings for somebody's own hands, made beside a run by another process.

For the usual hands the answers to all beginnings come with livecube. For other hands the search
answers while this process makes the same book in the cache, piece by piece, at the lowest priority.
A kill loses at most a piece. The process ends with the run, however that ends, and when its file is
thrown away because the hands have changed.
"""

from __future__ import annotations

import asyncio
import multiprocessing
import os
import signal
import threading
import time
from collections import Counter
from contextlib import suppress
from typing import TYPE_CHECKING, Any, Final

from livecube.edges.cache import is_book_kept, keep_book, keep_compiled_code, kept_book, load_search

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from multiprocessing.connection import Connection

    import numpy as np
    import numpy.typing as npt

    from livecube.advice.advisor import Advisor
    from livecube.hands.automaton import Automaton
    from livecube.search.ways import FastestSearch

__all__ = ["in_order", "make_beside", "make_pieces", "often_asked"]

_REST_S: Final = 5.0
"""Seconds after the start of a run, which needs the processor itself."""
_LOOK_S: Final = 20.0
"""Seconds between two looks at what is made."""
_PIECE_S: Final = 10.0
"""A piece is kept when it took so long; a kill loses no more, but for one long question."""
_LOWEST: Final = 19
_SOLVES: Final = 100
"""Virtual solves that say which questions come up first."""


async def make_beside(advisor: Advisor, pieces: Callable[[], None] = lambda: None) -> None:
    """Let a process make the book for an advisor's hands, until it is whole or this is cancelled.

    The advisor, which belongs to the loop, gets what is made every now and then; ``pieces`` is
    called then. It returns at once if the book is whole.
    """
    from livecube.search.book import all_questions

    hands = advisor.answers.automaton
    await asyncio.sleep(_REST_S)
    # In a thread: it unpacks a part of the shipped book, and a turn must not wait for that.
    if len(advisor.answers.book.questions) >= len(await asyncio.to_thread(all_questions)):
        return
    fresh = multiprocessing.get_context("spawn")
    ours, theirs = fresh.Pipe()
    serving = theirs, hands, _PIECE_S, _SOLVES
    process = fresh.Process(target=_serve, args=serving, daemon=True)
    try:
        await asyncio.to_thread(process.start)
        theirs.close()
        while process.is_alive():
            await asyncio.sleep(_LOOK_S)
            await asyncio.to_thread(_renewed, advisor)
            pieces()
    finally:
        ours.close()
        if process.pid is not None:
            process.kill()
            process.join()


def _renewed(advisor: Advisor) -> None:
    """Give an advisor what is made; it keeps the answers that it found itself."""
    answers = advisor.answers
    # One assignment: the loop, which works with the book meanwhile, sees the one or the other.
    answers.book = kept_book(answers.automaton).joined(answers.book, answers.hands)


def _serve(link: Connection[Any, Any], hands: Automaton, piece_s: float, solves: int) -> None:
    """Make the book until it is whole, or until the other end of the link is closed."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the run
    with suppress(AttributeError, OSError):
        os.nice(_LOWEST)
    threading.Thread(target=_end_with, args=(link,), daemon=True).start()
    keep_compiled_code()
    with suppress(OSError):  # the disk is full: the search goes on answering
        make_pieces(load_search(hands), in_order(solves), piece_s)


def _end_with(link: Connection[Any, Any]) -> None:
    with suppress(EOFError, OSError):
        link.recv()
    os._exit(0)


def make_pieces(
    search: FastestSearch,
    numbers: Iterable[int],
    piece_s: float = _PIECE_S,
    now: Callable[[], float] = time.monotonic,
) -> None:
    """Answer questions in this order, and keep the book after each piece of ``piece_s`` seconds.

    Questions that the kept book answers are passed over. It ends early if that file was thrown
    away meanwhile. Raises ``OSError`` if the book cannot be kept.
    """
    from livecube.search.answers import book_ways
    from livecube.search.hand_arrays import hand_arrays

    hands = search.automaton
    book, begun = kept_book(hands), is_book_kept(hands)
    known, answers, since = {*book.questions.tolist()}, {}, now()
    for number in numbers:
        if number in known:
            continue
        answers[number] = book_ways(search, number)
        if now() - since >= piece_s:
            if begun and not is_book_kept(hands):
                return
            book = book.with_answers(answers, hand_arrays(hands))
            keep_book(book, hands)
            answers, since, begun = {}, now(), True
    if answers and (is_book_kept(hands) or not begun):
        keep_book(book.with_answers(answers, hand_arrays(hands)), hands)


def in_order(solves: int = _SOLVES) -> list[int]:
    """All questions: those that so many virtual solves ask, then those that are answered sooner."""
    from livecube.search.book import all_questions, asked
    from livecube.search.task import NO_TAIL

    others: list[int] = all_questions().tolist()
    # Those with a ceiling may take minutes for quick hands: the search goes up to it.
    others.sort(key=lambda number: asked(number)[2].tail != NO_TAIL)
    return list(dict.fromkeys([*often_asked(solves), *others]))


def often_asked(solves: int) -> list[int]:
    """The questions that plans ask in virtual solves, the most frequent first."""
    from livecube.advice.advisor import Advisor
    from livecube.composition.assembly import known_techniques
    from livecube.cube.position import SOLVED, apply_turns
    from livecube.edges.automaton_file import load_hands
    from livecube.search.answers import Answers
    from livecube.search.book import usual_book
    from livecube.techniques.base import Level
    from livecube.virtual.solver import solve

    counts: Counter[int] = Counter()

    class Counting(Answers):
        def filled(self, numbers: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
            counts.update(numbers[numbers >= 0].tolist())
            return super().filled(numbers)

    usual = load_hands()
    advisor = Advisor(Counting(usual, usual_book(usual)), known_techniques(), Level.CALM)
    for seed in range(solves):
        done = solve(seed)
        position, line = apply_turns(SOLVED, done.scramble), 0
        turns = [turn.turn for turn in done.solving]
        for stage in done.stages[:4]:
            end = stage.end_turn - done.start_turn + 1
            position, line = apply_turns(position, turns[line:end]), max(line, end)
            advisor.plans(position, done.cross)
    return [number for number, _ in counts.most_common()]
