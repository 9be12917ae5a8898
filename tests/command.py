"""Runs a livecube command in this process, in half the time that a process of its own takes.

For commands that read no terminal. Other tests check how a process starts, ends and is interrupted.
"""

from __future__ import annotations

import io
import os
import subprocess
import sys
from contextlib import redirect_stderr, redirect_stdout
from unittest.mock import patch

__all__ = ["started"]


def started(
    *arguments: str, text: str = "", **environment: str
) -> subprocess.CompletedProcess[str]:
    """Run ``livecube`` with these arguments, this input and this environment."""
    from livecube.cli import run

    out, err, status = io.StringIO(), io.StringIO(), 0
    usual = sys.getswitchinterval()
    with (
        patch.dict(os.environ, environment),
        patch.object(sys, "argv", ["livecube", *arguments]),
        patch.object(sys, "stdin", io.StringIO(text)),
        redirect_stdout(out),
        redirect_stderr(err),
    ):
        try:
            run()
        except SystemExit as over:
            status = over.code if isinstance(over.code, int) else int(over.code is not None)
        finally:
            sys.setswitchinterval(usual)
    return subprocess.CompletedProcess(arguments, status, out.getvalue(), err.getvalue())
