"""The refined answer: worked out beside the turning, dropped as soon as nobody needs it."""

from __future__ import annotations

import asyncio
from functools import partial
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from livecube.advice.advisor import Advisor
    from livecube.composition.hub import Hub
    from livecube.composition.pipeline import Pipeline, Question

__all__ = ["Refiner"]


class Refiner:
    """Refines the answer to a pipeline's latest question in a thread of its own.

    ``advisor`` may be set later; it is used by that thread only, as a twin of the pipeline's.
    """

    def __init__(self, pipeline: Pipeline, hub: Hub) -> None:
        self.advisor: Advisor | None = None
        self._pipeline = pipeline
        self._hub = hub
        self._asked: Question | None = None
        self._news = asyncio.Event()

    def look(self) -> None:
        """The pipeline may have another question now, or none."""
        if self._pipeline.question is not self._asked:
            self._asked = self._pipeline.question
            if self.advisor is not None:
                self.advisor.engine.stop()
            self._news.set()

    def _moved_on(self, question: Question) -> bool:
        return self._asked is not question

    async def run(self) -> None:
        """Answer questions until cancelled."""
        while True:
            await self._news.wait()
            self._news.clear()
            question = self._asked
            if question is None or self.advisor is None:
                continue
            advice = await asyncio.to_thread(
                self.advisor.refine,
                question.position,
                question.face,
                question.holding,
                stopped=partial(self._moved_on, question),
            )
            if advice is not None and self._asked is question:
                for spoken in self._pipeline.refined(question, advice):
                    self._hub.publish(spoken)
