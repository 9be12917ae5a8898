"""Single keys from a terminal, read beside everything else; the terminal is always restored."""

from __future__ import annotations

import asyncio
import os
import re
import sys
import threading
from contextlib import contextmanager
from typing import TYPE_CHECKING, Final

try:
    import termios
    import tty
except ImportError:  # a system with another kind of terminal: no keys there
    _TERMINALS = False
else:
    _TERMINALS = True

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from typing import Self

__all__ = ["Keys", "keyboard", "piped_keys"]

_SEQUENCE: Final = re.compile(r"\x1b(\[[0-9;]*.|O.|.)?", re.DOTALL)
"""Sequences of arrow and similar keys: several characters that are not single keys."""


def keyboard() -> int | None:
    """The file descriptor from which keys can be read; None if there is none.

    Standard input has to be a terminal, with this process in its foreground: the system stops a
    background process that changes the terminal.
    """
    if not _TERMINALS or sys.stdin is None or not sys.stdin.isatty():
        return None
    fd = sys.stdin.fileno()
    try:
        return fd if os.tcgetpgrp(fd) == os.getpgrp() else None
    except OSError:
        return None


class Keys:
    """Reports each key press without waiting for a line end and without showing the key.

    Use it as a context manager in a running loop. Ctrl-C and similar keys work as usual.
    """

    def __init__(self, fd: int, pressed: Callable[[str], None]) -> None:
        self._fd = fd
        self._pressed = pressed

    def __enter__(self) -> Self:
        self._before = termios.tcgetattr(self._fd)
        tty.setcbreak(self._fd, termios.TCSANOW)
        asyncio.get_running_loop().add_reader(self._fd, self._read)
        return self

    def __exit__(self, *_: object) -> None:
        asyncio.get_running_loop().remove_reader(self._fd)
        # Typed characters that were not read must not reach the shell.
        termios.tcsetattr(self._fd, termios.TCSAFLUSH, self._before)

    def _read(self) -> None:
        try:
            typed = os.read(self._fd, 64).decode(errors="replace")
        except OSError:
            typed = ""
        if not typed:  # the terminal is gone
            asyncio.get_running_loop().remove_reader(self._fd)
        for key in _SEQUENCE.sub("", typed):
            self._pressed(key)


@contextmanager
def piped_keys(pressed: Callable[[str], object], ended: Callable[[], object]) -> Iterator[None]:
    """Report each character from standard input that is not a terminal; then its end."""
    loop = asyncio.get_running_loop()
    wanted = True

    def tell(what: Callable[..., object], *arguments: str) -> None:
        if wanted:
            what(*arguments)

    def read() -> None:
        while character := sys.stdin.read(1) if sys.stdin is not None else "":
            loop.call_soon_threadsafe(tell, pressed, character)
        loop.call_soon_threadsafe(tell, ended)

    # A daemon: waiting for input that never comes must not delay the end of the program.
    threading.Thread(target=read, name="standard input", daemon=True).start()
    try:
        yield
    finally:
        wanted = False
