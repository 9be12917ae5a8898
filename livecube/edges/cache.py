"""Tables and compiled code that are made once and kept in the user's cache folder."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final
from weakref import WeakValueDictionary
from zipfile import BadZipFile

import numpy as np
import platformdirs

from livecube.edges.memory import note_map

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy.typing as npt

    from livecube.hands.automaton import Automaton
    from livecube.scrambling.tables import PhaseTables
    from livecube.search.book import Book
    from livecube.search.fastest_arrays import SecondsTables
    from livecube.search.openings import Openings, OpeningTables
    from livecube.search.tables import Tables
    from livecube.search.ways import FastestSearch

__all__ = [
    "are_bounds_kept",
    "cache_folder",
    "forget_search",
    "is_book_kept",
    "keep_book",
    "keep_compiled_code",
    "keep_pair_table",
    "kept_book",
    "kept_pair_table",
    "kept_tables",
    "load_bounds",
    "load_crosses",
    "load_openings",
    "load_phase_tables",
    "load_search",
    "load_tables",
]

_VERSION: Final = 9
"""Raise it when the meaning of the tables or the tasks of techniques change."""

_SHAPES: Final[dict[str, tuple[int, ...]]] = {
    "moves": (190080, 18),
    "seen": (4, 190080),
    "rows": (190080, 192),
    "alone": (190080,),
}
_PAIRS: Final[dict[str, tuple[int, ...]]] = {"pairs": (54743040,)}

_CROSS: Final = "cross"
_NEAR: Final = "near"
_BOUNDS: Final = "pieces", "still", "pair"
_OF_HANDS: Final = (_CROSS, _NEAR, *_BOUNDS)
"""Bounds that are kept for each table of hands."""


def cache_folder() -> Path:
    """``LIVECUBE_CACHE``, or the system's cache folder for this user."""
    named = os.environ.get("LIVECUBE_CACHE")
    return Path(named) if named else Path(platformdirs.user_cache_dir("livecube"))


def keep_compiled_code() -> None:
    """Let numba keep compiled kernels in the cache folder; call it before importing them."""
    os.environ.setdefault("NUMBA_CACHE_DIR", str(cache_folder() / f"compiled-{_VERSION}"))


def kept_tables() -> Tables | None:
    """The search tables from the cache; None if they have not been built yet."""
    from livecube.search.tables import Tables

    kept = [table for name in _SHAPES if (table := _load(name)) is not None]
    return Tables(*kept) if len(kept) == len(_SHAPES) else None


def load_tables(step: Callable[[], None] = lambda: None) -> Tables:
    """The search tables, from the cache if it holds all of them, else built and kept."""
    from livecube.search.tables import Tables, build_tables

    if (kept := kept_tables()) is not None:
        return kept
    moves, seen = load_crosses()
    built = build_tables(moves, seen, step)
    return Tables(moves, seen, _keep("rows", built.rows), _keep("alone", built.alone))


def load_crosses() -> tuple[npt.NDArray[np.int32], npt.NDArray[np.int32]]:
    """The ``moves`` and ``seen`` of the search tables; they are made sooner than the rest."""
    from livecube.search.tables import cross_moves, seen_crosses

    return _kept("moves", cross_moves), _kept("seen", seen_crosses)


def load_phase_tables() -> PhaseTables:
    """The tables of the two-phase search, from the cache, else built and kept."""
    from livecube.scrambling.tables import SHAPES, PhaseTables, build_phase_tables

    kept = {name: _load(f"phase-{name}") for name in SHAPES}
    known = {name: table for name, table in kept.items() if table is not None}
    if {name: table.shape for name, table in known.items()} == SHAPES:
        return PhaseTables(**known)
    built = build_phase_tables()
    tables = {name: _keep(f"phase-{name}", getattr(built, name)) for name in SHAPES}
    return PhaseTables(**tables)


def kept_pair_table() -> npt.NDArray[np.uint8] | None:
    """The table of cross and pair from the cache; None if it has not been built yet."""
    return _load("pairs")


def keep_pair_table(table: npt.NDArray[np.uint8]) -> None:
    """Keep the table of cross and pair."""
    _keep("pairs", table)


def are_bounds_kept(automaton: Automaton) -> bool:
    """Whether the bounds of these hands are kept."""
    mark = automaton.fingerprint
    needed = "moves", "seen", "views", *(f"{name}-{mark}" for name in _BOUNDS)
    return all(_load(name) is not None for name in needed)


def load_search(automaton: Automaton) -> FastestSearch:
    """The search for the fastest ways of these hands, with its bounds."""
    from livecube.search.ways import FastestSearch

    bounds = load_bounds(automaton)
    return FastestSearch(lambda: bounds, automaton)


def load_bounds(automaton: Automaton) -> SecondsTables:
    """What bounds the search for the fastest ways of these hands; most of it is kept too."""
    from livecube.search.bounds import left_over, pair_seconds, piece_seconds
    from livecube.search.fastest_arrays import SecondsTables
    from livecube.search.hand_arrays import hand_arrays

    moves, cross = _opening_tables(automaton)
    hands, mark = hand_arrays(automaton), automaton.fingerprint

    def pieces(is_still: bool) -> npt.NDArray[Any]:
        # One after the other: the other processor may be compiling the kernel that needs them.
        return np.stack([piece_seconds(moves, hands, kind, still=is_still) for kind in (0, 1)])

    left, more = left_over(hands)
    return SecondsTables(
        moves,
        _views(),
        cross,
        _kept(f"pair-{mark}", lambda: pair_seconds(hands)),
        _kept(f"pieces-{mark}", lambda: pieces(False)),
        _kept(f"still-{mark}", lambda: pieces(True)),
        left,
        more,
        left.min(axis=1),
    )


def load_openings(automaton: Automaton) -> Openings:
    """The search for the openings of these hands; nothing is loaded before the first question."""
    from livecube.search.bounds import near_piece_seconds
    from livecube.search.openings import Openings, PieceTables

    def near() -> npt.NDArray[np.uint8]:
        moves, hands = openings.tables.moves, openings.hands
        return np.stack([near_piece_seconds(moves, hands, kind) for kind in (0, 1)])

    def pieces() -> PieceTables:
        kept = _kept(f"{_NEAR}-{automaton.fingerprint}", near)
        return PieceTables(_views(), kept)

    openings = Openings(lambda: _opening_tables(automaton), pieces, automaton)
    return openings


def _opening_tables(automaton: Automaton) -> OpeningTables:
    from livecube.search.book import usual_cross
    from livecube.search.bounds import cross_seconds, spread_cross_seconds
    from livecube.search.hand_arrays import hand_arrays
    from livecube.search.openings import OpeningTables

    moves, seen = load_crosses()
    mark, six = automaton.fingerprint, usual_cross(automaton)
    if six is None:
        hands = hand_arrays(automaton)
        six = _kept(f"{_CROSS}-{mark}", lambda: cross_seconds(moves, seen, hands))
    cross = _shared("spread", mark, lambda: spread_cross_seconds(six, seen))
    return OpeningTables(moves, cross)


def _views() -> npt.NDArray[np.int32]:
    from livecube.search.bounds import cross_views

    return _kept("views", lambda: cross_views(load_crosses()[1]))


_SHARED: Final[WeakValueDictionary[tuple[str, str], npt.NDArray[Any]]] = WeakValueDictionary()
"""By name and fingerprint: bounds of hands in use that no file keeps, for all their searches."""


def _shared(name: str, mark: str, build: Callable[[], npt.NDArray[Any]]) -> npt.NDArray[Any]:
    if (table := _SHARED.get((name, mark))) is None:
        table = _SHARED[name, mark] = build()
    return table


def forget_search(fingerprint: str) -> None:
    """Delete what is kept for hands that nobody has any more: bounds and book."""
    for path in (*(_path(f"{name}-{fingerprint}") for name in _OF_HANDS), _book_path(fingerprint)):
        with suppress(OSError):
            path.unlink()


# The book of beginnings of other hands than the usual ones, as far as it is made.


def kept_book(automaton: Automaton) -> Book:
    """The book that comes with livecube if it fits these hands, else what is kept of theirs."""
    from livecube.search.book import NO_BOOK, unpacked_book, usual_book

    book = usual_book(automaton)
    if len(book.questions):
        return book
    try:
        return unpacked_book(_book_path(automaton.fingerprint).read_bytes(), automaton) or NO_BOOK
    except (OSError, ValueError, KeyError, EOFError, BadZipFile):
        return NO_BOOK


def is_book_kept(automaton: Automaton) -> bool:
    """Whether something is kept of the book of these hands."""
    return _book_path(automaton.fingerprint).exists()


def keep_book(book: Book, automaton: Automaton) -> None:
    """Keep a book, whole or in part; a crash never leaves half a file.

    Raises ``OSError`` without room or the right to write.
    """
    from livecube.search.book import packed

    path = _book_path(automaton.fingerprint)
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(f"{path.name}.{os.getpid()}.part")
    part.write_bytes(packed(book, np.empty(0, dtype=np.uint8), automaton.fingerprint))
    part.replace(path)


def _book_path(fingerprint: str) -> Path:
    return _path("").with_name(f"book-{fingerprint}.npz")


def _path(name: str) -> Path:
    return cache_folder() / f"tables-{_VERSION}" / f"{name}.npy"


def _load(name: str) -> npt.NDArray[Any] | None:
    """A kept table; None if it is missing or damaged."""
    try:
        # Mode c, since a read-only map would give the kernels another type to compile for.
        table = np.asarray(np.load(_path(name), mmap_mode="c"))
    except (OSError, ValueError, EOFError):
        return None
    if isinstance(table.base, np.ndarray):
        note_map(table.base)
    return table if table.shape == (_SHAPES | _PAIRS).get(name, table.shape) else None


def _kept(name: str, build: Callable[[], npt.NDArray[Any]]) -> npt.NDArray[Any]:
    """A kept table; if it is missing, it is built and kept."""
    table = _load(name)
    return _keep(name, build()) if table is None else table


def _keep(name: str, table: npt.NDArray[Any]) -> npt.NDArray[Any]:
    """Keep a table, and give it back as a map of its file, which costs less memory.

    It is written beside its place and moved there, so a crash never leaves half a table.
    """
    path = _path(name)
    part = path.with_name(f"{name}.{os.getpid()}.part.npy")
    # Without room or write permission the table stays in memory and is built again next time.
    with suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True)
        np.save(part, table)
        part.replace(path)
        kept = _load(name)
        return table if kept is None else kept
    return table
