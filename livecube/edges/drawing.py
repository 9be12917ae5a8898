"""Drawing on a terminal beside the loop: always the value that is shown now, until it cannot be."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.live import Live

if TYPE_CHECKING:
    from collections.abc import Callable

    from rich.console import Console, ConsoleOptions, RenderableType, RenderResult

__all__ = ["Drawing"]


class Drawing:
    """The whole terminal, drawn by a thread of its own so many times a second.

    ``shown`` is called by that thread for each frame. What it gives must never change afterwards;
    it is read once. ``failed`` is told, by that thread too, why something could not be drawn.
    """

    def __init__(
        self,
        console: Console,
        shown: Callable[[], RenderableType],
        frames_a_second: float,
        failed: Callable[[Exception], None],
    ) -> None:
        self._live = Live(
            console=console,
            screen=True,
            refresh_per_second=frames_a_second,
            get_renderable=lambda: _Frame(shown, failed),
        )
        self._live.start()

    @property
    def is_on(self) -> bool:
        """Whether the terminal is still ours."""
        return self._live.is_started

    def stop(self) -> None:
        """Give the terminal back; harmless when called again."""
        self._live.stop()


class _Frame:
    """One frame. An error in it would end rich's thread with a traceback, and nothing else."""

    def __init__(
        self, shown: Callable[[], RenderableType], failed: Callable[[Exception], None]
    ) -> None:
        self._shown = shown
        self._failed = failed

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        try:
            segments = list(console.render(self._shown(), options))
        except Exception as error:
            self._failed(error)
            return
        yield from segments
