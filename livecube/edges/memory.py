"""The memory of a process with many threads, where the C library is glibc.

By default each thread keeps freed memory for itself: with eight cubes that is more than all the
rest. Elsewhere these functions do nothing.
"""

from __future__ import annotations

import ctypes
import mmap
import sys
from contextlib import suppress
from pathlib import Path
from typing import Final

__all__ = ["code_of", "forget_pages", "give_back_memory", "resident_mb", "share_memory"]

_ARENA_MAX: Final = -8
"""M_ARENA_MAX of glibc's malloc.h."""
_ARENAS: Final = 2


def resident_mb() -> float:
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


def code_of(library: str) -> list[tuple[int, int]]:
    """Where the code of a loaded library lies: addresses and sizes, for :func:`forget_pages`.

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


def forget_pages(address: int, size: int) -> None:
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


def give_back_memory() -> None:
    """Give freed memory back to the system."""
    if sys.platform == "linux":
        with suppress(OSError, AttributeError):
            ctypes.CDLL(None).malloc_trim(0)
