"""One try of a drill, as a dashboard is told it; whoever leads the drill makes it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

__all__ = ["HOW_WELL", "DrillDone"]

HOW_WELL: Final = ("missed", "laboured", "sound", "fluent")
"""From the worst to the best; the same words as :data:`livecube.drills.judging.HOW_WELL`, which is
not imported since it would bring the whole search along."""


@dataclass(frozen=True, slots=True)
class DrillDone:
    """A drill's position was solved, and judged."""

    t: float
    number: int
    """Of the try, from 1."""
    technique: str
    """That was drilled."""
    case: str
    grade: str
    """How hard the position is."""
    how_well: str
    """One of :data:`HOW_WELL`."""
    as_asked: bool
    """Whether it was done by the technique that was asked for."""
    ms: int
    """From the first turn to the last."""
    look_ms: int
    """From the end of the set-up to the first turn."""
    turns: int
    fewest: int
    """Turns of the shortest way."""
