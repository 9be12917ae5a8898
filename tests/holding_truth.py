"""The true moves of the virtual solver's hands, as paths and parts to compare with."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

from livecube.cube.holding import HOLDINGS, SLICE_SYMBOLS
from livecube.holding.counts import Counts
from livecube.holding.observations import Path, SolvePart, Step, observe
from livecube.holding.written import HELD_AFTER, SEEN_AS_FACE, SEEN_AS_SLICE, SEEN_AS_WIDE
from livecube.virtual.solver import solve

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from livecube.virtual.habits import Habits
    from livecube.virtual.records import VirtualSolve, VirtualTurn

_HOLDING = {holding: number for number, holding in enumerate(HOLDINGS)}


def true_part(done: VirtualSolve) -> SolvePart:
    ends = [stage.end_turn for stage in done.stages]
    stages = [
        min(7, sum(end < line for end in ends))
        for line in range(done.start_turn, done.start_turn + len(done.solving))
    ]
    turns = done.solving
    return SolvePart([v.turn for v in turns], [v.t for v in turns], stages, done.cross)


def true_holdings(done: VirtualSolve) -> list[int]:
    """For each turn the number of the holding when its move began."""
    return [_HOLDING[v.holding] for v in done.solving]


def true_path(done: VirtualSolve) -> Path:
    """The true moves; half turns that were reported as quarters are two moves."""
    steps: Path = []
    turns = done.solving
    at = 0
    while at < len(turns):
        same = [v for v in turns[at:] if v.move_index == turns[at].move_index]
        steps += _steps(at, same, done.moves[turns[at].move_index].move.symbol)
        at += len(same)
    return steps


def _steps(at: int, turns: list[VirtualTurn], symbol: str) -> Iterator[Step]:
    held = _HOLDING[turns[0].holding]
    width = 2 if symbol in SLICE_SYMBOLS else 1
    for i in range(0, len(turns), width):
        turn = turns[i].turn
        if width == 2:
            move = SEEN_AS_SLICE[held, turn, turns[i + 1].turn]
        else:
            move = (SEEN_AS_WIDE if symbol.endswith("w") else SEEN_AS_FACE)[held, turn]
        yield Step(at + i, width, held, int(move))
        held = int(HELD_AFTER[held, move])


def true_counts(solves: Iterable[VirtualSolve]) -> Counts:
    counts = Counts()
    for done in solves:
        part = true_part(done)
        counts.add(observe(part), part.cross, true_path(done))
    return counts


def virtual_solves(seeds: Iterable[int], habits: Habits) -> Iterator[VirtualSolve]:
    """The virtual solves that end solved."""
    for seed in seeds:
        done = _solve(seed, habits)
        if done.solved:
            yield done


@cache
def _solve(seed: int, habits: Habits) -> VirtualSolve:
    return solve(seed, habits=habits)
