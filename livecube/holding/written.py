"""A solve as a person would write it: a line a stage, moves of the hands, pauses marked.

It can be read back: parsed and made from white up, green front, it leads from the same scramble to
the same position, also where the holding was inferred wrongly.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from statistics import median
from typing import TYPE_CHECKING, Final

import numpy as np

from livecube.cube.geometry import FACES, OPPOSITE
from livecube.cube.holding import (
    HOLDINGS,
    SCRAMBLE_HOLDING,
    SLICE_SYMBOLS,
    Holding,
    Move,
    fixed_turns,
    rotation_between,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.holding.inference import Reading
    from livecube.holding.kernel import Array
    from livecube.holding.observations import SolveTurns, Step
    from livecube.stages.solve import Split

__all__ = [
    "FACE_MOVES",
    "HAND_MOVES",
    "HELD_AFTER",
    "INVERSE",
    "MIRRORED",
    "MIRRORED_ROTATIONS",
    "PAUSE",
    "ROTATED",
    "ROTATIONS_WRITTEN",
    "SEEN_AS_FACE",
    "SEEN_AS_SLICE",
    "SEEN_AS_WIDE",
    "WrittenMove",
    "WrittenSolve",
    "WrittenStage",
    "hand_move",
    "rotation_number",
    "write_solve",
]

# Moves of the hands as numbers, and the effect of each in each of the 24 holdings, as arrays.
#
# A *hand move* is 0 to 44: a face turn of the face where it is in the hands (``3 * face +
# quarters - 1``, as in :mod:`livecube.cube.position`), a wide turn (18 more), or a slice (36 +
# ``3 * M, E or S`` + quarters - 1). A *rotation* is the number of the holding that it leads to
# from holding 0. Rotations are made between the moves; 0 is no rotation.


FACE_MOVES: Final = 18
"""Number of face turns, and of wide turns."""

HAND_MOVES: Final = (
    *(Move(face, quarters) for face in FACES for quarters in (1, 2, 3)),
    *(Move(face + "w", quarters) for face in FACES for quarters in (1, 2, 3)),
    *(Move(symbol, quarters) for symbol in SLICE_SYMBOLS for quarters in (1, 2, 3)),
)
"""All 45, by number."""

_NUMBER: Final = {move: number for number, move in enumerate(HAND_MOVES)}
_HOLDING: Final = {holding: number for number, holding in enumerate(HOLDINGS)}


def hand_move(move: Move) -> int:
    """The number of a move that is not a rotation."""
    return _NUMBER[move]


INVERSE: Final = np.array([_NUMBER[move.inverted()] for move in HAND_MOVES])
"""Shape (45,): the move that undoes each."""

_SIDES: Final = {"R": "L", "L": "R", "Rw": "Lw", "Lw": "Rw"}


def _mirror(move: Move) -> Move:
    """The move with left and right exchanged, as the other hand makes it."""
    # M and x turn about the line from left to right, and keep their direction in the mirror.
    if move.symbol in "Mx":
        return move
    return Move(_SIDES.get(move.symbol, move.symbol), 4 - move.quarters)


MIRRORED: Final = np.array([_NUMBER[_mirror(move)] for move in HAND_MOVES])
"""Shape (45,): each move with left and right exchanged."""

ROTATIONS_WRITTEN: Final = tuple(rotation_between(HOLDINGS[0], holding) for holding in HOLDINGS)
"""Each rotation as the fewest moves: zero, one or two."""


def _rotated() -> Array:
    table = np.empty((24, 24), dtype=np.int8)
    for before, held in enumerate(HOLDINGS):
        for rotation, moves in enumerate(ROTATIONS_WRITTEN):
            table[before, rotation] = _HOLDING[fixed_turns(moves, held)[1]]
    return table


ROTATED: Final = _rotated()
"""Shape (24, 24), int8: the holding after a rotation, by holding and rotation."""


MIRRORED_ROTATIONS: Final = np.array(
    [_HOLDING[fixed_turns(map(_mirror, moves))[1]] for moves in ROTATIONS_WRITTEN]
)
"""Shape (24,): each rotation with left and right exchanged."""


def rotation_number(before: int, after: int) -> int:
    """The rotation that leads from one holding to another."""
    return int(np.flatnonzero(ROTATED[before] == after).item())


def _held_after() -> Array:
    rows = [[_HOLDING[held.after(move)] for move in HAND_MOVES] for held in HOLDINGS]
    return np.array(rows, dtype=np.int8)


HELD_AFTER: Final = _held_after()
"""Shape (24, 45), int8: the holding after a move, by holding and hand move."""


def _seen_as(first: int, last: int) -> Array:
    table = np.full((24, 18), -1, dtype=np.int8)
    for before, held in enumerate(HOLDINGS):
        for move in range(first, last):
            table[before, fixed_turns([HAND_MOVES[move]], held)[0][0]] = move
    return table


SEEN_AS_FACE: Final = _seen_as(0, FACE_MOVES)
"""Shape (24, 18), int8: the face turn of a fixed-frame turn, by the holding before it."""

SEEN_AS_WIDE: Final = _seen_as(FACE_MOVES, 2 * FACE_MOVES)
"""Shape (24, 18), int8: the wide turn of a fixed-frame turn, by the holding before it."""


def _seen_as_slice() -> Array:
    table = np.full((24, 18, 18), -1, dtype=np.int8)
    for before, held in enumerate(HOLDINGS):
        for move in range(2 * FACE_MOVES, len(HAND_MOVES)):
            one, two = fixed_turns([HAND_MOVES[move]], held)[0]
            table[before, one, two] = table[before, two, one] = move
    return table


SEEN_AS_SLICE: Final = _seen_as_slice()
"""Shape (24, 18, 18), int8: the slice of two fixed-frame turns; −1 where there is none."""


PAUSE: Final = "…"
"""Written before a move for which the hands waited."""
_LONG_S: Final = 0.5
_LONG: Final = 2.5
"""The hands waited if a gap has this many seconds, and is this many times the usual gap."""


@dataclass(frozen=True, slots=True)
class WrittenMove:
    """One move as written."""

    move: Move
    wait_s: float
    """Seconds that the hands waited before it; 0 if they did not."""


@dataclass(frozen=True, slots=True)
class WrittenStage:
    """One line. The stage is None for turns after the last stage that was done."""

    split: Split | None
    moves: tuple[WrittenMove, ...]
    holding: Holding
    """The holding at its first move; without moves, at its place in the solve."""
    confidence: float
    """Lowest probability of a holding in it, 0 to 1; 1 without moves."""

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
    """A solve in writing, from its reading."""
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
    """Where a stage ends in the path: after the move that holds its last turn."""
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
    """Append a move, merged with an earlier one of its kind if only moves that commute lie between.

    Only face turns of the opposite face commute.
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
    """For each turn the seconds that the hands waited before it; 0 if they did not."""
    gaps = [0.0, *(after - before for before, after in pairwise(times))]
    usual = median(gaps[1:]) if len(gaps) > 1 else 0.0
    long = max(_LONG_S, _LONG * usual)
    return [gap if gap >= long else 0.0 for gap in gaps]
