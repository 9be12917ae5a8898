"""``keyhole-corner``: the edge is home; the corner goes in through another free slot.

The cross layer is turned aside (D^a) so that the corner's home lies under another free
slot, the corner is inserted there without a turn of the cross layer (X), and the layer is
turned back (D^b). Judged at the end of X only, up to offset.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from livecube.search.situation import slot_bits
from livecube.search.task import NO_D, TURNED_BACK, Task
from livecube.techniques.base import Chance, goal_bits

if TYPE_CHECKING:
    from livecube.search.situation import Situation

__all__ = ["KeyholeCorner"]


class KeyholeCorner:
    """Possible when a slot's edge is solved, its corner is not, and another slot is free."""

    id: Final = "keyhole-corner"
    in_inspection: Final = False

    def chances(self, situation: Situation) -> list[Chance]:
        """One for each slot whose edge waits for its corner."""
        if situation.offset is None:
            return []
        result = []
        for slot in slot_bits(situation.edges & ~situation.corners):
            doors = situation.free & ~(1 << slot)
            prefix = sum(1 << a for a in range(4) if doors >> situation.under(slot, a) & 1)
            if prefix:
                goal = goal_bits(situation.solved | 1 << slot)
                task = Task(goal, NO_D, prefix, TURNED_BACK, target=slot)
                names = " or ".join(situation.slot_names(slot_bits(doors)))
                result.append(
                    Chance(self.id, (slot,), task, f"its edge is home, and {names} is the door")
                )
        return result
