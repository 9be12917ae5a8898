"""What comes with livecube for the usual hands: the book of beginnings, and the table of crosses.

One file, so that a first start knows answers before anything is compiled. It bears the
fingerprint of the hands it was made for and is never used with others. Sequences stand in the
order in which questions first use them, so most of the numbers of ways are the next one; what
follows from the sequences (prices, turns) is worked out when the book is read.
"""

from __future__ import annotations

import io
from importlib.resources import files
from typing import TYPE_CHECKING, Final

import numpy as np

from livecube.search.book import NO_BOOK, Book, Entries
from livecube.search.hand_arrays import hand_arrays

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy.typing as npt

    from livecube.hands.automaton import Automaton

__all__ = ["USUAL_BOOK", "packed", "unpacked_book", "unpacked_cross", "usual_book", "usual_cross"]

USUAL_BOOK: Final = "usual-book.npz"
"""The file beside this module."""
_END: Final = 255
"""Behind the tokens of a sequence."""


def packed(book: Book, six: npt.NDArray[np.uint8], fingerprint: str) -> bytes:
    """A file with a book and a table of crosses (:func:`livecube.search.bounds.cross_seconds`).

    Books of the same answers become the same file, in whatever order they were found.
    """
    used, first = np.unique(book.ways, return_index=True)
    order = used[np.argsort(first)]
    number = np.empty(len(book.entries.ms), dtype=np.int64)
    number[order] = np.arange(len(order))
    ways = number[book.ways]
    upcoming = np.maximum.accumulate(np.append(-1, ways))[:-1] + 1
    tokens = book.entries.tokens[order]
    flat = np.hstack([tokens, np.full((len(tokens), 1), _END, dtype=np.uint8)])
    keep = np.hstack([np.ones((len(tokens), 1), dtype=bool), tokens != _END])
    out = io.BytesIO()
    np.savez_compressed(
        out,
        fingerprint=np.frombuffer(fingerprint.encode(), dtype=np.uint8),
        questions=_bytes(np.diff(book.questions, prepend=0)),
        counts=np.diff(book.ends).astype(np.uint8),
        back=_bytes(upcoming - ways),
        tokens=flat[keep],
        cross=six,
    )
    return out.getvalue()


def unpacked_book(data: bytes, automaton: Automaton) -> Book | None:
    """The book in a file; None if it was made for other hands."""
    with np.load(io.BytesIO(data)) as parts:
        if not _fits(parts, automaton):
            return None
        counts, back, flat = parts["counts"].astype(np.int64), parts["back"], parts["tokens"]
        questions = np.cumsum(_number(parts["questions"]))
    return _book(questions, counts, _number(back), flat, automaton)


def _book(
    questions: npt.NDArray[np.int64],
    counts: npt.NDArray[np.int64],
    back: npt.NDArray[np.int64],
    flat: npt.NDArray[np.uint8],
    automaton: Automaton,
) -> Book:
    fresh = back == 0
    ways = np.cumsum(fresh) - fresh - back
    ends = np.flatnonzero(flat == _END)
    begins = np.append(0, ends[:-1] + 1) if len(ends) else ends
    tokens = np.full((len(ends), max(1, int((ends - begins).max(initial=0)))), _END, dtype=np.uint8)
    row = np.repeat(np.arange(len(ends)), ends - begins)
    inside = np.flatnonzero(flat != _END)
    tokens[row, inside - begins[row]] = flat[inside]
    return Book(
        questions,
        np.append(0, np.cumsum(counts)),
        ways.astype(np.int32),
        Entries.of(tokens, hand_arrays(automaton)),
    )


def unpacked_cross(data: bytes, automaton: Automaton) -> npt.NDArray[np.uint8] | None:
    """The table of crosses in a file; None if it was made for other hands."""
    with np.load(io.BytesIO(data)) as parts:
        return parts["cross"] if _fits(parts, automaton) else None


def usual_book(automaton: Automaton) -> Book:
    """The book that comes with livecube, if it was made for these hands; else an empty one."""
    data = _shipped()
    return (data and unpacked_book(data, automaton)) or NO_BOOK


def usual_cross(automaton: Automaton) -> npt.NDArray[np.uint8] | None:
    """The table of crosses that comes with livecube; None if it was made for other hands."""
    data = _shipped()
    return unpacked_cross(data, automaton) if data else None


def _shipped() -> bytes | None:
    """None: the file has not been made yet."""
    file = files("livecube.search").joinpath(USUAL_BOOK)
    return file.read_bytes() if file.is_file() else None


def _fits(parts: Mapping[str, npt.NDArray[np.uint8]], automaton: Automaton) -> bool:
    return parts["fingerprint"].tobytes().decode() == automaton.fingerprint


def _bytes(numbers: npt.NDArray[np.int64]) -> npt.NDArray[np.uint8]:
    """Shape (8, n): all lowest bytes first, then the next, which are nearly the same."""
    return np.ascontiguousarray(numbers.astype("<i8").view(np.uint8).reshape(-1, 8).T)


def _number(planes: npt.NDArray[np.uint8]) -> npt.NDArray[np.int64]:
    return np.ascontiguousarray(planes.T).view("<i8").ravel().astype(np.int64)
