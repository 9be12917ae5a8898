"""``made-pair``: corner and edge already touch with matching colours and stay together."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from livecube.search.situation import slot_bits
from livecube.search.task import NO_D, Task
from livecube.techniques.base import About, Chance, goal_bits

if TYPE_CHECKING:
    from livecube.search.situation import Situation

__all__ = ["MadePair"]

_ABOUT: Final = About(
    title="Made pair",
    summary="corner and edge are joined already and only have to go in",
    seeing="The corner and the edge of a slot touch already, outside their slot, and the two "
    "colours that they share match: a small block that only has to be brought to its slot. "
    "No turn may part them. To see it, look along the upper layer for an edge and a corner "
    "side by side that show one colour on top and one colour on the side; these two colours "
    "name the slot.",
    paying="It nearly always pays, and at once, because any other pair may tear it apart. Finding "
    "takes no time and inserting few turns, while your eyes are free for the next pair. It "
    "pays less when the block stands on the wrong side of its slot, so that it takes a "
    "rotation or an awkward face; and if another insertion leaves it joined, it may wait. "
    "`livecube hints --json` says how many made pairs each sequence keeps.",
)


class MadePair:
    """Possible at offset 0 when the two pieces of a free slot form a block outside it.

    No turn of the cross layer, and none that moves one of the two without the other.
    """

    id: Final = "made-pair"
    in_inspection: Final = False
    sees_only_state: Final = True
    about: Final = _ABOUT

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
