"""The book of beginnings: with the cross whole, the fastest ways, worked out once.

With the cross whole an answer depends only on the question, the offset, the slot at the front
right, and the places of the unsolved pieces that the question asks for. As the hands see it there
are some tens of thousands of such questions. The book of the usual hands comes with the package;
for other hands the search fills it.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any, Final, TypeVar

import numpy as np
import numpy.typing as npt

from livecube.hands.automaton import NEVER
from livecube.search.hand_arrays import AFTER, ROTATED_BY, TURN_OF, hand_arrays
from livecube.search.situation import PLACES_AT, SLOT_SYMMETRY
from livecube.search.task import NO_D, NO_TAIL, Task

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from livecube.hands.automaton import Automaton
    from livecube.search.hand_arrays import HandArrays
    from livecube.search.ways import Way

__all__ = [
    "FIRST_ROTATION",
    "KEYHOLE_CEILING_MS",
    "NO_BOOK",
    "NO_TURN",
    "USUAL_BOOK",
    "Book",
    "Entries",
    "all_questions",
    "asked",
    "ceiling_ms",
    "packed",
    "question_numbers",
    "unpacked_book",
    "unpacked_cross",
    "usual_book",
    "usual_cross",
    "way_tokens",
]

KEYHOLE_CEILING_MS: Final = 1500
"""Highest price of keyholes and pseudo pairs in the book: slower ones are never advised, since
the plain way is quicker, and some take minutes to find. For hands that are quicker than the usual
ones it is as much lower."""
_USUAL_MOVE_MS: Final = 354.4
"""Mean price of all moves in all states, for the usual hands."""
_MOST_LOOSE: Final = 4
"""Most unsolved pieces of a question: more do not fit into its number."""
NO_TURN: Final = 18
"""Fills a row after the end of its sequence."""
FIRST_ROTATION: Final = 36
"""Tokens from here on are rotations: from holding 0 to holding ``token - 36``."""

Ints = npt.NDArray[np.int64]


_EACH: Final = np.arange(8)[:, None]
_KINDS: Final = _EACH // 4
_SEEN_PIECE: Final = (_EACH + np.arange(4)) % 4 + 4 * _KINDS
"""Shape (8, 4): which piece is piece i when slot s is at the front right."""
_BITS: Final = 1 << np.arange(8)
_CODES: Final = 32 * _EACH


def question_numbers(
    offset: Ints | int, places: npt.NDArray[Any], front: Ints | int, tasks: npt.NDArray[np.int64]
) -> Ints:
    """The number of each question with the cross whole, as the hands see it; −1: no number.

    ``offset`` and ``front`` (the slot at the front right) have shape (n,) or are single numbers,
    ``places`` (n, 8) are those of the slot pieces, ``tasks`` (n, FIELDS).
    """
    goal, allowed, prefix, tail, _, tied = tasks.T
    piece = _SEEN_PIECE[:, np.broadcast_to(np.asarray(front, dtype=np.int64), goal.shape)]
    place = places[np.arange(len(goal)), piece]
    wanted = goal >> piece & 1
    seen = _BITS @ wanted
    out = (wanted == 1) & (place != PLACES_AT[offset, piece])
    # A byte for each unsolved piece, the first one highest, behind a leading 1.
    before = np.cumsum(out, axis=0)
    loose = before[-1]
    each = (_CODES + SLOT_SYMMETRY[front, _KINDS, place]) << 8 * (loose - before)
    number = (1 << 8 * loose) + (each * out).sum(axis=0)
    sort = prefix | tail << 4 | tied << 6
    number = ((number << 8 | sort) << 8 | seen) << 2 | offset
    return np.where((loose <= _MOST_LOOSE) & (allowed == NO_D), number, -1)


def asked(number: int) -> tuple[int, list[int], Task]:
    """Offset, places (8) and task of a question, held so that slot 0 is at the front right."""
    offset, goal, sort = number & 3, number >> 2 & 255, number >> 10 & 255
    places: list[int] = PLACES_AT[offset].tolist()
    loose, target = number >> 18, 0
    while loose > 1:
        piece, place = loose >> 5 & 7, loose & 31
        places[piece], target = place, piece % 4
        loose >>= 8
    task = Task(goal, NO_D, sort & 15, sort >> 4 & 3, target, tied=bool(sort >> 6))
    return offset, places, task


def ceiling_ms(task: Task, hands: Automaton) -> int | None:
    """Highest price of the ways that the book keeps for a question; None: no limit."""
    return None if task.tail == NO_TAIL else _keyhole_ceiling_ms(hands)


@lru_cache(maxsize=16)  # of all people in a group, and more
def _keyhole_ceiling_ms(hands: Automaton) -> int:
    tempo = float(hands.seconds_ms[hands.seconds_ms < NEVER].mean()) / _USUAL_MOVE_MS
    return round(KEYHOLE_CEILING_MS * min(tempo, 1.0))


@dataclass(frozen=True, slots=True, eq=False)
class Entries:
    """Sequences as the hands write them, begun with slot 0 at the front right."""

    tokens: npt.NDArray[np.uint8]
    """Shape (m, k): moves and rotations in order, 255 after the end."""
    ms: npt.NDArray[np.int64]
    """Shape (m,): milliseconds until the cross is down again."""
    turns: npt.NDArray[np.uint8]
    """Shape (m, l): their turns, ``NO_TURN`` after the end."""
    front: npt.NDArray[np.uint8]
    """Shape (m,): the slot at the front right at the end."""

    @staticmethod
    def of(tokens: npt.NDArray[np.uint8], hands: HandArrays) -> Entries:
        """Entries from their tokens; the rest follows from these."""
        count, width = tokens.shape
        ms, state = np.zeros(count, dtype=np.int64), np.full(count, hands.start)
        held, length = np.zeros(count, dtype=np.int64), np.zeros(count, dtype=np.int64)
        turns = np.full((count, width), NO_TURN, dtype=np.uint8)
        for i in range(width):
            token = tokens[:, i].astype(np.int64)
            moved = np.flatnonzero(token < FIRST_ROTATION)
            move = token[moved]
            turns[moved, length[moved]] = TURN_OF[held[moved], move]
            length[moved] += 1
            held[moved] = AFTER[held[moved], move]
            ms[moved] += hands.seconds[state[moved], move]
            state[moved] = hands.then[state[moved], move]
            rotated = np.flatnonzero((token >= FIRST_ROTATION) & (token < 255))
            to = token[rotated] - FIRST_ROTATION
            held[rotated] = ROTATED_BY[held[rotated], to]
            ms[rotated] += hands.rotation[0, to]
            state[rotated] = hands.rotated
        turns = np.ascontiguousarray(turns[:, : max(1, int(length.max(initial=0)))])
        return Entries(tokens, ms + hands.finish[held], turns, hands.front[held])


@dataclass(frozen=True, slots=True, eq=False)
class Book:
    """Answers by the number of their question; a value, never changed."""

    questions: Ints
    """Shape (n,), sorted."""
    ends: Ints
    """Shape (n + 1,): where the ways of each question begin and end in ``ways``."""
    ways: npt.NDArray[np.int32]
    """Numbers of entries, for each question the fastest first."""
    entries: Entries

    def places_of(self, numbers: Ints) -> Ints:
        """Shape (n,): the index of the question with each number; −1: not in the book."""
        at = np.minimum(np.searchsorted(self.questions, numbers), len(self.questions) - 1)
        if not len(self.questions):
            return np.full(len(numbers), -1)
        return np.where(self.questions[at] == numbers, at, -1)

    def with_answers(self, answers: Mapping[int, Sequence[Way]], hands: HandArrays) -> Book:
        """The same book with more answers; their questions must be new to it."""
        written = {number: [way_tokens(way) for way in ways] for number, ways in answers.items()}
        return self._with(written, hands)

    def joined(self, other: Book, hands: HandArrays) -> Book:
        """The same book with the answers of another one for these hands that are new to it."""
        new = np.flatnonzero(self.places_of(other.questions) < 0).tolist()
        tokens = other.entries.tokens.tolist()
        written = {
            int(other.questions[at]): [
                tuple(token for token in tokens[entry] if token < 255)
                for entry in other.ways[other.ends[at] : other.ends[at + 1]].tolist()
            ]
            for at in new
        }
        return self._with(written, hands) if written else self

    def _with(self, answers: Mapping[int, Sequence[tuple[int, ...]]], hands: HandArrays) -> Book:
        fresh = dict.fromkeys(written for ways in answers.values() for written in ways)
        had = self.entries.tokens
        width = max(had.shape[1], *map(len, fresh)) if fresh else had.shape[1]
        tokens = np.full((len(had) + len(fresh), width), 255, dtype=np.uint8)
        tokens[: len(had), : had.shape[1]] = had
        for row, written in zip(tokens[len(had) :], fresh, strict=True):
            row[: len(written)] = written
        # Of equal rows the first is kept, so the entries stay in their order.
        rows = tokens.view(np.dtype((np.void, width))).ravel()
        _, first, same = np.unique(rows, return_index=True, return_inverse=True)
        kept = np.sort(first)
        number = np.searchsorted(kept, first[same])
        entry = dict(zip(fresh, number[len(had) :].tolist(), strict=True))
        questions = np.append(self.questions, np.array([*answers], dtype=np.int64))
        counts = np.append(np.diff(self.ends), [len(ways) for ways in answers.values()]).astype(int)
        more = [entry[written] for ways in answers.values() for written in ways]
        flat = np.append(number[self.ways], more).astype(np.int32)
        firsts = np.append(0, np.cumsum(counts)[:-1]).astype(int)
        order = questions.argsort(kind="stable")
        ends = np.append(0, np.cumsum(counts[order]))
        picked = np.arange(len(flat)) + np.repeat(firsts[order] - ends[:-1], counts[order])
        return Book(questions[order], ends, flat[picked], Entries.of(tokens[kept], hands))


def way_tokens(way: Way) -> tuple[int, ...]:
    """The moves and rotations of a way as tokens of an entry."""
    tokens: list[int] = []
    now = way.start
    for move, held in zip(way.moves, way.held, strict=True):
        if held != now:
            tokens.append(FIRST_ROTATION + int(np.flatnonzero(ROTATED_BY[now] == held).item()))
        tokens.append(move)
        now = int(AFTER[held, move])
    return tuple(tokens)


_NOTHING: Final = Entries(
    np.empty((0, 1), dtype=np.uint8),
    np.empty(0, dtype=np.int64),
    np.empty((0, 1), dtype=np.uint8),
    np.empty(0, dtype=np.uint8),
)
NO_BOOK: Final = Book(
    np.empty(0, dtype=np.int64), np.zeros(1, dtype=np.int64), np.empty(0, dtype=np.int32), _NOTHING
)


# The data that come with livecube for the usual hands: the book of beginnings, and the table of
# crosses.
#
# They are one file, so that a new machine has answers before anything is compiled. The file holds
# the fingerprint of its hands and is never used with others. Sequences stand in the order in which
# questions first use them, so most numbers of ways are one more than the last. Prices and turns
# follow from the sequences and are worked out when the book is read.


USUAL_BOOK: Final = "usual-book.npz"
"""The file beside this module."""
_END: Final = 255
"""Ends the tokens of a sequence."""


def packed(book: Book, six: npt.NDArray[np.uint8], fingerprint: str) -> bytes:
    """A file with a book and a table of crosses (:func:`livecube.search.bounds.cross_seconds`).

    Books with the same answers give the same file, in whatever order the answers were found.
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


_Part = TypeVar("_Part")
_USUAL_BOOKS: Final[dict[str, Book]] = {}
_USUAL_CROSSES: Final[dict[str, npt.NDArray[np.uint8]]] = {}
"""By the fingerprint of the usual hands: unpacked once, for all advisors of this process."""


def usual_book(automaton: Automaton) -> Book:
    """The book that comes with livecube, if it was made for these hands; else an empty one."""
    return _once(_USUAL_BOOKS, automaton, unpacked_book) or NO_BOOK


def all_questions() -> Ints:
    """The numbers of all questions that the book of any hands answers, sorted."""
    data = _shipped()
    if data is None:
        return NO_BOOK.questions
    with np.load(io.BytesIO(data)) as parts:
        return np.cumsum(_number(parts["questions"]))


def usual_cross(automaton: Automaton) -> npt.NDArray[np.uint8] | None:
    """The table of crosses that comes with livecube; None if it was made for other hands.

    It is the same array each time and must not be changed.
    """
    return _once(_USUAL_CROSSES, automaton, unpacked_cross)


def _once(
    kept: dict[str, _Part],
    automaton: Automaton,
    unpacked: Callable[[bytes, Automaton], _Part | None],
) -> _Part | None:
    """A part of the shipped file, if it was made for these hands; unpacked just once."""
    mark = automaton.fingerprint
    if mark not in kept:
        data = _shipped()
        part = unpacked(data, automaton) if data else None
        if part is None:
            return None
        kept[mark] = part
    return kept[mark]


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
