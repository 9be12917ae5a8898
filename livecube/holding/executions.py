"""The stages of a read solve as moves with times, for what learns hands from them."""

from __future__ import annotations

from dataclasses import replace
from itertools import groupby
from typing import TYPE_CHECKING, Final

from livecube.cube.holding import HOLDINGS, Holding, Move, rotation_between
from livecube.hands.executions import Execution, Part
from livecube.holding.written import HAND_MOVES, HELD_AFTER

if TYPE_CHECKING:
    from collections.abc import Iterable

    from livecube.holding.inference import Reading
    from livecube.holding.observations import SolvePart, Step

__all__ = ["executions_read"]

_LAST_PAIR: Final = 4


def executions_read(part: SolvePart, reading: Reading) -> list[Execution]:
    """One for each stage that has turns of its own, as sure as its least sure turn.

    All but the first begin with the rotations before their first turn, and have a pause before it.
    """
    found: list[Execution] = []
    before: Holding | None = None
    for stage, steps in groupby(reading.path, lambda step: part.stages[step.first]):
        its = list(steps)
        one = _execution(stage, its, part, reading)
        if before is not None:
            first, begin = its[0].first, HOLDINGS[its[0].holding]
            rotations = () if before == begin else tuple(rotation_between(before, begin))
            one = replace(
                one,
                moves=rotations + one.moves,
                at_ms=(one.at_ms[0],) * len(rotations) + one.at_ms,
                pause_ms=1000 * (part.times[first] - part.times[first - 1]),
            )
        found.append(one)
        before = _held_after(its[-1])
    return found


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
        held = _held_after(step)
    of = Part.CROSS if not stage else Part.PAIRS if stage <= _LAST_PAIR else Part.LAST_LAYER
    return Execution(tuple(moves), tuple(at), sure, of)


def _held_after(step: Step) -> Holding:
    return HOLDINGS[int(HELD_AFTER[step.holding, step.move])]
