"""The memory of this process, kept small where the C library is glibc.

The tables are maps of files, so their pages may be given back at any time, as may those of the
compiler. By default each thread keeps freed memory for itself: with eight cubes that is more than
all the rest. Elsewhere these functions do nothing.
"""

from __future__ import annotations

import ctypes
import mmap
import sys
import threading
import weakref
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from collections.abc import Iterator

    import numpy.typing as npt

__all__ = ["kept_small", "note_map", "share_memory"]

_LOOK_S: Final = 0.005
"""A search can take 50 MB more in 10 ms."""
_TIDY_S: Final = 0.02
"""Memory is given back at most as often, since it is read again soon where there is too little."""
_LARGE_MB: Final = 260.0
"""Above this, memory is given back."""
_COMPILER: Final = "libllvmlite.so"
"""70 MB, of which little is needed when the kernels are loaded."""
_MAPPED: Final[list[weakref.ref[npt.NDArray[Any]]]] = []
"""The tables that are maps of files. Nobody writes into them."""

_ARENA_MAX: Final = -8
"""M_ARENA_MAX of glibc's malloc.h."""
_ARENAS: Final = 2


def note_map(table: npt.NDArray[Any]) -> None:
    """Remember a table that is a map of a file."""
    _MAPPED.append(weakref.ref(table))


@contextmanager
def kept_small() -> Iterator[None]:
    """Keep the process small meanwhile; by a thread, since an event loop may be busy."""
    over = threading.Event()
    thread = threading.Thread(target=_keep_small, args=(over,), name="memory", daemon=True)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join()


def _keep_small(over: threading.Event) -> None:
    compiler: list[tuple[int, int]] = []
    pause = _LOOK_S
    while not over.wait(pause):
        pause = _LOOK_S
        if _resident_mb() > _LARGE_MB:
            compiler = compiler or _code_of(_COMPILER)
            tables = [table for mapped in _MAPPED if (table := mapped()) is not None]
            for address, size in (*((one.ctypes.data, one.nbytes) for one in tables), *compiler):
                _forget_pages(address, size)
            _give_back_memory()
            pause = _TIDY_S


def _resident_mb() -> float:
    """Memory of this process, in MB; 0 where the system does not say it quickly."""
    try:
        pages = Path("/proc/self/statm").read_text(encoding="ascii").split()[1]
    except (OSError, IndexError):
        return 0.0
    return int(pages) * mmap.PAGESIZE / 2**20


def share_memory() -> None:
    """Let all threads share what they have freed; call this before there are many."""
    if sys.platform == "linux":
        with suppress(OSError, AttributeError):
            ctypes.CDLL(None).mallopt(_ARENA_MAX, _ARENAS)


def _code_of(library: str) -> list[tuple[int, int]]:
    """Where the code of a loaded library lies: addresses and sizes, for :func:`_forget_pages`.

    ``library``: the end of its file's name.
    """
    try:
        maps = Path("/proc/self/maps").read_text(encoding="utf-8").splitlines()
    except OSError:
        return []
    found = []
    for line in maps:
        span, kind, *_ = line.split()
        if kind == "r-xp" and line.endswith(library):  # never written: its file has all of it
            first, end = (int(part, 16) for part in span.split("-"))
            found.append((first, end - first))
    return found


def _forget_pages(address: int, size: int) -> None:
    """Give back the whole pages of a map of a file; they are read again when they are needed."""
    if sys.platform == "linux":
        first = -(-address // mmap.PAGESIZE) * mmap.PAGESIZE
        length = (address + size) // mmap.PAGESIZE * mmap.PAGESIZE - first
        if length > 0:
            with suppress(OSError, AttributeError):
                # By ctypes, since mmap's own call would hold the interpreter's lock.
                ctypes.CDLL(None).madvise(
                    ctypes.c_void_p(first), ctypes.c_size_t(length), mmap.MADV_DONTNEED
                )


def _give_back_memory() -> None:
    """Give freed memory back to the system."""
    if sys.platform == "linux":
        with suppress(OSError, AttributeError):
            ctypes.CDLL(None).malloc_trim(0)
