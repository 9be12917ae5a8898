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
    "AT_DOORS",
    "D_TURNS",
    "FASTEST_MS",
    "FIELDS",
    "LEFT",
    "LONGEST",
    "LONGEST_WAY",
    "MOST_WAYS",
    "NEARLY_MS",
    "NO_D",
    "NO_LIMIT",
    "NO_TAIL",
    "TURNED_BACK",
    "TWO_PARTS_MS",
    "UNIT_MS",
    "Found",
    "Task",
    "Written",
    "fastest_of",
    "goal_pieces",
    "task_rows",
]

ALL_TURNS: Final = (1 << 18) - 1
D_TURNS: Final = 0b111 << 15
NO_D: Final = ALL_TURNS & ~D_TURNS

NO_TAIL: Final = 0
TURNED_BACK: Final = 1
LEFT: Final = 2

AT_DOORS: Final = -1

LONGEST: Final = 20
"""Searches give up beyond this many turns; every answer has fewer."""
FIELDS: Final = 6


class Task(NamedTuple):
    """One question: all shortest sequences ``prefix X tail`` that solve the cross and a goal.

    Turns of opposite faces stand in one order (U before D, L before R, F before B), no face turns
    twice running, and no proper part ``prefix X'`` of an answer is an answer.
    """

    goal: int
    """Bit p: piece p (see :mod:`livecube.search.situation`) must be solved; 0: the cross
    alone. A second part keeps the slots, too, that are solved when it begins."""
    allowed: int = ALL_TURNS
    """Bit t: turn t may stand in X."""
    prefix: int = 1
    """Bit a: X may follow D^a (bit 0: no turn). It is different in a second part, where it depends
    on the offset k at which the first part ended. ``AT_DOORS``: the turns that open a door for a
    keyhole into the target. Otherwise bit ``4 * k + a``; the sum k + a is always the same, and the
    pieces that only this part solves must be out when it begins."""
    tail: int = NO_TAIL
    """``NO_TAIL``: solved at offset 0 at the end of X. ``TURNED_BACK``: solved at any offset at
    the end of X, and one D turn, counted, aligns it if need be. ``LEFT``: solved at any offset
    at the end of X, and left there."""
    target: int = 0
    """Slot whose pieces are tested first: they rule out most."""
    tied: bool = False
    """Whether every turn must move the target's corner and edge together, or neither."""


def goal_pieces(goal: int) -> list[int]:
    """The pieces whose bits a goal has."""
    return [piece for piece in range(8) if goal >> piece & 1]


def task_rows(tasks: Sequence[Task]) -> npt.NDArray[np.int64]:
    """Shape (n, FIELDS): tasks as the kernel reads them, fields in the order above."""
    return np.array(tasks, dtype=np.int64).reshape(-1, FIELDS)


@dataclass(frozen=True, slots=True)
class Found:
    """Sequences found, as arrays; valid until the engine's next search."""

    turns: npt.NDArray[np.uint8]
    """Shape (n, at most LONGEST): down-frame turns, each row as far as its length."""
    lengths: npt.NDArray[np.int64]
    tasks: npt.NDArray[np.int64]
    """Number of the task that each answers. Those of one task stand together, shorter ones first,
    then in the order of their turns."""


# A fastest way as a value, and how near to the fastest a way must be.


UNIT_MS: Final = 10
"""Milliseconds in one unit of the bounds, which are rounded down."""

FASTEST_MS: Final = 50
"""Ways at most this much slower than the fastest count as fastest."""
NEARLY_MS: Final = 120
"""A plan may use ways at most this much slower than the fastest."""
MOST_WAYS: Final = 8
TWO_PARTS_MS: Final = 1900
"""Ways in two parts that are slower are not searched for: two plain pairs take less than a chain of
keyholes, and with the cross before it each tenth more takes five times as long."""
LONGEST_WAY: Final = 26
"""Most moves of a fastest way: at 60 ms a move, more would be far beyond any limit."""
NO_LIMIT: Final = 1 << 28
"""Milliseconds that no way takes."""


class Written(NamedTuple):
    """A sequence as the hands write it."""

    ms: int
    """Milliseconds until the cross is down again."""
    turns: tuple[int, ...]
    """Turns in the down frame."""
    tokens: tuple[int, ...]
    """Moves and rotations. A rotation is ``FIRST_ROTATION`` plus the holding to which it leads from
    holding 0."""
    start: int
    """Number of the holding (of the down frame) in which it begins."""
    end: int
    """Number of the holding in which it leaves the cube; the cross need not be down."""


def fastest_of(ways: Sequence[Written]) -> list[Written]:
    """Those of some ways, best first, that count as fastest."""
    return [way for way in ways if way.ms <= ways[0].ms + FASTEST_MS][:MOST_WAYS]
