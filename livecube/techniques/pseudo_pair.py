"""``pseudo-pair``: a corner and an edge of different slots go in as if they belonged together.

Corner of slot i and edge of slot j are solved, corner j and edge i are not. The cross layer
is turned (D^a) so that the home of corner j lies under slot i; then one insertion there (X)
solves edge i and corner j at once, and the layer is turned back (D^b).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from livecube.search.situation import slot_bits
from livecube.search.task import NO_D, TURNED_BACK, Task
from livecube.techniques.base import About, Chance, Level, goal_bits

if TYPE_CHECKING:
    from livecube.search.situation import Situation

__all__ = ["PseudoPair"]

_ABOUT: Final = About(
    title="Pseudo pair",
    level=Level.BOLD,
    summary="a corner home here, an edge there: one insertion solves both",
    seeing="One slot has its corner home but not its edge. Another has its edge home but not "
    "its corner. The two missing pieces belong to different slots. Turn the cross "
    "layer so that the place of the missing corner lies under the slot of the missing "
    "edge. Insert both there as if they were a pair, and turn the cross layer back: "
    "one insertion solves two slots. To see it, notice two half-done slots, one of "
    "each kind. Then treat the two missing pieces as a pair whose colours do not "
    "match.",
    paying="You get two pairs for about the price of one. The plain way would take both good "
    "pieces out again. Half-done slots like these seldom come by chance; fast solvers "
    "make them on purpose, by single corners and edges put in early. The price is in "
    "the head: no matching colours guide you, so you must plan the pair before the "
    "first turn. While ordinary pairs still make you stop and look, practise those "
    "first.",
)


class PseudoPair:
    """Possible when two free slots hold one solved piece each, a corner and an edge."""

    id: Final = "pseudo-pair"
    sees_only_state: Final = True
    about: Final = _ABOUT

    def chances(self, situation: Situation) -> list[Chance]:
        """One for each such pair of slots."""
        if situation.offset is None:
            return []
        with_corner = situation.corners & ~situation.edges
        with_edge = situation.edges & ~situation.corners
        return [
            Chance(self.id, (i, j), _task(situation, i, j), _why(situation, i, j))
            for i in slot_bits(with_corner)
            for j in slot_bits(with_edge)
        ]


def _task(situation: Situation, i: int, j: int) -> Task:
    prefix = sum(1 << a for a in range(4) if situation.under(j, a) == i)
    goal = goal_bits(situation.solved | 1 << i | 1 << j)
    return Task(goal, NO_D, prefix, TURNED_BACK, target=i)


def _why(situation: Situation, i: int, j: int) -> str:
    with_corner, with_edge = situation.slot_name(i), situation.slot_name(j)
    return (
        f"the corner of {with_corner} and the edge of {with_edge} are home, and one insertion "
        "solves both"
    )
