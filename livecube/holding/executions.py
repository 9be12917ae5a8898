"""The stages of a read solve as moves with times, for what learns hands from them."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING, Final

from livecube.cube.holding import HOLDINGS, Move, rotation_between
from livecube.hands.executions import Execution, Part
from livecube.holding.written import HAND_MOVES, HELD_AFTER

if TYPE_CHECKING:
    from collections.abc import Iterable

    from livecube.holding.inference import Reading
    from livecube.holding.observations import SolvePart, Step

__all__ = ["executions_read"]

_LAST_PAIR: Final = 4


def executions_read(part: SolvePart, reading: Reading) -> list[Execution]:
    """One for each stage that has turns of its own, as sure as its least sure turn."""
    stages = groupby(reading.path, lambda step: part.stages[step.first])
    return [_execution(stage, steps, part, reading) for stage, steps in stages]


def _execution(stage: int, steps: Iterable[Step], part: SolvePart, reading: Reading) -> Execution:
    moves: list[Move] = []
    at: list[float] = []
    sure, held = 1.0, None
    for step in steps:
        sure = min(sure, reading.confidence(step))
        holding, move = HOLDINGS[step.holding], HAND_MOVES[step.move]
        done = 1000 * part.times[step.first + step.reports - 1]
        if held is not None and held != holding:
            rotations = rotation_between(held, holding)
            moves += rotations
            at += [done] * len(rotations)
        elif moves and moves[-1] == move and move.quarters != 2:  # a half turn told as quarters
            move = Move(moves.pop().symbol, 2)
            at.pop()
        moves.append(move)
        at.append(done)
        held = HOLDINGS[int(HELD_AFTER[step.holding, step.move])]
    of = Part.CROSS if not stage else Part.PAIRS if stage <= _LAST_PAIR else Part.LAST_LAYER
    return Execution(tuple(moves), tuple(at), sure, of)
