"""Random states with equal probability.

World Cube Association Regulations (April 1, 2026), article 4b3: a scramble is a random state,
each with equal probability, among those that are at least two moves away from the solved one.
"""

from __future__ import annotations

import secrets
from typing import TYPE_CHECKING, Final, TypeAlias

import numpy as np

from livecube.cube.geometry import HOME, sticker_cycle
from livecube.cube.notation import is_odd
from livecube.cube.position import SOLVED_BYTES, TURN_BYTES

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = ["Draw", "random_state", "seeded_draw", "unforeseen_draw"]

Draw: TypeAlias = "Callable[[int], int]"
"""Takes n and gives a whole number from 0 to n − 1, each with equal probability."""

_TOO_NEAR: Final = frozenset({SOLVED_BYTES, *map(SOLVED_BYTES.translate, TURN_BYTES)})
"""Fewer than two turns away from solved."""
_STICKERS: Final = tuple(tuple(sticker_cycle(int(home))) for home in HOME)

unforeseen_draw: Final[Draw] = secrets.randbelow
"""Draws that cannot be foreseen or repeated."""


def seeded_draw(seed: int) -> Draw:
    """Draws that are the same for the same seed."""
    rng = np.random.default_rng(seed)
    return lambda below: int(rng.integers(below))


def random_state(draw: Draw) -> bytes:
    """A position (20 facelets) at least two turns from solved, all with equal probability."""
    while True:
        position = _any_state(draw)
        if position not in _TOO_NEAR:
            return position


def _any_state(draw: Draw) -> bytes:
    corners, edges = _shuffled(8, draw), _shuffled(12, draw)
    if is_odd(corners) != is_odd(edges):
        # One swap maps the arrangements of the wrong parity one to one onto the right ones.
        edges[0], edges[1] = edges[1], edges[0]
    twists, flips = _summing_to_none(8, 3, draw), _summing_to_none(12, 2, draw)
    places = [*corners, *(8 + edge for edge in edges)]
    return bytes(
        _STICKERS[place][turned] for place, turned in zip(places, [*twists, *flips], strict=True)
    )


def _shuffled(count: int, draw: Draw) -> list[int]:
    """The Fisher–Yates shuffle."""
    order = list(range(count))
    for last in range(count - 1, 0, -1):
        other = draw(last + 1)
        order[last], order[other] = order[other], order[last]
    return order


def _summing_to_none(count: int, ways: int, draw: Draw) -> list[int]:
    """Orientations whose sum is a multiple of ``ways``: the last one follows from the others."""
    free = [draw(ways) for _ in range(count - 1)]
    return [*free, -sum(free) % ways]
