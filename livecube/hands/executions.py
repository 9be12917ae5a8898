"""Written moves with times, and the price that each of them tells about. Pure, numpy only.

A *gap* is the time from one turn to the next of the same execution. It is the price of the later
turn after the moves before it: a *cell*. Cells are numbered as the automaton's prices, row by row
(state, move); behind them come those of a rotation and the turn after it (holding, move). The first
turn of an execution has none, since the time before it is also looking; that time is its *pause*.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import IntEnum
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final, TypeAlias

import numpy as np
import numpy.typing as npt

from livecube.cube.holding import HOLDINGS
from livecube.hands.automaton import MOVES, NEVER

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from livecube.cube.holding import Holding, Move
    from livecube.hands.automaton import Automaton

__all__ = [
    "Array",
    "Execution",
    "Gaps",
    "Part",
    "cells_of",
    "first_cell",
    "gaps_of",
    "pauses_of",
    "usual_ms",
]

Array: TypeAlias = npt.NDArray[Any]

NO_CELL: Final = -1
"""The time before this turn says nothing about a price."""
_NUMBER: Final = {move: number for number, move in enumerate(MOVES)}
_HOLDING: Final = {holding: number for number, holding in enumerate(HOLDINGS)}


class Part(IntEnum):
    """The part of a solve that an execution belongs to; each has a tempo of its own."""

    PAIRS = 0
    CROSS = 1
    """It was planned before the first turn."""
    LAST_LAYER = 2
    """Its sequences are known by heart."""


@dataclass(frozen=True, slots=True)
class Execution:
    """What the hands did for one pair, or another stage, as written."""

    moves: tuple[Move, ...]
    """Rotations included."""
    at_ms: tuple[float, ...]
    """When each move was complete, on any clock; a rotation's is not used."""
    sure: float = 1.0
    """Probability that the moves are written from the true holding, 0 to 1."""
    part: Part = Part.PAIRS
    pause_ms: float | None = None
    """From the last turn of the stage before to its first turn; None: unknown."""


@dataclass(frozen=True, slots=True)
class Gaps:
    """All gaps of some solves; arrays have one entry a gap."""

    cell: Array
    ms: Array
    """At least 1."""
    sure: Array
    execution: Array
    """Number of the execution, rising from 0."""
    solve: Array
    """Number of the solve, rising from 0."""
    part: Array
    """The ``Part`` that each belongs to."""

    def chosen(self, here: Array) -> Gaps:
        """Some of them; ``here``: one flag a gap."""
        every = (self.cell, self.ms, self.sure, self.execution, self.solve, self.part)
        return Gaps(*(each[here] for each in every))

    def in_tempo(self, tempos: Array) -> Gaps:
        """The same in the tempo of pairs; ``tempos``: by part the logarithm of times against it."""
        return replace(self, ms=self.ms * np.exp(-tempos[self.part]))


def usual_ms(automaton: Automaton) -> Array:
    """The price of every cell in milliseconds, shape (cells,), ``NEVER`` or more if never."""
    rotated = automaton.seconds_ms[automaton.rotated].astype(float)
    behind = automaton.rotation_ms[0][:, None] + rotated[None, :]
    return np.concatenate([automaton.seconds_ms.astype(float).ravel(), behind.ravel()])


@lru_cache(maxsize=20_000)
def cells_of(automaton: Automaton, moves: tuple[Move, ...]) -> tuple[int, ...]:
    """For each move the cell of the gap before it; ``NO_CELL`` for rotations and where none is.

    None is before a slice, and where the hands begin anew: the first turn, the turn after a slice,
    and a move at a place where it is never written.
    """
    cells: list[int] = []
    state, started = automaton.start, False
    turned: Holding | None = None
    for move in moves:
        cell = NO_CELL
        if move.is_rotation:
            turned = (turned or HOLDINGS[0]).after(move)
            state = automaton.rotated
        elif move not in _NUMBER:
            state, turned, started = automaton.start, None, True
        else:
            number = _NUMBER[move]
            if automaton.seconds_ms[state, number] >= NEVER:
                state = automaton.start
            if started and state != automaton.start:
                behind = automaton.seconds_ms.size + _HOLDING[turned] * len(MOVES) if turned else 0
                cell = behind + number if turned else state * len(MOVES) + number
            state, turned, started = int(automaton.next[state, number]), None, True
        cells.append(cell)
    return tuple(cells)


def first_cell(automaton: Automaton, moves: tuple[Move, ...]) -> int:
    """The cell of the first turn of an execution, with the rotations before it; −1 if none.

    The pause before an insertion is its price and a look.
    """
    turned = HOLDINGS[0]
    for move in moves:
        if move.is_rotation:
            turned = turned.after(move)
        elif move in _NUMBER:
            row = automaton.start
            if turned != HOLDINGS[0]:
                row = len(automaton.seconds_ms) + _HOLDING[turned]
            return row * len(MOVES) + _NUMBER[move]
        else:
            break
    return NO_CELL


def gaps_of(automaton: Automaton, solves: Iterable[Sequence[Execution]]) -> Gaps:
    """The gaps of solves, each a list of executions."""
    cell: list[int] = []
    ms: list[float] = []
    rows: list[tuple[int, float, int, int, int]] = []  # gaps, sure, execution, solve, part
    number = 0
    for solve, executions in enumerate(solves):
        for one in executions:
            before, found = 0.0, 0
            for move, own, at in zip(
                one.moves, cells_of(automaton, one.moves), one.at_ms, strict=True
            ):
                if own >= 0:
                    cell.append(own)
                    ms.append(at - before)
                    found += 1
                if not move.is_rotation:
                    before = at
            rows.append((found, one.sure, number, solve, one.part))
            number += 1
    counts, sure, execution, solve_of, part = (
        (np.array(column) for column in zip(*rows, strict=True))
        if rows
        else (np.zeros(0, dtype=int),) * 5
    )
    return Gaps(
        np.array(cell, dtype=np.int64),
        np.maximum(np.array(ms, dtype=float), 1.0),
        np.repeat(sure, counts).astype(float),
        np.repeat(execution, counts),
        np.repeat(solve_of, counts),
        np.repeat(part, counts),
    )


def pauses_of(automaton: Automaton, solves: Iterable[Sequence[Execution]]) -> Gaps:
    """The pauses before executions that begin without a rotation, with the cells of first turns.

    Executions are numbered as in :func:`gaps_of`.
    """
    rows: list[tuple[int, float, float, int, int, int]] = []
    number = 0
    for solve, executions in enumerate(solves):
        for one in executions:
            cell = first_cell(automaton, one.moves)
            if one.pause_ms is not None and 0 <= cell < automaton.seconds_ms.size:
                rows.append((cell, max(one.pause_ms, 1.0), one.sure, number, solve, one.part))
            number += 1
    columns = zip(*rows, strict=True) if rows else [()] * 6
    kinds = (np.int64, float, float, np.int64, np.int64, np.int64)
    return Gaps(*(np.array(own, dtype=kind) for own, kind in zip(columns, kinds, strict=True)))
