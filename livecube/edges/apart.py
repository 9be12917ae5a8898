"""What other processes prepare on a machine's first start, while this one goes on.

Tables and compiled code arrive as files of the cache. So they take no memory of this process and
do not hold its interpreter lock: a compiler grows to more than everything else, and frees little.
"""

from __future__ import annotations

import subprocess
import sys
from tempfile import TemporaryFile
from typing import TYPE_CHECKING, Final

from livecube.edges.automaton_file import load_hands
from livecube.edges.cache import (
    are_bounds_kept,
    cache_folder,
    keep_compiled_code,
    keep_pair_table,
    kept_pair_table,
    kept_tables,
    load_bounds,
    load_crosses,
    load_tables,
)
from livecube.edges.memory import kept_small

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy as np
    import numpy.typing as npt

__all__ = [
    "STEPS",
    "Apart",
    "are_tables_kept",
    "compile_fastest",
    "compile_holdings",
    "compile_shortest",
    "make_apart",
    "make_bounds",
    "make_pairs",
    "pair_table_made_apart",
]

STEPS: Final = 16
"""Number of steps that all the tables report together."""


def make_bounds() -> None:
    """Build and keep all bounds of the usual hands."""
    load_crosses()
    _full_stop()
    load_bounds(load_hands())
    _full_stop()


def make_pairs() -> None:
    """Build and keep the pair table."""
    from livecube.search.tables import build_pair_table

    moves = load_tables(_full_stop).moves
    if kept_pair_table() is None:
        keep_pair_table(build_pair_table(moves, _full_stop))


def _full_stop() -> None:
    """Report a step to the process that waits."""
    print(".", end="", flush=True)


# Kernels are compiled by empty questions, which need no tables. They are the same for all hands.


def compile_fastest() -> None:
    """Compile the kernels for the fastest ways."""
    from livecube.cube.position import SOLVED
    from livecube.search.fastest_arrays import NO_SECONDS
    from livecube.search.situation import Situation
    from livecube.search.task import Task
    from livecube.search.ways import FastestSearch

    search = FastestSearch(lambda: NO_SECONDS, load_hands())
    search.ways(Situation.of(SOLVED, 0), [Task(goal=0)], [], ceiling_ms=0)


def compile_shortest() -> None:
    """Compile the kernels for the shortest sequences and their spelling."""
    from livecube.cube.position import SOLVED
    from livecube.search.engine import Engine
    from livecube.search.hand_arrays import hand_arrays
    from livecube.search.situation import Situation
    from livecube.search.spelling import spelled
    from livecube.search.tables import NO_TABLES

    Engine(NO_TABLES).search(Situation.of(SOLVED, 0), [])
    spelled(hand_arrays(load_hands()), [(0,)], [0])


def compile_holdings() -> None:
    """Compile the kernels that infer holdings."""
    from livecube.edges.holding_file import ready_model

    ready_model(None)


_IS_DONE: Final[dict[Callable[[], None], Callable[[], bool]]] = {
    make_bounds: lambda: are_bounds_kept(load_hands()),
    make_pairs: lambda: kept_tables() is not None and kept_pair_table() is not None,
}


def are_tables_kept() -> bool:
    """Whether no table is missing in the cache, the bounds of other hands apart."""
    return all(is_done() for is_done in _IS_DONE.values())


def make_apart(
    *tables: Callable[[], None],
    compiling: tuple[Callable[[], None], ...],
    anyway: bool = False,
    step: Callable[[], None] = lambda: None,
) -> None:
    """Let one process make tables and another compile; return when both are done.

    Nothing is done if all these tables are kept already, unless ``anyway``, or if nothing can be
    kept. ``step`` is called for each step of the tables.
    """
    missing = [make for make in tables if not _IS_DONE[make]()]
    if (missing or anyway) and _can_keep():
        compiler = Apart(*compiling)
        Apart(*missing).wait(step)
        compiler.wait()


def _can_keep() -> bool:
    """Whether files can be made in the cache: what another process makes arrives as files."""
    folder = cache_folder()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with TemporaryFile(dir=folder):
            return True
    except OSError:
        return False


def pair_table_made_apart() -> npt.NDArray[np.uint8] | None:
    """Let another process make the pair table, then load it; None on failure."""
    Apart(make_pairs).wait()
    return kept_pair_table()


class Apart:
    """Functions of this module, running one after another in a process of their own.

    If one fails, files are missing.
    """

    def __init__(self, *works: Callable[[], None]) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-m", __name__, *(work.__name__ for work in works)],
            stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
        )  # fmt: skip

    def wait(self, step: Callable[[], None] = lambda: None) -> None:
        """Wait until it is done; ``step`` is called for each step, past ones included."""
        with self._process as process:
            assert process.stdout is not None
            while process.stdout.read(1):
                step()


if __name__ == "__main__":
    keep_compiled_code()
    with kept_small():
        for name in sys.argv[1:]:
            globals()[name]()
