"""Far desks: a group hears them on a broker, in a thread of its own.

However many messages come, the loop that follows the cubes does none of the work.
"""

from __future__ import annotations

import asyncio
import threading
from contextlib import suppress
from typing import TYPE_CHECKING

from livecube.dashboard.tools import listen_to_desks
from livecube.errors import LivecubeError

if TYPE_CHECKING:
    from collections.abc import Collection

    from livecube.dashboard.desks import Arrived, DeskNow, Desks
    from livecube.dashboard.sending import Plan

__all__ = ["FarDesks"]


class FarDesks:
    """Listens to the desks on a broker. ``own``: names of desks that are left out: our own."""

    def __init__(self, plan: Plan, own: Collection[str]) -> None:
        self._plan = plan
        self._own = frozenset(own)
        self.seen: tuple[tuple[DeskNow, ...], str] = (), ""
        """The desks and a sentence about the connection, replaced as a whole."""
        self._loop = asyncio.SelectorEventLoop()
        self._task: asyncio.Task[None] | None = None
        self._thread = threading.Thread(target=self._run, name="far desks", daemon=True)

    def start(self) -> None:
        """Begin to listen."""
        self._thread.start()

    def stop(self) -> None:
        """Stop listening; waits a moment for the farewell."""
        if self._thread.is_alive():
            with suppress(RuntimeError):  # it has ended by itself
                self._loop.call_soon_threadsafe(self._cancel)
            self._thread.join(2.0)

    def _cancel(self) -> None:
        if self._task is not None:
            self._task.cancel()

    def _run(self) -> None:
        try:
            self._loop.run_until_complete(self._listen())
        finally:
            self._loop.close()

    async def _listen(self) -> None:
        self._task = asyncio.current_task()
        try:
            await listen_to_desks(self._plan, self._heard, self._complain, patient=True)
        except LivecubeError as error:  # unreadable files: another try would not help
            self._complain(f"no far desk can be heard: {error}")
        except asyncio.CancelledError:
            pass

    def _heard(self, desks: Desks, arrived: Arrived | None) -> None:
        far = tuple(desk for desk in desks.desks.values() if desk.name not in self._own)
        self.seen = far, ""

    def _complain(self, sentence: str) -> None:
        self.seen = self.seen[0], sentence
