"""Which slot to fill first, and which to keep for the end: every order to the last pair.

A slot that is filled is no door any more, and a piece that is home already makes its slot
quick; so what a slot costs depends on when it is filled. All orders are gone through to the
end, each step with the quickest sequence for the hands, held as the step before left the
cube. Back slots first is common practice (no published source): what is in front can be
seen. It decides between orders that take nearly the same.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from livecube.advice.words import place_of
from livecube.cube.notation import moves_text
from livecube.cube.position import apply_turns

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from livecube.advice.advisor import Advisor
    from livecube.advice.opportunity import Opportunity
    from livecube.cube.geometry import Array
    from livecube.cube.holding import Holding

__all__ = ["Order", "best_by", "orders"]

_NEARLY: Final = 1.05
"""Orders that take at most this many times the seconds of the quickest are as good."""


@dataclass(frozen=True, slots=True)
class Order:
    """One order in which to fill the free slots."""

    steps: tuple[Opportunity, ...]

    @property
    def slots(self) -> tuple[str, ...]:
        """The slots as they are filled."""
        return tuple(slot for step in self.steps for slot in step.slots)

    @property
    def seconds(self) -> float:
        """Predicted seconds of all steps."""
        return sum(step.seconds for step in self.steps)

    @property
    def turns(self) -> int:
        """Turns of all steps (HTM)."""
        return sum(step.turns for step in self.steps)

    @property
    def back_first(self) -> int:
        """The greater, the earlier slots are filled that are in the back at that time."""
        count = len(self.steps)
        return sum(
            count - number
            for number, step in enumerate(self.steps)
            for slot in step.slots
            if place_of(slot, step.holding).startswith("back")
        )

    def as_json(self) -> dict[str, Any]:
        """The object of machine-readable output."""
        return {
            "slots": list(self.slots),
            "seconds": round(self.seconds, 3),
            "turns": self.turns,
            "steps": [
                {
                    "technique": step.technique,
                    "slots": list(step.slots),
                    "moves": moves_text(step.moves),
                    "seconds": round(step.seconds, 3),
                    "door": step.door,
                }
                for step in self.steps
            ],
        }


def orders(
    advisor: Advisor,
    position: Array,
    face: int,
    holding: Holding | None = None,
    stopped: Callable[[], bool] = lambda: False,
) -> tuple[Order, ...] | None:
    """All orders from a position with the cross whole, best first; none if it is not whole.

    None if ``stopped`` says that nobody wants the answer any more.
    """
    found = []
    for steps in _ways(advisor, position, face, holding, ()):
        if stopped():
            return None
        found.append(Order(steps))
    if not found:
        return ()
    enough = _NEARLY * min(order.seconds for order in found)
    found.sort(
        key=lambda order: (
            (0.0, -order.back_first, order.seconds)
            if order.seconds <= enough
            else (order.seconds, 0, 0.0)
        )
    )
    return tuple(found)


def _ways(
    advisor: Advisor,
    position: Array,
    face: int,
    holding: Holding | None,
    before: tuple[Opportunity, ...],
) -> Iterator[tuple[Opportunity, ...]]:
    rows = advisor.quickest(position, face, holding)
    if not rows and before:
        yield before
    for row in rows:
        after = apply_turns(position, row.turns_fixed)
        yield from _ways(advisor, after, face, row.ends, (*before, row))


def best_by(found: Sequence[Order], place: int) -> dict[str, Order]:
    """For each slot the best order that fills it at a place (0: first, −1: last), best first."""
    best: dict[str, Order] = {}
    for order in found:
        best.setdefault(order.slots[place], order)
    return best
