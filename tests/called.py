"""The command line called in this process, with everything that it may touch in one folder."""

from __future__ import annotations

import io
import os
import sys
from contextlib import ExitStack, redirect_stderr, redirect_stdout
from dataclasses import dataclass
from typing import TYPE_CHECKING
from unittest.mock import patch

from livecube.cli import main

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["Done", "called"]


@dataclass(frozen=True, slots=True)
class Done:
    """How a command ended."""

    status: int
    out: str
    err: str


def called(*arguments: str, folder: Path, text: str = "", **environment: str) -> Done:
    """Call ``livecube`` with these arguments; an exception that it lets through is the caller's.

    Configuration, state and data are in ``folder``; ``environment`` changes that. ``text`` is
    its standard input.
    """
    own = {f"LIVECUBE_{name.upper()}": str(folder / name) for name in ("data", "state", "config")}
    out, err = _written("strict"), _written("backslashreplace")
    status = 0
    with ExitStack() as stack:
        stack.enter_context(patch.dict(os.environ, own | environment))
        stack.enter_context(patch.object(sys, "argv", ["livecube", *arguments]))
        stack.enter_context(patch.object(sys, "stdin", io.StringIO(text)))
        stack.enter_context(redirect_stdout(out))
        stack.enter_context(redirect_stderr(err))
        try:
            main()
        except SystemExit as end:
            status = end.code if isinstance(end.code, int) else 1
    return Done(status, _text(out), _text(err))


def _written(errors: str) -> io.TextIOWrapper:
    return io.TextIOWrapper(io.BytesIO(), "utf-8", errors, write_through=True)


def _text(stream: io.TextIOWrapper) -> str:
    stream.flush()
    raw = stream.detach()
    assert isinstance(raw, io.BytesIO)
    return raw.getvalue().decode("utf-8")
