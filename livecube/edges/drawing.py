"""Draws the current value on a terminal beside the loop, until drawing fails."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.live import Live

if TYPE_CHECKING:
    from collections.abc import Callable

    from rich.console import Console, ConsoleOptions, RenderableType, RenderResult

__all__ = ["Drawing"]


class Drawing:
    """The whole terminal, drawn several times a second by a thread of its own.

    That thread calls ``shown`` for each frame and reads the value once. The value must never
    change afterwards. The thread calls ``failed`` with the reason if drawing fails.
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
        """Whether the terminal is still in use."""
        return self._live.is_started

    def stop(self) -> None:
        """Give the terminal back; harmless when called again."""
        self._live.stop()


class _Frame:
    """One frame. An error in it would only end rich's thread, with a traceback."""

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
