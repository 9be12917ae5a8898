"""Questions to the search, and its answers, as values."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

__all__ = [
    "ALL_TURNS",
    "D_TURNS",
    "FIELDS",
    "LEFT",
    "LONGEST",
    "NO_D",
    "NO_TAIL",
    "TURNED_BACK",
    "Found",
    "Task",
    "task_rows",
]

ALL_TURNS: Final = (1 << 18) - 1
D_TURNS: Final = 0b111 << 15
NO_D: Final = ALL_TURNS & ~D_TURNS

NO_TAIL: Final = 0
TURNED_BACK: Final = 1
LEFT: Final = 2

LONGEST: Final = 20
"""Searches give up beyond this many turns; no answer has as many."""
FIELDS: Final = 6


class Task(NamedTuple):
    """One question: all shortest sequences ``prefix X tail`` that solve the cross and a goal.

    Turns of opposite faces stand in one order (U before D, L before R, F before B), no face
    turns twice running, and no proper part ``prefix X'`` of an answer is one.
    """

    goal: int
    """Bit p: piece p (see :mod:`livecube.search.coordinates`) must be solved; 0: the cross
    alone."""
    allowed: int = ALL_TURNS
    """Bit t: turn t may stand in X."""
    prefix: int = 1
    """Bit a: X may follow D^a (bit 0: nothing). In a second part four bits for each offset at
    which the first may end."""
    tail: int = NO_TAIL
    """``NO_TAIL``: solved at offset 0 at the end of X. ``TURNED_BACK``: solved at any offset at
    the end of X, and one D turn, counted, aligns it if need be. ``LEFT``: solved at any offset
    at the end of X, and left there."""
    target: int = 0
    """Slot whose pieces are looked at first, since they fail soonest."""
    tied: bool = False
    """Whether every turn must move the target's corner and edge together, or neither."""


def task_rows(tasks: Sequence[Task]) -> npt.NDArray[np.int64]:
    """Shape (n, FIELDS): tasks as the kernel reads them, fields in the order above."""
    return np.array(tasks, dtype=np.int64).reshape(-1, FIELDS)


@dataclass(frozen=True, slots=True)
class Found:
    """Sequences found, as arrays; valid until the engine searches again."""

    turns: npt.NDArray[np.uint8]
    """Shape (n, at most LONGEST): down-frame turns, each row as far as its length."""
    lengths: npt.NDArray[np.int64]
    tasks: npt.NDArray[np.int64]
    """Number of the task that each answers; those of one task stand together, shorter first and
    then in the order of their turns."""
