"""Answers worked out beside the turning, dropped as soon as nobody needs them.

While solving it is the refined answer; before a solve, how it can begin.
"""

from __future__ import annotations

import asyncio
from functools import partial
from typing import TYPE_CHECKING, Final

from livecube.composition.pipeline import Question

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from livecube.advice.advisor import Advisor
    from livecube.advice.opportunity import Opportunity
    from livecube.advice.speaker import Happening
    from livecube.composition.pipeline import Asked, OpeningQuestion, Pipeline

__all__ = ["SWITCH_S", "Refiner", "find_openings"]

SWITCH_S: Final = 0.0001
"""How long one thread may keep the interpreter while another waits for it: a thread that refines
must not keep the turns waiting."""


def find_openings(
    advisor: Advisor, question: OpeningQuestion, stopped: Callable[[], bool] = lambda: False
) -> list[Opportunity] | None:
    """How a solve can begin; None if ``stopped`` says that nobody wants to know any more."""
    from livecube.advice.opening import openings  # late: a start must not wait for it

    return openings(advisor, question.position, question.faces, question.holding, stopped=stopped)


class Refiner:
    """Answers a pipeline's latest question in a thread of its own.

    ``tell`` is given what an answer brings; ``now`` gives the cube's time.
    """

    def __init__(
        self,
        pipeline: Pipeline,
        tell: Callable[[Iterable[Happening]], None],
        now: Callable[[], float],
    ) -> None:
        self._advisor: Advisor | None = None
        self._pipeline = pipeline
        self._tell = tell
        self._now = now
        self._asked: Asked | None = None
        self._news = asyncio.Event()

    def begin(self, advisor: Advisor) -> None:
        """Answer from now on; the advisor is used by the thread only."""
        self._advisor = advisor
        self._news.set()

    def look(self) -> None:
        """The pipeline may have another question now, or none."""
        if self._pipeline.question is not self._asked:
            # A search for openings is left to end: it looks up only between two colours.
            if self._advisor is not None and isinstance(self._asked, Question):
                self._advisor.engine.stop()
            self._asked = self._pipeline.question
            self._news.set()

    def _moved_on(self, question: Asked) -> bool:
        return self._asked is not question

    async def run(self) -> None:
        """Answer questions until cancelled."""
        while True:
            await self._news.wait()
            self._news.clear()
            question, advisor = self._asked, self._advisor
            if question is not None and advisor is not None:
                stopped = partial(self._moved_on, question)
                if isinstance(question, Question):
                    await self._answer(advisor, question, stopped)
                else:
                    await self._open(advisor, question, stopped)

    async def _answer(
        self, advisor: Advisor, question: Question, stopped: Callable[[], bool]
    ) -> None:
        """The better advice first, then the orders of the free slots, which take longer."""
        from livecube.advice.order import orders  # late: a start must not wait for it

        where = question.position, question.face, question.holding
        advice = await asyncio.to_thread(advisor.refine, *where, stopped=stopped)
        if advice is not None:
            self._tell(self._pipeline.refined(question, advice))
            found = await asyncio.to_thread(orders, advisor, *where, stopped)
            self._tell(self._pipeline.planned(question, found or ()))

    async def _open(
        self, advisor: Advisor, question: OpeningQuestion, stopped: Callable[[], bool]
    ) -> None:
        rows = await asyncio.to_thread(find_openings, advisor, question, stopped)
        if rows is not None:
            self._tell(self._pipeline.opened(question, rows, self._now()))
