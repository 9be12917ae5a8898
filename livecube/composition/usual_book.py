"""Make the file that comes with livecube for the usual hands: the book and the table of crosses.

``python -m livecube.composition.usual_book`` writes it to its place in the package, or to a given
file. Run it again when ``hands/usual.toml``, the questions of techniques or the search change. A
half-made book is kept beside the file, and the next call continues it.
"""

from __future__ import annotations

import sys
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from livecube.edges.automaton_file import load_hands
from livecube.edges.cache import keep_compiled_code, load_crosses, load_search
from livecube.search.book import USUAL_BOOK, packed, unpacked_book

if TYPE_CHECKING:
    import numpy.typing as npt

__all__ = ["book_numbers", "make_file"]

_CHUNK: Final = 2000
_THREADS: Final = 2


def book_numbers() -> npt.NDArray[np.int64]:
    """The numbers of all questions that techniques ask with the cross whole, sorted."""
    from livecube.search.book import question_numbers
    from livecube.search.task import task_rows
    from livecube.techniques.base import traits
    from livecube.techniques.keyholes import questions
    from livecube.techniques.registry import TECHNIQUES

    # The yardstick is searched in turns, not in seconds.
    asked = list(questions([one for one in TECHNIQUES if not traits(one).is_yardstick]))
    offsets = np.array([situation.offset for situation, _ in asked], dtype=np.int64)
    places = np.array([situation.places for situation, _ in asked])
    tasks = task_rows([task for _, task in asked])
    numbers = np.concatenate(
        [question_numbers(offsets, places, front, tasks) for front in range(4)]
    )
    return np.unique(numbers[numbers >= 0])


def make_file(path: Path) -> None:
    """Make the file, or continue it; prints the progress on standard output."""
    keep_compiled_code()
    from livecube.search.answers import make_book
    from livecube.search.book import NO_BOOK
    from livecube.search.bounds import cross_seconds
    from livecube.search.hand_arrays import hand_arrays

    hands = load_hands()
    search = load_search(hands)
    six = cross_seconds(*load_crosses(), hand_arrays(hands))
    numbers = book_numbers()
    half = path.with_name(f"{path.name}.half")
    book = (half.exists() and unpacked_book(half.read_bytes(), hands)) or NO_BOOK
    # In random order, so that the time of one chunk predicts the time of all.
    numbers = np.random.default_rng(1).permutation(numbers)
    for first in range(0, len(numbers), _CHUNK):
        chunk = numbers[first : first + _CHUNK].tolist()
        book = make_book(search, chunk, book, threads=_THREADS)
        half.write_bytes(packed(book, six, hands.fingerprint))
        print(f"{len(book.questions)} of {len(numbers)} questions", flush=True)
    half.replace(path)


if __name__ == "__main__":
    if len(sys.argv) > 2:
        sys.exit(f"usage: python -m {__spec__.name} [FILE]")
    where = files("livecube.search").joinpath(USUAL_BOOK)
    make_file(Path(sys.argv[1] if len(sys.argv) > 1 else str(where)))
