"""Prints text; on a terminal nothing is cut within a word."""

from __future__ import annotations

import os
import sys
from typing import IO

import click

from livecube.views.lines import folded

__all__ = ["say", "screen_width"]


def screen_width(stream: IO[str] | None = None) -> int | None:
    """Columns of text of the terminal behind a stream (standard output); None: it is none."""
    stream = stream or sys.stdout
    try:
        return os.get_terminal_size(stream.fileno()).columns or None
    except (OSError, ValueError, AttributeError):  # a pipe, a file, or nothing that is open
        return None


def say(text: str, *, err: bool = False, deeper: int = 2) -> None:
    """Print lines; on a terminal they are folded at blanks, ``deeper`` columns to the right."""
    width = screen_width(sys.stderr if err else sys.stdout)
    click.echo("\n".join(folded(text.split("\n"), width, deeper)), err=err)
