"""``pseudo-x-cross``: in inspection, the cross with a corner and an edge of different slots.

The first part solves the cross, the corner of slot i and the edge of slot j, up to *any*
offset and without a constraint; the second is the pseudo pair that this sets up, which ends
at offset 0.
"""

from __future__ import annotations

from itertools import permutations
from typing import TYPE_CHECKING, Final

from livecube.search.task import LEFT, Task
from livecube.techniques.base import Chance

if TYPE_CHECKING:
    from livecube.search.situation import Situation

__all__ = ["PseudoXCross"]


class PseudoXCross:
    """Possible while the cross is not done."""

    id: Final = "pseudo-x-cross"
    in_inspection: Final = True

    def chances(self, situation: Situation) -> list[Chance]:
        """One for each two slots, in both orders, while the cross is whole at no offset."""
        if situation.offset is not None:
            return []
        return [
            Chance(
                self.id,
                (i, j),
                Task(1 << i | 1 << j + 4, tail=LEFT, target=i),
                f"the corner of {situation.slot_name(i)} and the edge of "
                f"{situation.slot_name(j)} come with the cross, then one insertion serves both",
                then="pseudo-pair",
            )
            for i, j in permutations(range(4), 2)
        ]
