"""``made-pair``: corner and edge already touch with matching colours and stay together."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from livecube.search.situation import slot_bits
from livecube.search.task import NO_D, Task
from livecube.techniques.base import Chance, goal_bits

if TYPE_CHECKING:
    from livecube.search.situation import Situation

__all__ = ["MadePair"]


class MadePair:
    """Possible at offset 0 when the two pieces of a free slot form a block outside it.

    No turn of the cross layer, and none that moves one of the two without the other.
    """

    id: Final = "made-pair"
    in_inspection: Final = False

    def chances(self, situation: Situation) -> list[Chance]:
        """One for each free slot whose pieces are joined."""
        if situation.offset != 0:
            return []
        return [
            Chance(
                self.id,
                (slot,),
                Task(goal_bits(situation.solved | 1 << slot), allowed=NO_D, target=slot, tied=True),
                "its corner and edge are joined already",
            )
            for slot in slot_bits(situation.joined)
        ]
