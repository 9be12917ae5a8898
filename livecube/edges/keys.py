"""Single keys from a terminal, read beside everything else; the terminal is given back always."""

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
except ImportError:  # a system whose terminals are of another kind: no keys there
    _TERMINALS = False
else:
    _TERMINALS = True

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from typing import Self

__all__ = ["Keys", "keyboard", "piped_keys"]

_SEQUENCE: Final = re.compile(r"\x1b(\[[0-9;]*.|O.|.)?", re.DOTALL)
"""What arrows and their like send: several characters, none of which was meant by itself."""


def keyboard() -> int | None:
    """The file descriptor on which somebody can press keys; None if nobody can.

    Standard input has to be a terminal, and this process in its foreground: one that is
    not would be stopped for changing it.
    """
    if not _TERMINALS or sys.stdin is None or not sys.stdin.isatty():
        return None
    fd = sys.stdin.fileno()
    try:
        return fd if os.tcgetpgrp(fd) == os.getpgrp() else None
    except OSError:
        return None


class Keys:
    """Tells each key that is pressed, without waiting for a line end and without showing it.

    Use it as a context manager in a running loop. Ctrl-C and its like work as ever.
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
        # What was typed and not read is no command for the shell.
        termios.tcsetattr(self._fd, termios.TCSAFLUSH, self._before)

    def _read(self) -> None:
        try:
            typed = os.read(self._fd, 64).decode(errors="replace")
        except OSError:
            typed = ""
        if not typed:  # the terminal has gone
            asyncio.get_running_loop().remove_reader(self._fd)
        for key in _SEQUENCE.sub("", typed):
            self._pressed(key)


@contextmanager
def piped_keys(pressed: Callable[[str], object], ended: Callable[[], object]) -> Iterator[None]:
    """Tell each character that comes on standard input, where that is no terminal; then its end."""
    loop = asyncio.get_running_loop()
    wanted = True

    def tell(what: Callable[..., object], *arguments: str) -> None:
        if wanted:
            what(*arguments)

    def read() -> None:
        while character := sys.stdin.read(1) if sys.stdin is not None else "":
            loop.call_soon_threadsafe(tell, pressed, character)
        loop.call_soon_threadsafe(tell, ended)

    # A daemon: who waits for input that never comes must not hold up the end of the program.
    threading.Thread(target=read, name="standard input", daemon=True).start()
    try:
        yield
    finally:
        wanted = False
