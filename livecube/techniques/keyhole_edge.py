"""``keyhole-edge`` and ``keyhole-flip``: the corner is home; the edge goes in under another one.

The cross layer is turned aside (D^a) so that the home of an unsolved corner lies under the
slot, the edge is inserted without a turn of the cross layer (X), and the layer is turned back
(D^b). Judged at the end of X only, up to offset. It is called a flip if the edge stands in
its own slot the wrong way round.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from livecube.search.situation import slot_bits
from livecube.search.task import NO_D, TURNED_BACK, Task
from livecube.techniques.base import Chance, goal_bits

if TYPE_CHECKING:
    from livecube.search.situation import Situation

__all__ = ["KeyholeEdge", "KeyholeFlip"]


def _chances(technique: str, situation: Situation, slots: int, why: str) -> list[Chance]:
    if situation.offset is None:
        return []
    result = []
    for slot in slot_bits(slots):
        doors = slot_bits(situation.free & ~situation.corners & ~(1 << slot))
        prefix = sum(
            1 << a for a in range(4) if any(situation.under(door, a) == slot for door in doors)
        )
        if prefix:
            goal = goal_bits(situation.solved | 1 << slot)
            task = Task(goal, NO_D, prefix, TURNED_BACK, target=slot)
            result.append(Chance(technique, (slot,), task, why))
    return result


class KeyholeEdge:
    """Possible when a slot's corner is solved and its edge elsewhere.

    Another unsolved corner's home must exist that can be turned under the slot.
    """

    id: Final = "keyhole-edge"
    in_inspection: Final = False

    def chances(self, situation: Situation) -> list[Chance]:
        """One for each slot whose corner waits for its edge."""
        slots = situation.corners & ~situation.edges & ~situation.flipped
        return _chances(self.id, situation, slots, "its corner is home and waits for the edge")


class KeyholeFlip:
    """Possible when a slot's corner is solved and its edge stands in it flipped."""

    id: Final = "keyhole-flip"
    in_inspection: Final = False

    def chances(self, situation: Situation) -> list[Chance]:
        """One for each slot whose edge stands the wrong way round under its corner."""
        slots = situation.corners & situation.flipped
        return _chances(self.id, situation, slots, "its corner is home, its edge only flipped")
