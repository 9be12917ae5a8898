"""The model of holdings computed again, by trying every path: slow, simple, and sharing only the
parameters with the program.
"""

from __future__ import annotations

from functools import cache
from itertools import product
from typing import TYPE_CHECKING, Any

import numpy as np

from livecube.cube.holding import HOLDINGS, Move, fixed_turns
from livecube.holding.kernel import BETWEEN

if TYPE_CHECKING:
    from collections.abc import Iterator

    from livecube.holding.likelihoods import Likelihoods

_MOVES = [
    *(Move(face + wide, q) for wide in ("", "w") for face in "ULFRBD" for q in (1, 2, 3)),
    *(Move(slice_, q) for slice_ in "MES" for q in (1, 2, 3)),
]
_HELD = {holding: number for number, holding in enumerate(HOLDINGS)}


def _rotations() -> list[tuple[Move, ...]]:
    """A way to rotate from holding 0 into each holding."""
    found: dict[Any, tuple[Move, ...]] = {}
    single = [(), *((Move(s, q),) for s in "xyz" for q in (1, 2, 3))]
    for one, two in product(single, single):
        found.setdefault(fixed_turns([*one, *two])[1], (*one, *two))
    return [found[holding] for holding in HOLDINGS]


_ROTATED = [
    [_HELD[fixed_turns(rotation, held)[1]] for rotation in _rotations()] for held in HOLDINGS
]
"""[holding][rotation] → the holding after it."""


@cache
def _seen_as(held: int, turn: int, following: int = -1) -> list[tuple[int, int, int]]:
    """Moves that are reported as a turn, or as two: number, reports, holding after."""
    found = []
    for number, move in enumerate(_MOVES):
        turns, after = fixed_turns([move], HOLDINGS[held])
        if sorted(turns) in ([turn], sorted((turn, following))):
            found.append((number, len(turns), _HELD[after]))
    return found


def all_paths(seen: Any, cross: int, likely: Likelihoods) -> Iterator[tuple[float, list[Any]]]:
    """Every path with its weight: steps of first turn, reports, holding, move."""

    def tilted(held: int) -> int:
        return int(cross >= 0 and HOLDINGS[held].faces[5] != cross)

    def go(t: int, held: int, node: int, weight: float, steps: list[Any]) -> Iterator[Any]:
        if weight == 0.0:
            return
        if t == len(seen.turns):
            yield weight, steps
            return
        stage, since = seen.stages[t], seen.since[t]
        row = likely.rotations[stage, since, tilted(held), seen.paces[t]].tolist()
        evidence, turned = seen.evidence[t].tolist(), seen.turned[t].tolist()
        for number, now in enumerate(_ROTATED[held]):
            if t == 0 and number:
                break
            chance = weight * evidence[now]
            if t:
                chance *= row[number] * turned[BETWEEN[held, now]]
            anew = 1.0 if number or since == 0 else float(likely.anew[stage, seen.paces[t]])
            begins = zip(likely.begin[stage, int(number > 0)], likely.familiar[stage], strict=True)
            nodes = [(node, 1.0 - anew), *((its, share * anew) for its, share in begins)]
            for its, share in nodes:
                yield from moves(t, now, int(its), chance * share, steps)

    def moves(t: int, held: int, node: int, weight: float, steps: list[Any]) -> Iterator[Any]:
        if weight == 0.0:
            return
        begun, rotated = (node in its for its in likely.begin[seen.stages[t]].tolist())
        for number, reports, after in _seen_as(held, *map(int, seen.turns[t : t + 2])):
            chance = weight * float(likely.moves[node, number])
            if not begun and not rotated:
                chance *= likely.tempos[seen.tempos[t], number]
            if t and after != held and not rotated:
                chance *= seen.turned[t, BETWEEN[held, after]] / seen.turned[t, 0]
            if reports == 2:
                chance *= likely.slices[1, seen.close[t + 1]]
            elif t and _opposite(seen.turns[t - 1], seen.turns[t]):
                chance *= likely.slices[0, seen.close[t]]
            step = (t, reports, held, number)
            nxt = int(likely.follow[node, number])
            yield from go(t + reports, after, nxt, chance, [*steps, step])

    for held in range(24):
        weight = float(likely.first[tilted(held)])
        yield from go(0, held, int(likely.begin[seen.stages[0], 0, 0]), weight, [])


@cache
def _opposite(one: int, two: int) -> bool:
    """Whether two turns are the halves of a slice."""
    return any(
        sorted(fixed_turns([move])[0]) == sorted((int(one), int(two))) for move in _MOVES[36:]
    )


def judged(seen: Any, cross: int, likely: Likelihoods) -> tuple[Any, dict[tuple[Any, ...], float]]:
    """The probability of each holding at each turn; and each path with its weight (the greatest if
    it can begin in several ways)."""
    held = np.zeros((len(seen.turns), 24))
    weights: dict[tuple[Any, ...], float] = {}
    for weight, steps in all_paths(seen, cross, likely):
        for first, reports, holding, _ in steps:
            held[first : first + reports, holding] += weight
        weights[tuple(steps)] = max(weight, weights.get(tuple(steps), 0.0))
    return held / held.sum(axis=1, keepdims=True), weights
