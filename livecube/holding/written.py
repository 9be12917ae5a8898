"""A solve as a person would write it: a line a stage, moves of the hands, pauses marked.

What is written reads back: parsed and made from white up, green front, it leads from the same
scramble to the same position, whatever was believed of the hands.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from statistics import median
from typing import TYPE_CHECKING, Final

from livecube.cube.geometry import FACES, OPPOSITE
from livecube.cube.holding import HOLDINGS, SCRAMBLE_HOLDING, Holding, Move, rotation_between
from livecube.holding.moves import HAND_MOVES, HELD_AFTER

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.holding.inference import Reading
    from livecube.holding.path import Step
    from livecube.holding.solve_turns import SolveTurns
    from livecube.stages.solve import Split

__all__ = ["PAUSE", "WrittenMove", "WrittenSolve", "WrittenStage", "write_solve"]

PAUSE: Final = "…"
"""Stands before a move for which the hands waited."""
_LONG_S: Final = 0.5
_LONG: Final = 2.5
"""The hands waited if a gap is so many seconds, and so many usual ones."""


@dataclass(frozen=True, slots=True)
class WrittenMove:
    """One move as written."""

    move: Move
    wait_s: float
    """How long the hands waited before it, seconds; 0 if they did not."""


@dataclass(frozen=True, slots=True)
class WrittenStage:
    """One line. The stage is None for turns after the last stage that was done."""

    split: Split | None
    moves: tuple[WrittenMove, ...]
    holding: Holding
    """How the cube was held at its first move, or would have been."""
    confidence: float
    """How sure the least sure holding in it is, 0 to 1; 1 without moves."""

    @property
    def execution_turns(self) -> int:
        """Moves in the execution metric: each counts one, rotations too (article 12a6)."""
        return len(self.moves)

    def text(self) -> str:
        """The moves with marks where the hands waited; ``parse_moves`` reads it."""
        return " ".join(f"{PAUSE} {m.move}" if m.wait_s else str(m.move) for m in self.moves)


@dataclass(frozen=True, slots=True)
class WrittenSolve:
    """A whole solve."""

    of: SolveTurns
    before: tuple[Move, ...]
    """Rotations from white up, green front into the holding at its first move."""
    stages: tuple[WrittenStage, ...]

    def text(self) -> str:
        """All of it in one line, rotations before it included."""
        lines = (stage.text() for stage in self.stages)
        return " ".join([*map(str, self.before), *filter(None, lines)])


def write_solve(of: SolveTurns, reading: Reading) -> WrittenSolve:
    """Write a solve as it was read."""
    splits = [split for split in of.solve.splits if split.end_turn is not None]
    first = HOLDINGS[reading.path[0].holding] if reading.path else SCRAMBLE_HOLDING
    waits = _waits(of.part.times)
    stages: list[WrittenStage] = []
    held, done = first, 0
    for split in [*splits, None]:
        until = _steps_until(reading.path, done, split, of.first_line)
        steps = reading.path[done:until]
        if split is not None or steps:
            stages.append(_stage(split, steps, reading, held, waits))
        if steps:
            held = HOLDINGS[int(HELD_AFTER[steps[-1].holding, steps[-1].move])]
        done = until
    return WrittenSolve(of, rotation_between(SCRAMBLE_HOLDING, first), tuple(stages))


def _steps_until(path: Sequence[Step], done: int, split: Split | None, first_line: int) -> int:
    """Where a stage ends in the path: behind the move that holds its last turn."""
    if split is None:
        return len(path)
    while done < len(path) and path[done].first + first_line <= (split.end_turn or 0):
        done += 1
    return done


def _stage(
    split: Split | None,
    steps: Sequence[Step],
    reading: Reading,
    held: Holding,
    waits: Sequence[float],
) -> WrittenStage:
    moves: list[WrittenMove] = []
    begun = HOLDINGS[steps[0].holding] if steps else held
    for step in steps:
        wait = waits[step.first]
        for rotation in rotation_between(held, HOLDINGS[step.holding]):
            _append(moves, WrittenMove(rotation, wait))
            wait = 0.0
        _append(moves, WrittenMove(HAND_MOVES[step.move], wait))
        held = HOLDINGS[int(HELD_AFTER[step.holding, step.move])]
    sure = min((reading.confidence(step) for step in steps), default=1.0)
    return WrittenStage(split, tuple(moves), begun, sure)


def _append(moves: list[WrittenMove], new: WrittenMove) -> None:
    """Write a move, merged with an earlier one of its kind if nothing lies between that matters.

    Only face turns of the opposite face do not matter.
    """
    at = len(moves) - 1
    while at >= 0 and _commute(moves[at].move, new.move):
        at -= 1
    if at < 0 or moves[at].move.symbol != new.move.symbol:
        moves.append(new)
        return
    quarters = (moves[at].move.quarters + new.move.quarters) % 4
    if quarters:
        moves[at] = WrittenMove(Move(new.move.symbol, quarters), moves[at].wait_s)
    else:
        del moves[at]


def _commute(one: Move, other: Move) -> bool:
    faces = FACES
    if one.symbol not in faces or other.symbol not in faces:
        return False
    return OPPOSITE[faces.index(one.symbol)] == faces.index(other.symbol)


def _waits(times: Sequence[float]) -> list[float]:
    """For each turn how long the hands waited before it, in seconds; 0 if they did not."""
    gaps = [0.0, *(after - before for before, after in pairwise(times))]
    usual = median(gaps[1:]) if len(gaps) > 1 else 0.0
    long = max(_LONG_S, _LONG * usual)
    return [gap if gap >= long else 0.0 for gap in gaps]
