"""The memory of a process with many threads, where the C library is glibc.

By default each thread keeps freed memory for itself: with eight cubes that is more than all the
rest. Elsewhere these functions do nothing.
"""

from __future__ import annotations

import ctypes
import sys
from contextlib import suppress
from typing import Final

__all__ = ["give_back_memory", "share_memory"]

_ARENA_MAX: Final = -8
"""M_ARENA_MAX of glibc's malloc.h."""
_ARENAS: Final = 2


def share_memory() -> None:
    """Let all threads share what they have freed; call this before there are many."""
    if sys.platform == "linux":
        with suppress(OSError, AttributeError):
            ctypes.CDLL(None).mallopt(_ARENA_MAX, _ARENAS)


def give_back_memory() -> None:
    """Give freed memory back to the system."""
    if sys.platform == "linux":
        with suppress(OSError, AttributeError):
            ctypes.CDLL(None).malloc_trim(0)
