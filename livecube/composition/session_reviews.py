"""Each solve of a practice session is reviewed as soon as it is kept, beside the turning."""

from __future__ import annotations

import asyncio
import sqlite3
from typing import TYPE_CHECKING

from livecube.composition.reviewing import begun_kept, chances_of, review_of
from livecube.edges.history.store import History
from livecube.errors import LivecubeError
from livecube.practice.news import Reviewed
from livecube.views.review_text import costs_told

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from livecube.advice.advisor import Advisor
    from livecube.hands.automaton import Automaton

__all__ = ["SessionReviews"]


class SessionReviews:
    """Reviews solves of the history in ``folder``, one after another, in a thread.

    ``tell`` is given what a review says, ``complain`` a sentence if there can be none; ``now``
    gives the cube's time. What is not reviewed when a session ends, ``livecube review`` can
    review at any time.
    """

    def __init__(
        self,
        folder: Path,
        tell: Callable[[Reviewed], None],
        complain: Callable[[str], None],
        now: Callable[[], float],
    ) -> None:
        self._folder = folder
        self._tell = tell
        self._complain = complain
        self._now = now
        self._waiting: asyncio.Queue[tuple[int, int]] = asyncio.Queue()
        self._tools: asyncio.Future[tuple[Advisor, Automaton]] = (
            asyncio.get_running_loop().create_future()
        )

    def begin(self, advisor: Advisor, hands: Automaton) -> None:
        """Review from now on; the advisor is used by the thread only."""
        self._tools.set_result((advisor, hands))

    def add(self, number: int, kept: int) -> None:
        """A solve was kept: its number in this session and in the history."""
        self._waiting.put_nowait((number, kept))

    async def finish(self) -> None:
        """Wait until all that was kept is reviewed, unless the advisor is not there yet."""
        if self._tools.done():
            await self._waiting.join()

    async def run(self) -> None:
        """Review until cancelled."""
        tools = await self._tools
        while True:
            number, kept = await self._waiting.get()
            try:
                told = await asyncio.to_thread(self._review, kept, *tools)
            except (OSError, sqlite3.Error, LivecubeError) as error:
                self._complain(f"Solve {number} cannot be reviewed now: {error}")
            else:
                self._tell(Reviewed(self._now(), number, kept, told))
            finally:
                self._waiting.task_done()

    def _review(self, kept: int, advisor: Advisor, hands: Automaton) -> tuple[str, ...]:
        # By a connection of its own: the session's other one may be writing.
        with History(self._folder) as history:
            review = review_of(begun_kept(history, kept), advisor, hands)
            history.note_chances(kept, chances_of(review))
        return costs_told(review)
