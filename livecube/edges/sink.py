"""What a sink is: something that is told what happens, and never calls back."""

from __future__ import annotations

from typing import Protocol, TypeAlias

from livecube.advice.speaker import Happening
from livecube.drills.news import DrillNews
from livecube.events import CubeEvent
from livecube.practice.news import PracticeNews
from livecube.review.trying import TryNews

__all__ = ["Item", "Sink"]

Item: TypeAlias = CubeEvent | Happening | PracticeNews | TryNews | DrillNews
"""All that a sink may be told: what the cube did, what the pipeline made of it, and what
practice, a try or a drill did."""


class Sink(Protocol):
    """A screen, a log, a dashboard. It takes what concerns it and leaves the rest."""

    @property
    def name(self) -> str:
        """For messages about it."""
        ...

    async def take(self, item: Item) -> None:
        """Take in what happened next."""
        ...

    async def close(self) -> None:
        """Nothing more will happen."""
        ...
