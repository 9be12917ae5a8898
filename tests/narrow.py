"""Limits for tests: folders without the right to write, files that cannot grow, a locked history.

All of them apply to the superuser too.
"""

from __future__ import annotations

import ctypes
import os
import resource
import sqlite3
import sys
from contextlib import closing, contextmanager
from typing import TYPE_CHECKING, Final
from unittest.mock import patch

import pytest

from livecube.history.store import DATABASE, History

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

__all__ = [
    "WORLDS",
    "impatient",
    "locked",
    "narrowing",
    "without_privileges",
    "without_rights_to_write",
]

_OVERRIDE: Final = 1 << 1 | 1 << 2  # CAP_DAC_OVERRIDE and CAP_DAC_READ_SEARCH, linux/capability.h
_VERSION_3: Final = 0x20080522


@contextmanager
def without_privileges() -> Iterator[None]:
    """File permissions apply to this thread and its children, even for the superuser."""
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
    """A function that limits the size of this process's files in bytes; None: no limit.

    A write beyond it fails as on a full disk, with another error number. The limit ends with the
    context. Modules that are first imported meanwhile would leave half a file of bytecode.
    """
    usual, most = resource.getrlimit(resource.RLIMIT_FSIZE)

    def limit(size: int | None) -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (usual if size is None else size, most))

    try:
        with patch.object(sys, "dont_write_bytecode", True):
            yield limit
    finally:
        limit(None)


@contextmanager
def without_rights_to_write(*places: Path) -> Iterator[None]:
    for place in places:
        place.chmod(place.stat().st_mode & ~0o222)
    try:
        with without_privileges():
            yield
    finally:
        for place in places:
            place.chmod(place.stat().st_mode | 0o200)


@contextmanager
def impatient() -> Iterator[None]:
    """Waits for a history that another program has locked are very short."""
    with patch("livecube.history.database._BUSY_S", 0.02):
        yield


@contextmanager
def no_room(folder: Path) -> Iterator[Callable[[], None]]:
    with narrowing() as files_up_to:
        files_up_to(300)
        yield lambda: files_up_to(None)


@contextmanager
def no_room_for_more(folder: Path) -> Iterator[Callable[[], None]]:
    History(folder).close()
    with no_room(folder) as mend:
        yield mend


@contextmanager
def locked(folder: Path) -> Iterator[Callable[[], None]]:
    History(folder).close()
    with closing(sqlite3.connect(folder / DATABASE, isolation_level=None)) as other, impatient():
        other.execute("BEGIN IMMEDIATE")
        yield other.rollback


@contextmanager
def read_only(folder: Path) -> Iterator[Callable[[], None]]:
    History(folder).close()
    with without_rights_to_write(folder, folder / DATABASE):

        def give_back() -> None:
            for place in (folder, folder / DATABASE):
                place.chmod(0o700)

        yield give_back


@contextmanager
def read_only_file(folder: Path) -> Iterator[Callable[[], None]]:
    History(folder).close()
    with without_rights_to_write(folder / DATABASE):
        yield lambda: (folder / DATABASE).chmod(0o600)


WORLDS: Final = (no_room, no_room_for_more, locked, read_only, read_only_file)
"""Data folders that cannot be written; the yielded function repairs that."""
