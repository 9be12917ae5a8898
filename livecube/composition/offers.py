"""Offers while a cube is followed: one is shown, and a key takes or declines it.

An offer never runs. Taking it is what ``livecube task take`` does with a file.
"""

from __future__ import annotations

import asyncio
import sqlite3
from typing import TYPE_CHECKING, Final

from livecube.dashboard.offers import Waiting
from livecube.errors import LivecubeError

if TYPE_CHECKING:
    from livecube.composition.run import Output
    from livecube.dashboard.offers import Offer

__all__ = ["OfferDesk", "take_offer"]

_KEYS: Final = "t takes it, d declines"


def take_offer(offer: Offer, person: str) -> bool:
    """Keep an offer as a person's task; returns whether it is new.

    Raises :class:`~livecube.errors.LessonError` if it names a technique that is not known.
    """
    from livecube.composition.assembly import technique_names
    from livecube.history.folder import data_folder
    from livecube.history.store import History
    from livecube.lessons.keeping import LessonBook
    from livecube.lessons.shipped import shipped_texts
    from livecube.lessons.tasks import parse_task

    told = parse_task(offer.text, "the offer", technique_names(), shipped_texts())
    with History(data_folder()) as history:
        return LessonBook.of(history, person).take(told.identity, offer.text)


class OfferDesk:
    """Shows the offers that a dashboard hears. ``person``: whose tasks they become, if anybody's.

    Use it in the loop that follows the cube.
    """

    def __init__(self, output: Output, person: str | None) -> None:
        self._output = output
        self._person = person
        self._waiting = Waiting()
        self._taking: set[asyncio.Task[None]] = set()

    def offered(self, offer: Offer) -> None:
        """Show an offer, or let it wait."""
        if not self._waiting.add(offer):
            return
        if self._output.screen is None:
            self._output.complain(f"{offer.sentence}; take it at a livecube with a screen")
        self._show()

    def press(self, key: str) -> bool:
        """Take or decline the shown offer; returns whether the key is one of these."""
        first = self._waiting.first
        if first is None or key.lower() not in ("t", "d"):
            return False
        if key.lower() == "t" and self._person is None:
            self._output.complain(
                "An offer is kept with your solves, and these are not kept: leave out "
                "--no-history; with a virtual cube give --person."
            )
            return True
        self._waiting.answer()
        if key.lower() == "t":
            task = asyncio.create_task(self._take(first), name="offer")
            self._taking.add(task)
            task.add_done_callback(self._taking.discard)
        self._show()
        return True

    async def _take(self, offer: Offer) -> None:
        assert self._person is not None
        try:
            is_new = await asyncio.to_thread(take_offer, offer, self._person)
        except (LivecubeError, OSError, sqlite3.Error) as error:
            self._output.complain(f"The offer cannot be taken: {error}")
            return
        what = "Taken" if is_new else "You have it already"
        self._output.complain(f"{what}: {offer.title}. livecube task lists it.")

    def _show(self) -> None:
        first = self._waiting.first
        more = len(self._waiting) - 1
        text = ""
        if first is not None:
            count = f" (and {more} more)" if more else ""
            text = f"Offer, {_KEYS}{count}: {first.sentence}"
        if self._output.screen is not None:
            self._output.board.change(offer=text)
