"""``keyhole-corner``: the edge is home; the corner goes in through another free slot.

The cross layer is turned aside (D^a) so that the corner's home lies under another free
slot, the corner is inserted there without a turn of the cross layer (X), and the layer is
turned back (D^b). Judged at the end of X only, up to offset.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from livecube.search.situation import slot_bits
from livecube.search.task import NO_D, TURNED_BACK, Task
from livecube.techniques.base import About, Chance, goal_bits

if TYPE_CHECKING:
    from livecube.search.situation import Situation

__all__ = ["KeyholeCorner"]

_ABOUT: Final = About(
    title="Keyhole corner",
    summary="the edge is home; its corner goes in through another free slot",
    seeing="The edge of a slot is home and only its corner is missing. Turn the cross layer until "
    "the corner's place lies under another slot that is still free, insert the corner "
    "there, and turn the cross layer back: the free slot is the door through which it went. "
    "To see it, look for an edge that already fits its two centres, and for the corner "
    "with the same two colours in the upper layer; then choose the door that takes the "
    "corner in with one easy trigger.",
    paying="It pays because a single corner goes in quickly, even with the two turns of the cross "
    "layer, while the plain way takes the good edge out first; and the upper layer hardly "
    "changes, so that what you saw for the next pair stays. It pays less when the cross "
    "colour of the corner faces up: that corner takes several turns more, and it is better to "
    "do another pair first. Without another free slot, so for the last pair, there is no "
    "door.",
)


class KeyholeCorner:
    """Possible when a slot's edge is solved, its corner is not, and another slot is free."""

    id: Final = "keyhole-corner"
    in_inspection: Final = False
    sees_only_state: Final = True
    about: Final = _ABOUT

    def chances(self, situation: Situation) -> list[Chance]:
        """One for each slot whose edge waits for its corner."""
        if situation.offset is None:
            return []
        result = []
        for slot in slot_bits(situation.edges & ~situation.corners):
            free = situation.free & ~(1 << slot)
            under = [situation.under(slot, a) for a in range(4)]
            doors = tuple(door if free >> door & 1 else None for door in under)
            prefix = sum(1 << a for a in range(4) if doors[a] is not None)
            if prefix:
                goal = goal_bits(situation.solved | 1 << slot)
                task = Task(goal, NO_D, prefix, TURNED_BACK, target=slot)
                result.append(Chance(self.id, (slot,), task, "its edge is home", doors))
        return result
