"""How a scrambled cube can be begun: worked out beside the turning, for it takes long.

An answer is dropped as soon as nobody needs it.
"""

from __future__ import annotations

import asyncio
from functools import partial
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from livecube.advice.advisor import Advisor
    from livecube.advice.opportunity import Opportunity
    from livecube.advice.said import Happening
    from livecube.composition.pipeline import OpeningQuestion, Pipeline

__all__ = ["SWITCH_S", "Refiner", "find_openings"]

SWITCH_S: Final = 0.0001
"""How long one thread may keep the interpreter while another waits for it: a thread that refines
must not keep the turns waiting."""


def find_openings(
    advisor: Advisor, question: OpeningQuestion, stopped: Callable[[], bool] = lambda: False
) -> list[Opportunity] | None:
    """How a solve can begin; None if ``stopped`` says that nobody wants to know any more."""
    from livecube.advice.inspection import openings  # late: a start must not wait for it

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
        self._asked: OpeningQuestion | None = None
        self._news = asyncio.Event()

    def begin(self, advisor: Advisor) -> None:
        """Answer from now on; the advisor is used by the thread only."""
        self._advisor = advisor
        self._news.set()

    def look(self) -> None:
        """The pipeline may have another question now, or none."""
        if self._pipeline.question is not self._asked:
            # A search is left to end: it looks up only between two colours.
            self._asked = self._pipeline.question
            self._news.set()

    async def run(self) -> None:
        """Answer questions until cancelled."""
        while True:
            await self._news.wait()
            self._news.clear()
            question, advisor = self._asked, self._advisor
            if question is not None and advisor is not None:
                stopped = partial(self._moved_on, question)
                rows = await asyncio.to_thread(find_openings, advisor, question, stopped)
                if rows is not None:
                    self._tell(self._pipeline.opened(question, rows, self._now()))

    def _moved_on(self, question: OpeningQuestion) -> bool:
        return self._asked is not question
