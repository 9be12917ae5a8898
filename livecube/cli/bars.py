"""Progress bars of the commands: on standard error, gone when done, none without a terminal."""

from __future__ import annotations

import threading
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator
    from contextlib import AbstractContextManager

    from rich.progress import Progress

__all__ = ["LATE_S", "LOOKING", "late", "progress_bar", "waiting"]

LATE_S = 0.8
"""Seconds after which a bar appears."""
LOOKING = "looking for the fastest ways (the first time, that takes some seconds)"
"""What a command says that looks at one position."""


def progress_bar(text: str, *, with_time_left: bool = False) -> Progress:
    """A bar, not started yet; print other text on its console meanwhile."""
    # Imported late: most starts need no bar.
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    console = Console(stderr=True)
    columns = (TimeRemainingColumn(),) if with_time_left else ()
    return Progress(
        TextColumn(text), BarColumn(), *columns,
        console=console, transient=True, disable=not console.is_terminal,
    )  # fmt: skip


@contextmanager
def late(bar: Progress) -> Iterator[None]:
    """Show the bar, unless the work inside ends quickly."""
    timer = threading.Timer(LATE_S, bar.start)
    timer.start()
    try:
        yield
    finally:
        timer.cancel()
        timer.join()
        bar.stop()


def waiting(text: str) -> AbstractContextManager[None]:
    """A bar without an end, unless the work inside ends quickly."""
    bar = progress_bar(text)
    bar.add_task("", total=None)
    return late(bar)
