"""A world that is too narrow: folders without the right to write, files that cannot grow.

Both hold for the superuser too.
"""

from __future__ import annotations

import ctypes
import os
import resource
import sys
from contextlib import contextmanager
from typing import TYPE_CHECKING, Final

import pytest

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

__all__ = ["narrowing", "without_privileges"]

_OVERRIDE: Final = 1 << 1 | 1 << 2  # CAP_DAC_OVERRIDE and CAP_DAC_READ_SEARCH, linux/capability.h
_VERSION_3: Final = 0x20080522


@contextmanager
def without_privileges() -> Iterator[None]:
    """The rights of files hold for this thread, and for those that it starts, whoever runs it."""
    if os.geteuid() != 0:
        yield
        return
    if not sys.platform.startswith("linux"):
        pytest.skip("the superuser may write everywhere, and cannot give that up here")
    system = ctypes.CDLL(None, use_errno=True)
    header = (ctypes.c_uint32 * 2)(_VERSION_3, 0)
    usual = (ctypes.c_uint32 * 6)()  # effective, permitted, inheritable; and those of numbers ≥ 32
    fewer = (ctypes.c_uint32 * 6)()

    def call(does: Callable[..., int], rights: ctypes.Array[ctypes.c_uint32]) -> None:
        if does(header, rights):
            raise OSError(ctypes.get_errno(), "the superuser's rights cannot be given up")

    call(system.capget, usual)
    ctypes.memmove(fewer, usual, ctypes.sizeof(usual))
    fewer[0] &= ~_OVERRIDE
    call(system.capset, fewer)
    try:
        yield
    finally:
        call(system.capset, usual)


@contextmanager
def narrowing() -> Iterator[Callable[[int | None], None]]:
    """What lets no file of this process grow beyond so many bytes from now on; None: any size.

    A write beyond that fails as one on a full disk does, with another number. At the end there
    is room again.
    """
    usual, most = resource.getrlimit(resource.RLIMIT_FSIZE)

    def limit(size: int | None) -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (usual if size is None else size, most))

    try:
        yield limit
    finally:
        limit(None)
