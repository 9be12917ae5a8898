"""The sink that keeps each solve as soon as it is over, and what the solver decides about it."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING

from livecube.edges.history.importing import keep_open_log
from livecube.edges.history.logs import open_log_path
from livecube.practice.news import Corrected, Discarded, Judged

if TYPE_CHECKING:
    from livecube.edges.history.store import History
    from livecube.edges.sink import Item

__all__ = ["HistorySink"]


class HistorySink:
    """Keeps the solves of one session, whose logs are open and whole when they are judged."""

    name = "history"

    def __init__(self, history: History, session: int) -> None:
        self._history = history
        self._session = session
        self._numbers: dict[int, int] = {}
        """In the history, by the number in this session."""

    async def take(self, item: Item) -> None:
        """Keep, correct or delete a solve; the rest is not its business."""
        match item:
            case Judged():
                await asyncio.to_thread(self._keep, item.number)
            case Corrected() if item.number in self._numbers:
                number = self._numbers[item.number]
                await asyncio.to_thread(self._history.correct, number, item.penalties)
            case Discarded() if item.number in self._numbers:
                number = self._numbers[item.number]
                change = self._history.delete if item.away else self._history.restore
                await asyncio.to_thread(change, [number])

    def _keep(self, number: int) -> None:
        path = open_log_path(self._history.folder, self._session, number)
        kept = keep_open_log(self._history, path)
        if kept:
            self._numbers[number] = kept[-1]

    async def close(self) -> None:
        """Close the database."""
        self._history.close()
