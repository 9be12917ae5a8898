"""``keyhole-chain``: two keyholes, and the cross layer is not turned back between them.

Two slots have one piece home each, and a third is free. The first keyhole ends where its X
does, at an offset, with the home piece of the other slot still solved up to it; the second
begins there, turns the cross layer on to its own door if need be, and ends at offset 0.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from livecube.search.situation import slot_bits
from livecube.search.task import LEFT
from livecube.techniques.base import About, Chance, Level
from livecube.techniques.keyhole_corner import KeyholeCorner
from livecube.techniques.keyhole_edge import KeyholeEdge, KeyholeFlip

if TYPE_CHECKING:
    from livecube.search.situation import Situation

__all__ = ["KeyholeChain"]

_KEYHOLES: Final = (KeyholeCorner(), KeyholeEdge(), KeyholeFlip())

_ABOUT: Final = About(
    title="Keyhole chain",
    level=Level.BOLD,
    summary="two keyholes without turning the cross layer back between them",
    seeing="Two slots have one piece home each, so that both are waiting for a keyhole. Turn the "
    "cross layer aside for the first, insert its piece, and leave the layer where it is; from "
    "there turn it on to the door of the second, insert that piece too, and only then turn "
    "everything straight. To see it, look for two slots whose edges already fit their centres, "
    "or whose corners already stand beside the right cross edges, and for a third free slot, "
    "which is the door of the second and often of both.",
    paying="It saves the turn of the cross layer that would bring it back and out again between "
    "two keyholes, and the upper layer stays quiet all the way. But nothing looks solved in "
    "between, and the second keyhole has to be found with the layer turned aside, so that a "
    "wrong count costs more than the chain saves. It is for solvers who follow the layer's "
    "offset without looking; with the pieces of one slot only, it is an ordinary keyhole.",
)


class KeyholeChain:
    """Possible when two slots wait for one piece each and a third is free, the second's door."""

    id: Final = "keyhole-chain"
    in_inspection: Final = False
    sees_only_state: Final = True
    about: Final = _ABOUT

    def chances(self, situation: Situation) -> list[Chance]:
        """One for each keyhole that may begin and each slot that another may follow into."""
        waiting = situation.corners ^ situation.edges
        if situation.offset is None or waiting.bit_count() < 2 or situation.free.bit_count() < 3:
            return []
        aligned = 1 << (-situation.offset % 4)  # ends straight, so nothing is left out
        return [
            self._chance(situation, first, other)
            for keyhole in _KEYHOLES
            for first in keyhole.chances(situation)
            if first.task.prefix & ~aligned
            for other in slot_bits(waiting & ~(1 << first.slots[0]))
        ]

    def _chance(self, situation: Situation, first: Chance, other: int) -> Chance:
        held = other if situation.corners >> other & 1 else other + 4
        prefix = first.task.prefix & ~(1 << (-(situation.offset or 0) % 4))
        task = first.task._replace(goal=first.task.goal | 1 << held, prefix=prefix, tail=LEFT)
        return Chance(
            self.id,
            (first.slots[0], other),
            task,
            "each has one piece home, and the cross layer comes back only once",
            then=tuple(keyhole.id for keyhole in _KEYHOLES),
            then_into=(other,),
        )
