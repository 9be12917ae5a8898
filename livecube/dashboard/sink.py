"""The sink for a dashboard: it only passes items on, so that a turn never waits for a broker."""

from __future__ import annotations

from importlib.resources import files
from typing import TYPE_CHECKING, Final, Protocol, TypeAlias

from livecube.dashboard.drilling import BeatDone, DrillDone, FingersDone
from livecube.dashboard.messages import CONCERNS
from livecube.edges.sinks import Item
from livecube.errors import UsageError
from livecube.stages.progress import Turned
from livecube.trends.measures import Month

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = [
    "DashboardSink",
    "Publisher",
    "Told",
    "page_text",
    "schema_names",
    "schema_text",
    "tree_text",
]

# Files for other programs of a dashboard: schemas, the tree, a page.


_SUFFIX: Final = ".schema.json"
_CLIENT: Final = "/* the MQTT client stands here */"


def schema_names() -> list[str]:
    """Names of the messages with a published schema."""
    found = (file.name for file in files("livecube.dashboard").iterdir())
    return sorted(name.removesuffix(_SUFFIX) for name in found if name.endswith(_SUFFIX))


def schema_text(name: str) -> str:
    """The JSON Schema of a kind of message.

    Raises :class:`~livecube.errors.UsageError`, which names the known ones.
    """
    if name not in schema_names():
        raise UsageError(f"no message is called {name!r}; there are {', '.join(schema_names())}")
    return _shipped(name + _SUFFIX)


def tree_text() -> str:
    """The description of the topics."""
    return _shipped("topics.md")


def page_text() -> str:
    """The page, with its client inside: it loads nothing from elsewhere."""
    return _shipped("page.html").replace(_CLIENT, _shipped("mqtt.min.js"))


def _shipped(name: str) -> str:
    return (files("livecube.dashboard") / name).read_text(encoding="utf-8")


Told: TypeAlias = Item | DrillDone | FingersDone | BeatDone | Month
"""Items for a dashboard."""


class Publisher(Protocol):
    """Makes messages and sends them, in another thread."""

    def post(self, item: Told) -> None:
        """Queue an item; returns at once."""
        ...

    async def finish(self) -> None:
        """End; returns when all messages are sent, or time is up."""
        ...


class DashboardSink:
    """Passes items on to a dashboard. Of the turns it passes on the first: the cube is there.

    ``told_as`` may turn an item into a value that a dashboard knows. ``turns``: whether it passes
    on all turns.
    """

    name = "dashboard"

    def __init__(
        self,
        publisher: Publisher,
        told_as: Callable[[Item], Told] = lambda item: item,
        *,
        turns: bool = False,
    ) -> None:
        self._publisher = publisher
        self._told_as = told_as
        self._turns = turns
        self._heard = False

    async def take(self, item: Item) -> None:
        """Pass an item on, if it concerns a dashboard."""
        told = self._told_as(item)
        if isinstance(told, CONCERNS):
            self._publisher.post(told)
        elif (self._turns or not self._heard) and isinstance(told, Turned):
            self._heard = True
            self._publisher.post(told)

    async def close(self) -> None:
        """End: no more items follow."""
        await self._publisher.finish()
