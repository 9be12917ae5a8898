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
from livecube.techniques.base import About, Chance, Level, goal_bits

if TYPE_CHECKING:
    from livecube.search.situation import Situation

__all__ = ["KeyholeEdge", "KeyholeFlip"]

_EDGE: Final = About(
    title="Keyhole edge",
    level=Level.KEEN,
    summary="the corner is home; its edge goes in over a free corner's place",
    seeing="The corner of a slot is home and only its edge is missing. Turn the cross layer until "
    "the place of another corner that is not solved yet lies under the slot, insert the "
    "edge there without caring for what stands below it, and turn the cross layer back, "
    "which brings the good corner under its edge. To see it, look for a cross-coloured "
    "corner that fits the two cross edges beside it, and for its edge in the upper layer.",
    paying="An edge alone goes in by a short trigger from one of the two sides of its slot, and "
    "the good corner stays; the very shortest plain sequence is often no longer, but harder "
    "to find. Which side it is, the colour on top of the edge says: it goes in from the "
    "face of the other colour. The right and left sides are good; if it takes the front or "
    "the back, a wide turn of the upper two layers in place of the cross-layer turn may "
    "save the rotation. It needs another slot whose corner is not solved.",
)

_FLIP: Final = About(
    title="Keyhole flip",
    level=Level.KEEN,
    summary="the corner is home; its edge stands in the slot flipped",
    seeing="Corner and edge are both in their slot, the corner right and the edge flipped. As with "
    "the keyhole edge, the cross layer is turned so that an unsolved corner's place lies "
    "under the slot; there the edge is taken out and put back the other way, and the cross "
    "layer is turned back. To see it, look at a slot whose corner fits the cross while the "
    "edge above it shows its two colours exchanged.",
    paying="A flipped edge is long in every way. Against the very shortest plain sequence the "
    "keyhole hardly ever wins a turn; what speaks for it is that it can be found on the "
    "spot: an edge out, an edge in, and the good corner left alone. If another pair can be "
    "done first so that it takes the flipped edge out on its way, that is often better, "
    "because what is left is a keyhole edge. For the last pair there is no other place to "
    "turn under the slot, and only the plain way remains.",
)


def _chances(technique: str, situation: Situation, slots: int, why: str) -> list[Chance]:
    if situation.offset is None:
        return []
    result = []
    for slot in slot_bits(slots):
        free = slot_bits(situation.free & ~situation.corners & ~(1 << slot))
        doors = tuple(
            next((door for door in free if situation.under(door, a) == slot), None)
            for a in range(4)
        )
        prefix = sum(1 << a for a in range(4) if doors[a] is not None)
        if prefix:
            goal = goal_bits(situation.solved | 1 << slot)
            task = Task(goal, NO_D, prefix, TURNED_BACK, target=slot)
            result.append(Chance(technique, (slot,), task, why, doors))
    return result


class KeyholeEdge:
    """Possible when a slot's corner is solved and its edge elsewhere.

    Another unsolved corner's home must exist that can be turned under the slot.
    """

    id: Final = "keyhole-edge"
    in_inspection: Final = False
    sees_only_state: Final = True
    about: Final = _EDGE

    def chances(self, situation: Situation) -> list[Chance]:
        """One for each slot whose corner waits for its edge."""
        slots = situation.corners & ~situation.edges & ~situation.flipped
        return _chances(self.id, situation, slots, "its corner is home and waits for the edge")


class KeyholeFlip:
    """Possible when a slot's corner is solved and its edge stands in it flipped."""

    id: Final = "keyhole-flip"
    in_inspection: Final = False
    sees_only_state: Final = True
    about: Final = _FLIP

    def chances(self, situation: Situation) -> list[Chance]:
        """One for each slot whose edge stands the wrong way round under its corner."""
        slots = situation.corners & situation.flipped
        return _chances(self.id, situation, slots, "its corner is home, its edge only flipped")
