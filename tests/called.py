"""Calls the command line in this process, with all its files in one folder."""

from __future__ import annotations

import io
import os
import sys
from contextlib import ExitStack, redirect_stderr, redirect_stdout
from dataclasses import dataclass
from typing import TYPE_CHECKING
from unittest.mock import patch

from livecube.cli import run

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from typing_extensions import Buffer

__all__ = ["Done", "called"]


@dataclass(frozen=True, slots=True)
class Done:
    """The result of a command."""

    status: int
    out: str
    err: str


def called(
    *arguments: str,
    folder: Path,
    text: str = "",
    heard: Callable[[str], None] = lambda line: None,
    **environment: str,
) -> Done:
    """Call ``livecube`` with these arguments; an exception that it lets through is the caller's.

    Configuration, state and data are in ``folder``; ``environment`` changes that. ``text`` is
    its standard input. ``heard`` gets each line of output when it is written, before the program
    goes on.
    """
    own = {f"LIVECUBE_{name.upper()}": str(folder / name) for name in ("data", "state", "config")}
    out, err = _written("strict", heard), _written("backslashreplace")
    status = 0
    with ExitStack() as stack:
        stack.enter_context(patch.dict(os.environ, own | environment))
        stack.enter_context(patch.object(sys, "argv", ["livecube", *arguments]))
        stack.enter_context(patch.object(sys, "stdin", io.StringIO(text)))
        stack.enter_context(redirect_stdout(out))
        stack.enter_context(redirect_stderr(err))
        stack.callback(sys.setswitchinterval, sys.getswitchinterval())
        try:
            run()
        except SystemExit as end:
            status = end.code if isinstance(end.code, int) else 1
    return Done(status, _text(out), _text(err))


class _Heard(io.BytesIO):
    """Bytes that pass on each line as soon as it is whole."""

    def __init__(self, heard: Callable[[str], None]) -> None:
        super().__init__()
        self._heard = heard
        self._begun = b""

    def write(self, more: Buffer, /) -> int:
        size = super().write(more)
        *whole, self._begun = (self._begun + bytes(more)).split(b"\n")
        for line in whole:
            self._heard(line.decode("utf-8"))
        return size


def _written(errors: str, heard: Callable[[str], None] = lambda line: None) -> io.TextIOWrapper:
    return io.TextIOWrapper(_Heard(heard), "utf-8", errors, write_through=True)


def _text(stream: io.TextIOWrapper) -> str:
    stream.flush()
    raw = stream.detach()
    assert isinstance(raw, io.BytesIO)
    return raw.getvalue().decode("utf-8")
