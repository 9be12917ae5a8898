"""``shortest``: the yardstick. Any turns that solve one free slot and keep what is solved."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from livecube.search.situation import slot_bits
from livecube.search.task import Task
from livecube.techniques.base import About, Chance, goal_bits

if TYPE_CHECKING:
    from livecube.search.situation import Situation

__all__ = ["Shortest"]

_ABOUT: Final = About(
    title="Shortest",
    summary="the yardstick: no sequence at all is shorter",
    seeing="This is no technique but the yardstick for all of them: the shortest of all sequences "
    "that solve one free slot and keep the cross and the solved slots, with every face "
    "allowed, the cross layer too. Nobody sees these in general during a solve. Many turn "
    "out to be one of the other techniques; the rest turn the cross layer or a solved "
    "slot aside, do something there, and turn it back.",
    paying="Look at it after the solve, beside what you did: the difference says how much was left "
    "in that position. Learn a sequence only if you can say why it works, since then you "
    "will see it again. Fewer turns are not always less time: one that needs F and B turns "
    "or another grip loses against two turns more that run easily in the hands.",
)


class Shortest:
    """No precondition, no constraint; at the end all is at offset 0."""

    id: Final = "shortest"
    in_inspection: Final = False
    sees_only_state: Final = True
    is_yardstick: Final = True
    about: Final = _ABOUT

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
