"""``plain``: the ordinary way to insert a pair, without a turn of the cross layer."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from livecube.search.situation import slot_bits
from livecube.search.task import NO_D, Task
from livecube.techniques.base import About, Chance, goal_bits

if TYPE_CHECKING:
    from livecube.search.situation import Situation

__all__ = ["Plain", "plain_task"]

_ABOUT: Final = About(
    title="Plain",
    summary="the ordinary insertion, without a turn of the cross layer",
    seeing="The ordinary way to solve a slot: bring its corner and its edge together in the upper "
    "layer and insert them as a pair, or leave them apart so that one insertion takes both. "
    "The cross layer is never turned. To see it, find the two pieces: if both are in the "
    "upper layer you are in one of the known cases; if one of them is stuck in a slot, it "
    "comes out on the way, best so that the two are joined by the same turns.",
    paying="It is always there as long as the cross stands straight, and it is what every other "
    "technique is measured against. Take it without a thought if it is short. It is poor "
    "when one piece is home already, for then the good piece must come out only to go back, "
    "or when a piece sits in a slot the wrong way round; look for a keyhole then, or do "
    "another pair first, which may bring the piece out by itself.",
)


class Plain:
    """Possible with the cross at offset 0; the cross layer is not turned."""

    id: Final = "plain"
    in_inspection: Final = False
    sees_only_state: Final = True
    about: Final = _ABOUT

    def chances(self, situation: Situation) -> list[Chance]:
        """One for each free slot while the cross is at offset 0."""
        if situation.offset != 0:
            return []
        return [
            Chance(self.id, (slot,), plain_task(situation, slot), "the ordinary insertion")
            for slot in slot_bits(situation.free)
        ]


def plain_task(situation: Situation, slot: int) -> Task:
    """What it asks for one slot; the cross must be whole at offset 0."""
    return Task(goal_bits(situation.solved | 1 << slot), allowed=NO_D, target=slot)
