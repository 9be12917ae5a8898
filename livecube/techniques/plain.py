"""``plain``: the ordinary way to insert a pair, without a turn of the cross layer."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from livecube.search.situation import slot_bits
from livecube.search.task import NO_D, Task
from livecube.techniques.base import Chance, goal_bits

if TYPE_CHECKING:
    from livecube.search.situation import Situation

__all__ = ["Plain"]


class Plain:
    """Possible with the cross at offset 0; the cross layer is not turned."""

    id: Final = "plain"
    in_inspection: Final = False

    def chances(self, situation: Situation) -> list[Chance]:
        """One for each free slot while the cross is at offset 0."""
        if situation.offset != 0:
            return []
        return [
            Chance(
                self.id,
                (slot,),
                Task(goal_bits(situation.solved | 1 << slot), allowed=NO_D, target=slot),
                "the ordinary insertion",
            )
            for slot in slot_bits(situation.free)
        ]
