"""The virtual solver: one solve from a seed, with the truth about it.

>>> done = solve(1)
>>> done.solved, len(done.stages)
(True, 8)
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from livecube.cube.position import SOLVED
from livecube.virtual.cross import plan_cross
from livecube.virtual.finish import last_layer
from livecube.virtual.first_layers import FirstLayers
from livecube.virtual.habits import RIGHT_HANDED, Habits
from livecube.virtual.hands import CrossFrame, Hands
from livecube.virtual.records import (
    KINDS,
    HandMove,
    Kind,
    TrueStage,
    VirtualSolve,
    VirtualTurn,
)
from livecube.virtual.truth import find_truth, looks_after

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = [
    "KINDS",
    "HandMove",
    "Kind",
    "TrueStage",
    "VirtualSolve",
    "VirtualTurn",
    "random_scramble",
    "solve",
]


def random_scramble(rng: np.random.Generator, length: int = 25) -> list[int]:
    """Random fixed-frame turns, no face twice running."""
    turns: list[int] = []
    while len(turns) < length:
        turn = int(rng.integers(18))
        if not turns or turns[-1] // 3 != turn // 3:
            turns.append(turn)
    return turns


def solve(
    seed: int | np.random.Generator,
    scramble: Sequence[int] | None = None,
    habits: Habits = RIGHT_HANDED,
    *,
    cross: int | None = None,
) -> VirtualSolve:
    """Solve one position as people do."""
    rng = np.random.default_rng(seed)
    if scramble is None:
        scramble = random_scramble(rng)
    meant = int(rng.integers(6)) if cross is None else cross
    hands = Hands(CrossFrame(meant), habits, rng)
    hands.given(scramble)
    hands.wait(habits.inspection_s)
    hands.cross_down()
    _cross(hands)
    _pairs(hands)
    last_layer(hands)
    looks = looks_after([r.turn for r in hands.reports], looks_after(scramble)[-1])
    truth = find_truth(looks, 1)
    return VirtualSolve(
        list(scramble),
        hands.reports,
        1,
        1,
        truth.cross,
        meant,
        truth.stages,
        truth.reopened,
        hands.position == SOLVED.tobytes(),
        frozenset(),
        hands.moves,
    )


def _cross(hands: Hands) -> None:
    extra = int(hands.rng.random() < hands.habits.p_cross_longer)
    hands.turn(plan_cross(hands.position, hands.rng, extra=extra))


def _pairs(hands: Hands) -> None:
    layers = FirstLayers(hands)
    for _ in range(40):
        if not layers.free():
            return
        layers.think()
        layers.plain()
    raise ValueError("the pairs do not come to an end")
