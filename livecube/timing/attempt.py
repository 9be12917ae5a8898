"""One attempt: inspection with its calls, and how the cube stood when the timer was stopped.

World Cube Association Regulations (April 1, 2026). On a cube that reports every turn the first
turn starts the time and the solved cube stops it; by hand it can be stopped before.
"""

from __future__ import annotations

from typing import Final, Literal, TypeAlias

from livecube.cube.position import SOLVED_BYTES, TURN_BYTES
from livecube.timing.results import Penalty

__all__ = [
    "CALLS_MS",
    "INSPECTION_MS",
    "LATEST_START_MS",
    "Standing",
    "inspection_penalties",
    "next_call",
    "standing",
    "standing_penalties",
]

INSPECTION_MS: Final = 15_000
"""Article A3a1: less than 15 seconds to inspect the cube and start."""
CALLS_MS: Final = (8_000, 12_000)
"""Articles A3b3 and A3b4: the calls after 8 and 12 seconds."""
LATEST_START_MS: Final = 17_000
"""Article A4d2: who starts now or later has not finished."""

Standing: TypeAlias = Literal["solved", "one turn short", "not solved"]


def inspection_penalties(ms: int) -> tuple[Penalty, ...]:
    """What an inspection that took so long costs.

    Article A4d1: from 15.00 s two seconds; A4d2: from 17.00 s the attempt.
    """
    if ms < INSPECTION_MS:
        return ()
    return (Penalty("+2" if ms < LATEST_START_MS else "DNF", "inspection"),)


def next_call(ms: int) -> int | None:
    """When, in ms of inspection, something is to be said next; None: no more.

    The two calls, and the two limits.
    """
    moments = (*CALLS_MS, INSPECTION_MS, LATEST_START_MS)
    return next((moment for moment in moments if moment > ms), None)


def standing(position: bytes) -> Standing:
    """How a cube stands (20 facelets) when the time is stopped.

    Articles 10e and 10f1: one turn from solved is two seconds, more is no result.
    """
    if position == SOLVED_BYTES:
        return "solved"
    near = any(position.translate(turn) == SOLVED_BYTES for turn in TURN_BYTES)
    return "one turn short" if near else "not solved"


def standing_penalties(position: bytes) -> tuple[Penalty, ...]:
    """What it costs that a cube stood so when the time was stopped."""
    how = standing(position)
    if how == "solved":
        return ()
    return (Penalty("+2" if how == "one turn short" else "DNF", how),)
