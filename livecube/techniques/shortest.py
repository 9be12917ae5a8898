"""``shortest``: the yardstick. Any turns that solve one free slot and keep what is solved."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from livecube.search.situation import slot_bits
from livecube.search.task import Task
from livecube.techniques.base import Chance, goal_bits

if TYPE_CHECKING:
    from livecube.search.situation import Situation

__all__ = ["Shortest"]


class Shortest:
    """No precondition, no constraint; at the end all is at offset 0."""

    id: Final = "shortest"
    in_inspection: Final = False

    def chances(self, situation: Situation) -> list[Chance]:
        """One for each free slot, whatever the position."""
        return [
            Chance(
                self.id,
                (slot,),
                Task(goal_bits(situation.solved | 1 << slot), target=slot),
                "no sequence is shorter",
            )
            for slot in slot_bits(situation.free)
        ]
