"""``x-cross``: in inspection, cross and one pair together."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from livecube.search.task import Task
from livecube.techniques.base import About, Chance, Level, goal_bits

if TYPE_CHECKING:
    from livecube.search.situation import Situation

__all__ = ["XCross"]

_ABOUT: Final = About(
    title="X-cross",
    level=Level.KEEN,
    summary="in inspection: the cross and one pair together",
    seeing="In inspection, before the first turn, the cross is planned so that one pair comes with "
    "it: after the last turn of the cross a slot is solved too. To see one, plan the cross "
    "first and then ask what becomes of a corner and edge that stand near each other: often "
    "another order of the same turns, or one turn more, keeps them together or joins them. "
    "A pair that is made already is the best start.",
    paying="It saves a pair for a few turns more than the cross, and the search for it happens "
    "before the clock starts. It pays if you can still follow with closed eyes where its "
    "pieces go; if not, the stop after the cross eats up what was saved. A cross of few "
    "turns leaves room for it; if the cross alone is long already, plan the first pair "
    "behind it and no more. Here every slot is searched.",
)


class XCross:
    """Possible while the cross is not done; no constraint."""

    id: Final = "x-cross"
    in_inspection: Final = True
    sees_only_state: Final = True
    about: Final = _ABOUT

    def chances(self, situation: Situation) -> list[Chance]:
        """One for each slot while the cross is whole at no offset."""
        if situation.offset is not None:
            return []
        return [
            Chance(
                self.id,
                (slot,),
                Task(goal_bits(1 << slot), target=slot),
                "the pair comes with the cross",
            )
            for slot in range(4)
        ]
