"""The virtual solver: one solve from a seed, with the truth about it.

>>> done = solve(1)
>>> done.solved, len(done.stages)
(True, 8)
>>> "keyhole-edge" in solve(1, kinds={"keyhole-edge"}).kinds
True
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from livecube.errors import UsageError
from livecube.virtual.habits import LEFT_HANDED, RIGHT_HANDED, Habits
from livecube.virtual.person import LUCK, Person
from livecube.virtual.records import (
    KINDS,
    HandMove,
    Kind,
    TrueStage,
    VirtualSolve,
    VirtualTurn,
)
from livecube.virtual.truth import Truth, find_truth, looks_after

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

__all__ = [
    "KINDS",
    "LEFT_HANDED",
    "RIGHT_HANDED",
    "Habits",
    "HandMove",
    "Kind",
    "TrueStage",
    "VirtualSolve",
    "VirtualTurn",
    "solve",
]

_SCRAMBLE_TURNS: Final = 25
_ATTEMPTS: Final = 300
"""Solves tried until one has all the kinds asked for."""


def _random_scramble(rng: np.random.Generator) -> list[int]:
    """Random fixed-frame turns, no face twice in a row."""
    turns: list[int] = []
    while len(turns) < _SCRAMBLE_TURNS:
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
    kinds: Collection[Kind] = (),
) -> VirtualSolve:
    """Solve one position as people do; the clock starts at 0 with the inspection.

    ``scramble`` are fixed-frame turns from solved (None: random, or made for the kinds). ``cross``
    is the face of the intended cross colour (None: random). Every one of ``kinds`` happens in the
    solve; others may. The same seed and arguments give the same solve.


    Raises :class:`~livecube.errors.UsageError` if a kind is unknown, or does not happen in
    any of a few hundred attempts at this scramble.
    """
    wishes = frozenset(kinds)
    if unknown := sorted(wishes.difference(KINDS)):
        raise UsageError(f"unknown kinds {', '.join(unknown)}; known are {', '.join(KINDS)}")
    if scramble is not None and (luck := sorted(wishes & LUCK)):
        raise UsageError(f"{', '.join(luck)} cannot be had from a given scramble; leave it out")
    rng = np.random.default_rng(seed)
    for _ in range(_ATTEMPTS):
        done = _attempt(rng, scramble, habits, cross, wishes)
        if done.kinds >= wishes:
            return done
    raise UsageError(f"no solve with {', '.join(sorted(wishes))} was found; ask for fewer kinds")


def _attempt(
    rng: np.random.Generator,
    scramble: Sequence[int] | None,
    habits: Habits,
    cross: int | None,
    wishes: frozenset[Kind],
) -> VirtualSolve:
    given = _random_scramble(rng) if scramble is None else list(scramble)
    meant = int(rng.integers(6)) if cross is None else cross
    person = Person(rng, given, habits, meant, wishes, may_rewrite=scramble is None)
    solved = person.solve()
    reports = person.hands.reports
    looks = looks_after((r.turn for r in reports), looks_after(person.scramble)[-1])
    truth = find_truth(looks, 1)
    return VirtualSolve(
        scramble=person.scramble,
        turns=reports,
        first_line=1,
        start_turn=1,
        cross=truth.cross,
        meant=meant,
        stages=truth.stages,
        reopened=truth.reopened,
        solved=solved,
        kinds=frozenset(person.happened | _kinds_shown(truth)),
        moves=person.hands.moves,
    )


def _kinds_shown(truth: Truth) -> set[Kind]:
    """The unusual kinds that follow from the stages."""
    kinds = {kind for kind in KINDS if any(s.technique == kind for s in truth.stages)}
    for stage in truth.stages:
        match stage:
            case TrueStage(stage="cross", offset=1 | 2 | 3):
                kinds.add("offset-cross")
            case TrueStage(stage="pair", offset=1 | 2 | 3):
                kinds.add("chain")
            case TrueStage(stage="orient", shared=True):
                kinds.add("orient-skip")
            case TrueStage(stage="permute", shared=True):
                kinds.add("permute-skip")
    if truth.reopened:
        kinds.add("reopened")
    if any(line < truth.crosses[truth.cross] for line in truth.crosses.values()):
        kinds.add("other-cross")
    return kinds
