"""Counting how often people do what: what likelihoods are made of."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING, Final, TypeAlias

import numpy as np

from livecube.cube.holding import HOLDINGS
from livecube.holding.moves import (
    HAND_MOVES,
    HELD_AFTER,
    MIRRORED,
    MIRRORED_ROTATIONS,
    SEEN_AS_SLICE,
    rotation_number,
)
from livecube.holding.observations import CLOSE_MS, PACES, STAGES, TEMPOS

if TYPE_CHECKING:
    from livecube.holding.arrays import Array
    from livecube.holding.kernel import Seen
    from livecube.holding.path import Path

__all__ = [
    "GRIPS",
    "GROUPS",
    "LAST_LAYER",
    "LONGEST",
    "Context",
    "Counts",
    "begin_context",
    "is_tilted",
    "longer",
]

GROUPS: Final = (0, 1, 2, 2, 2)
"""Stages whose moves are counted together: cross, pairs, last layer."""

GRIPS: Final = ("planned", "unplanned")
"""Whether the cube is held as suits all turns of an insertion, or just the first of them."""

LAST_LAYER: Final = 2
"""The group of the last layer."""

LONGEST: Final = 3
"""Moves (or the mark of a beginning) that a context holds at most."""

Context: TypeAlias = tuple[int, ...]
"""What the hands did before a move: the group of stages, then the last moves, at most
:data:`LONGEST`, not further back than the last rotation or beginning of a stage, which is
marked by a number from 45 on."""


def begin_context(stage: int, rotated: bool) -> Context:
    """Nothing was done yet, but for a rotation or the stage before."""
    return (GROUPS[stage], len(HAND_MOVES) + 2 * stage + rotated)


def longer(context: Context, move: int) -> Context:
    """The context after one move more."""
    group, *last = context
    return (group, *[*last, move][-LONGEST:])


_DOWN: Final = [held.faces[5] for held in HOLDINGS]


def is_tilted(holding: int, cross: int) -> bool:
    """Whether the cross is known and not down."""
    return cross >= 0 and _DOWN[holding] != cross


class Counts:
    """Counts from solves whose moves are known, or were drawn as they may have been."""

    def __init__(self, grip: str = GRIPS[0]) -> None:
        self.grip = grip
        """How these hands choose a grip, or those that they are likest to: one of :data:`GRIPS`."""
        shape = (len(STAGES), 3, 2, len(PACES) + 1, 24)
        self.rotations: Array = np.zeros(shape)
        """By stage, turns since it began, tilted before, class of the gap; and rotation."""
        self.moves: defaultdict[Context, Array] = defaultdict(lambda: np.zeros(len(HAND_MOVES)))
        """Moves by their context, all lengths down to the group alone."""
        self.tempos: Array = np.zeros((len(HAND_MOVES), len(TEMPOS) + 2))
        """By move, class of the gap before it: turns of F, B and D take longer than those of R."""
        self.slices: Array = np.zeros((2, len(CLOSE_MS) + 1))
        """Opposite turns that could be a slice, by class of the gap: two moves, one slice."""
        self.first_tilted: Array = np.zeros(2)
        """First moves with the cross down, and not."""

    def mirrored(self) -> Counts:
        """The same solves as somebody makes them whose left hand is the stronger one."""
        other = Counts(self.grip)
        other.slices, other.first_tilted = self.slices.copy(), self.first_tilted.copy()
        other.rotations[..., MIRRORED_ROTATIONS] = self.rotations
        other.tempos[MIRRORED] = self.tempos
        for (group, *last), row in self.moves.items():
            moves = (MIRRORED[move] if move < len(MIRRORED) else move for move in last)
            other.moves[(group, *moves)][MIRRORED] = row
        return other

    def weakened(self, worth: float) -> Counts:
        """The same counts, each worth less."""
        other = Counts(self.grip)
        other.rotations, other.tempos = self.rotations * worth, self.tempos * worth
        other.slices, other.first_tilted = self.slices * worth, self.first_tilted * worth
        for context, row in self.moves.items():
            other.moves[context] = row * worth
        return other

    def add(self, seen: Seen, cross: int, path: Path, weight: float = 1.0) -> None:
        """Count one solve; ``cross``: face of its cross colour."""
        context: Context = ()
        held = -1
        for step in path:
            stage, since = int(seen.stages[step.first]), int(seen.since[step.first])
            if held < 0:
                self.first_tilted[int(is_tilted(step.holding, cross))] += weight
                rotation = 0
            else:
                rotation = rotation_number(held, step.holding)
                tilted = int(is_tilted(held, cross))
                pace = int(seen.paces[step.first])
                self.rotations[stage, since, tilted, pace, rotation] += weight
            if rotation or since == 0 or not context:
                context = begin_context(stage, rotation != 0)
            self._count_move(context, step.move, weight)
            if not rotation:
                self.tempos[step.move, seen.tempos[step.first]] += weight
            context = longer(context, step.move)
            held = int(HELD_AFTER[step.holding, step.move])
        self._count_slices(seen, path, weight)

    def _count_move(self, context: Context, move: int, weight: float) -> None:
        group, *last = context
        for begin in range(len(last) + 1):
            self.moves[(group, *last[begin:])][move] += weight

    def _count_slices(self, seen: Seen, path: Path, weight: float) -> None:
        starts = {step.first: step for step in path}
        for i in range(1, len(seen.turns)):
            if SEEN_AS_SLICE[0, seen.turns[i - 1], seen.turns[i]] >= 0:
                step = starts.get(i - 1)
                one_slice = step is not None and step.reports == 2
                if one_slice or (step is not None and i in starts):
                    self.slices[int(one_slice), seen.close[i]] += weight
