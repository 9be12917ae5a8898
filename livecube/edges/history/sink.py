"""The sink that keeps each solve as soon as it is over, and what the solver decides about it."""

from __future__ import annotations

import asyncio
import sqlite3
from typing import TYPE_CHECKING

from livecube.edges.history.importing import keep_open_log
from livecube.edges.history.logs import open_log_path
from livecube.errors import LivecubeError
from livecube.practice.news import Corrected, Discarded, Judged

if TYPE_CHECKING:
    from collections.abc import Callable

    from livecube.edges.history.store import History
    from livecube.edges.sink import Item

__all__ = ["HistorySink"]


class HistorySink:
    """Keeps the solves of one session, whose logs are open and whole when they are judged.

    ``complain`` is told in a sentence what cannot be kept; practice goes on. ``kept`` is told of
    each solve that is, by its number in this session and in the history.
    """

    name = "history"

    def __init__(
        self,
        history: History,
        session: int,
        complain: Callable[[str], None],
        kept: Callable[[int, int], None] = lambda number, in_history: None,
    ) -> None:
        self._history = history
        self._complain = complain
        self._kept = kept
        self._session = session
        self._numbers: dict[int, int] = {}
        """In the history, by the number in this session."""

    async def take(self, item: Item) -> None:
        """Keep, correct or delete a solve; the rest is not its business."""
        if not isinstance(item, Judged | Corrected | Discarded):
            return
        try:
            await asyncio.to_thread(self._take, item)
        except (OSError, sqlite3.Error, LivecubeError) as error:
            self._complain(
                f"Solve {item.number} cannot be kept now ({error}); its log stays, and the next "
                "start tries again."
            )
            return
        if isinstance(item, Judged) and item.number in self._numbers:
            self._kept(item.number, self._numbers[item.number])

    def _take(self, item: Judged | Corrected | Discarded) -> None:
        number = self._numbers.get(item.number)
        match item:
            case Judged():
                self._keep(item.number)
            case Corrected() if number is not None:
                self._history.correct(number, item.penalties)
            case Discarded() if number is not None:
                change = self._history.delete if item.away else self._history.restore
                change([number])

    def _keep(self, number: int) -> None:
        path = open_log_path(self._history.folder, self._session, number)
        kept = keep_open_log(self._history, path)
        if kept:
            self._numbers[number] = kept[-1]

    async def close(self) -> None:
        """Close the database."""
        self._history.close()
