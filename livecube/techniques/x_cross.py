"""``x-cross``: in inspection, cross and one pair together."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from livecube.search.task import Task
from livecube.techniques.base import Chance, goal_bits

if TYPE_CHECKING:
    from livecube.search.situation import Situation

__all__ = ["XCross"]


class XCross:
    """Possible while the cross is not done; no constraint.

    All sequences within one turn of the shortest, for each slot.
    """

    id: Final = "x-cross"
    in_inspection: Final = True

    def chances(self, situation: Situation) -> list[Chance]:
        """One for each slot while the cross is whole at no offset."""
        if situation.offset is not None:
            return []
        return [
            Chance(
                self.id,
                (slot,),
                Task(goal_bits(1 << slot), target=slot, extra=1),
                "the pair comes with the cross",
            )
            for slot in range(4)
        ]
