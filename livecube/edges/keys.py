"""Single keys from a terminal, read beside everything else; the terminal is given back always."""

from __future__ import annotations

import asyncio
import os
import re
import sys
from typing import TYPE_CHECKING, Final

try:
    import termios
    import tty
except ImportError:  # a system whose terminals are of another kind: no keys there
    _TERMINALS = False
else:
    _TERMINALS = True

if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Self

__all__ = ["Keys", "keyboard"]

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
