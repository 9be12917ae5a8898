"""Text for whoever reads it now: on a terminal nothing is cut within a word."""

from __future__ import annotations

import os
import shutil
import sys
from typing import IO

import click

from livecube.views.lines import folded

__all__ = ["say", "screen_width"]


def screen_width(stream: IO[str] | None = None) -> int | None:
    """Columns of text of the terminal behind a stream (standard output); None: it is none.

    ``COLUMNS`` in the environment says it for every stream, as for other programs.
    """
    stream = stream or sys.stdout
    if "COLUMNS" not in os.environ and not stream.isatty():
        return None
    return shutil.get_terminal_size().columns


def say(text: str, *, err: bool = False, deeper: int = 2) -> None:
    """Print lines, folded at blanks; what goes on stands ``deeper`` columns to the right."""
    width = screen_width(sys.stderr if err else sys.stdout)
    click.echo("\n".join(folded(text.split("\n"), width, deeper)), err=err)
