"""``plain``: the ordinary way to insert a pair, without a turn of the cross layer."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from livecube.search.situation import slot_bits
from livecube.search.task import NO_D, Task
from livecube.techniques.base import About, Chance, Showing, goal_bits

if TYPE_CHECKING:
    from livecube.search.situation import Situation

__all__ = ["MadePair", "Plain", "Shortest", "plain_task"]

# ``shortest``: the yardstick. Any turns that solve one free slot and keep what is solved.


_ABOUT_SHORTEST: Final = About(
    title="Shortest",
    summary="the yardstick: no sequence at all is shorter",
    seeing="This is no technique. It is the yardstick for all of them: the shortest sequence "
    "that solves one free slot and keeps the cross and the solved slots. Every face may turn, the"
    " cross layer too. Hardly anybody sees these sequences during a solve. Many turn out to be "
    "another technique. The others turn the cross layer or a solved slot aside, do something "
    "there, and turn it back.",
    paying="Look at it after the solve, beside what you did. The difference says how many turns "
    "the position left. Learn such a sequence only if you can say why it works, since then you "
    "will see it again. Fewer turns do not always take less time: a sequence with F and B turns "
    "or another grip loses against one that is two turns longer and runs easily in the hands.",
)


class Shortest:
    """No precondition, no constraint; ends at offset 0."""

    id: Final = "shortest"
    sees_only_state: Final = True
    is_ordinary: Final = True
    is_yardstick: Final = True
    showing: Final = Showing(fewest_saved=2)
    about: Final = _ABOUT_SHORTEST

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


_ABOUT_PLAIN: Final = About(
    title="Plain",
    summary="the ordinary insertion, without a turn of the cross layer",
    seeing="This is the ordinary way to solve a slot. Bring the corner and the edge together "
    "in the upper layer and insert them as a pair, or leave them apart so that one "
    "insertion takes both. The cross layer never turns. To see it, find the two "
    "pieces. If both are in the upper layer, you know the case. If one of them is "
    "stuck in a slot, it comes out on the way; at best the same turns join the two.",
    paying="It is there whenever the cross stands straight, and every other technique is "
    "measured against it. Take it without a thought if it is short. It is poor when "
    "one piece is home already, since the good piece must come out only to go back. "
    "It is poor, too, when a piece sits in a slot the wrong way round. Look for a "
    "keyhole then, or do another pair first, which may bring the piece out.",
)


class Plain:
    """Possible with the cross at offset 0; the cross layer is not turned."""

    id: Final = "plain"
    sees_only_state: Final = True
    is_plain: Final = True
    is_ordinary: Final = True
    showing: Final = Showing(fewest_turns=7)
    about: Final = _ABOUT_PLAIN

    def chances(self, situation: Situation) -> list[Chance]:
        """One for each free slot while the cross is at offset 0."""
        if situation.offset != 0:
            return []
        return [
            Chance(self.id, (slot,), plain_task(situation, slot), "the ordinary insertion")
            for slot in slot_bits(situation.free)
        ]


def plain_task(situation: Situation, slot: int) -> Task:
    """The task of ``plain`` for one slot; the cross must be whole at offset 0."""
    return Task(goal_bits(situation.solved | 1 << slot), allowed=NO_D, target=slot)


# ``made-pair``: corner and edge already touch with matching colours and stay together.


_ABOUT_MADE_PAIR: Final = About(
    title="Made pair",
    summary="corner and edge are joined already and only have to go in",
    seeing="The corner and the edge of a slot touch already, outside their slot, and the two "
    "colours that they share match. They form a small block that only has to reach "
    "its slot. No turn may part them. To see it, look along the upper layer for an "
    "edge and a corner side by side that show one colour on top and one colour on the "
    "side. These two colours name the slot.",
    paying="It nearly always pays, and it pays at once, because any other pair may tear the "
    "block apart. There is nothing to find, and the insertion takes few turns, so "
    "your eyes are free for the next pair. It pays less when the block stands on the "
    "wrong side of its slot and needs a rotation or an awkward face. If another "
    "insertion leaves it joined, it may wait. `livecube hints --json` says how many "
    "made pairs each sequence keeps.",
)


class MadePair:
    """Possible at offset 0 when the two pieces of a free slot form a block outside it.

    No turn of the cross layer, and none that moves one of the two without the other.
    """

    id: Final = "made-pair"
    sees_only_state: Final = True
    is_ordinary: Final = True
    begins_joined: Final = True
    about: Final = _ABOUT_MADE_PAIR

    def chances(self, situation: Situation) -> list[Chance]:
        """One for each free slot whose pieces are joined."""
        if situation.offset != 0:
            return []
        return [
            Chance(
                self.id,
                (slot,),
                Task(goal_bits(situation.solved | 1 << slot), allowed=NO_D, target=slot, tied=True),
                "its corner and edge are joined already",
            )
            for slot in slot_bits(situation.joined)
        ]
