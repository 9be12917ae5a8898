"""The sink for a dashboard: it only passes on, so that a turn never waits for a broker."""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

from livecube.dashboard.messages import CONCERNS
from livecube.stages.progress import Turned

if TYPE_CHECKING:
    from livecube.edges.sink import Item

__all__ = ["DashboardSink", "Publisher"]


class Publisher(Protocol):
    """Who makes messages and sends them, elsewhere."""

    def post(self, item: Item) -> None:
        """Take an item over; returns at once."""
        ...

    async def finish(self) -> None:
        """Nothing more will be posted; returns when it is sent, or time is up."""
        ...


class DashboardSink:
    """Passes on what a dashboard is told. Of the turns only the first: the cube is there."""

    name = "dashboard"

    def __init__(self, publisher: Publisher) -> None:
        self._publisher = publisher
        self._heard = False

    async def take(self, item: Item) -> None:
        """Pass it on, if it is of any concern."""
        if isinstance(item, CONCERNS):
            self._publisher.post(item)
        elif not self._heard and isinstance(item, Turned):
            self._heard = True
            self._publisher.post(item)

    async def close(self) -> None:
        """Nothing more will happen."""
        await self._publisher.finish()
