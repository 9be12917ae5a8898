"""A short cross that solves one pair too: a search with a limited number of positions.

In the cross frame. Depth first, deeper and deeper, pruned by the cross table and by the
distance of the pair alone.
"""

from __future__ import annotations

from collections import deque
from functools import cache
from operator import itemgetter
from typing import TYPE_CHECKING, Final

from livecube.cube.geometry import in_order
from livecube.cube.position import TURN_BYTES
from livecube.virtual.cross import cross_distance
from livecube.virtual.pairs import CORNER, EDGE, HOMES

if TYPE_CHECKING:
    import numpy as np

__all__ = ["plan_x_cross"]

_LONGEST: Final = 8
"""Most turns (HTM)."""
_BUDGET: Final = 10_000
"""Most positions to look at."""


@cache
def _pair_distances(slot: int) -> dict[bytes, int]:
    """Turns (HTM) that a corner and an edge alone need to reach a slot."""
    home = bytes((HOMES[CORNER + slot], HOMES[EDGE + slot]))
    distances = {home: 0}
    queue = deque([home])
    while queue:
        state = queue.popleft()
        for table in TURN_BYTES:
            after = state.translate(table)
            if after not in distances:
                distances[after] = distances[state] + 1
                queue.append(after)
    return distances


class _Search:
    def __init__(self, slot: int, budget: int, turns: list[int]) -> None:
        self.distances = _pair_distances(slot)
        self.pair = itemgetter(CORNER + slot, EDGE + slot)
        self.budget = budget
        self.turns = turns
        self.plan: list[int] = []

    def bound(self, position: bytes) -> int:
        return max(self.distances[bytes(self.pair(position))], cross_distance(position))

    def reach(self, position: bytes, left: int) -> bool:
        """Extend the plan by ``left`` turns to the goal; False if none or the budget is spent."""
        if left == 0:
            return True
        distances, pair = self.distances, self.pair
        last = self.plan[-1] // 3 if self.plan else None
        for turn in self.turns:
            if last is not None and not in_order(last, turn // 3):
                continue
            self.budget -= 1
            if self.budget < 0:
                return False
            after = position.translate(TURN_BYTES[turn])
            if distances[bytes(pair(after))] < left and cross_distance(after) < left:
                self.plan.append(turn)
                if self.reach(after, left - 1):
                    return True
                self.plan.pop()
        return False


def plan_x_cross(position: bytes, rng: np.random.Generator) -> list[int] | None:
    """A shortest X-cross of a random slot, None if none is found within the budget."""
    turns = [int(turn) for turn in rng.permutation(18)]
    searches = [_Search(int(slot), _BUDGET // 4, turns) for slot in rng.permutation(4)]
    shortest = min(search.bound(position) for search in searches)
    for depth in range(shortest, _LONGEST + 1):
        for search in searches:
            if search.bound(position) <= depth and search.reach(position, depth):
                return search.plan
    return None
