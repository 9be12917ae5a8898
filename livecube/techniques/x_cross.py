"""``x-cross``: in inspection, cross and one pair together."""

from __future__ import annotations

from itertools import permutations
from typing import TYPE_CHECKING, Final

from livecube.search.task import LEFT, NO_D, TURNED_BACK, Task
from livecube.techniques.base import About, Chance, Level, Showing, goal_bits

if TYPE_CHECKING:
    from livecube.search.situation import Situation

__all__ = ["PseudoXCross", "XCross"]

_ABOUT_X_CROSS: Final = About(
    title="X-cross",
    level=Level.KEEN,
    summary="in inspection: the cross and one pair together",
    seeing="In inspection, before the first turn, plan the cross so that one pair comes with "
    "it: the last turn of the cross solves a slot too. To see one, plan the cross "
    "first. Then ask what becomes of a corner and an edge that stand near each other. "
    "Often another order of the same turns, or one turn more, keeps them together or "
    "joins them. A pair that is made already is the best start.",
    paying="It saves a pair for a few turns more than the cross, and you search for it "
    "before the clock starts. It pays if you can follow its pieces with closed eyes. "
    "If you cannot, the stop after the cross eats up what you saved. A short cross "
    "leaves room for it. If the cross alone is long, plan the first pair behind it "
    "and no more. Here every slot is searched.",
)


class _InInspection:
    """The traits of both techniques."""

    in_inspection: Final = True
    sees_only_state: Final = True


class XCross(_InInspection):
    """Possible while the cross is not done; no constraint."""

    id: Final = "x-cross"
    named_by_hindsight: Final = True
    showing: Final = Showing(scattered=4, fewest_turns=4)
    about: Final = _ABOUT_X_CROSS

    def chances(self, situation: Situation) -> list[Chance]:
        """One for each slot while the cross is not whole at any offset."""
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


# ``pseudo-x-cross``: in inspection, the cross with a corner and an edge of different slots.
#
# The first part solves the cross, the corner of slot i and the edge of slot j, up to *any*
# offset and without a constraint; the second is the pseudo pair that this sets up, which ends
# at offset 0.


_ABOUT_PSEUDO: Final = About(
    title="Pseudo X-cross",
    level=Level.BOLD,
    summary="in inspection: the cross with a corner and another slot's edge",
    seeing="In inspection, plan the cross together with a corner of one slot and an edge of "
    "another. The cross layer may stand turned aside at the end. This sets up a "
    "pseudo pair: the other edge and the other corner then go in with one insertion, "
    "and a turn of the cross layer puts everything straight. To see one, look for an "
    "X-cross, and do not ask that corner and edge belong together. Any corner that "
    "lands beside the right cross edges will do, and any edge that lands between its "
    "centres.",
    paying="There are many more of these than X-crosses, so a short one is there more often, "
    "and it leads to two solved slots. But you have to plan two steps, the second one "
    "without matching colours, and a mistake leaves two half-done slots. It is for "
    "fast solvers who see pseudo pairs without a stop. Compare the seconds of both "
    "parts with those of the cross and two plain pairs, and take it only if they are "
    "clearly less.",
)


class PseudoXCross(_InInspection):
    """Possible while the cross is not done."""

    id: Final = "pseudo-x-cross"
    showing: Final = Showing(scattered=3)
    about: Final = _ABOUT_PSEUDO

    def chances(self, situation: Situation) -> list[Chance]:
        """One for each two slots, in both orders, while the cross is not whole at any offset."""
        if situation.offset is not None:
            return []
        return [self._chance(situation, i, j) for i, j in permutations(range(4), 2)]

    def _chance(self, situation: Situation, i: int, j: int) -> Chance:
        # The home of corner j must lie under slot i, so D^a leads from offset k to i − j.
        beneath = sum(1 << 4 * k + (i - j - k) % 4 for k in range(4))
        return Chance(
            self.id,
            (i, j),
            Task(1 << i | 1 << j + 4, tail=LEFT, target=i),
            f"the corner of {situation.slot_name(i)} and the edge of {situation.slot_name(j)} "
            "come with the cross, and then one insertion solves both",
            then=("pseudo-pair",),
            then_into=(i, j),
            second=Task(goal_bits(1 << i | 1 << j), NO_D, beneath, TURNED_BACK, target=i),
        )
