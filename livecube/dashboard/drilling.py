"""Drills, as a dashboard is told them; whoever leads the drill makes these."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from livecube.events import Moment

__all__ = ["HOW_WELL", "BeatDone", "DrillDone", "FingersDone"]

HOW_WELL: Final = ("missed", "laboured", "sound", "fluent")
"""From the worst to the best; the same words as :data:`livecube.drills.judging.HOW_WELL`, which is
not imported since it would bring the whole search along."""


@dataclass(frozen=True, slots=True)
class DrillDone(Moment):
    """A drill's position was solved, and judged."""

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


@dataclass(frozen=True, slots=True)
class FingersDone(Moment):
    """Rounds of the ring-finger drill are over."""

    rounds: int
    turns: int
    """That count: those with a time since the one before."""
    turns_per_second: float | None
    """None: no turn counts."""
    variation: float | None
    """Of the times from turn to turn, a share of their mean, as the mean over the rounds (0: even
    as a clock); None: too few turns."""
    left_per_second: float | None
    """Turns of the left ring finger alone."""
    right_per_second: float | None
    slips: int


@dataclass(frozen=True, slots=True)
class BeatDone(Moment):
    """A solve to a beat is over."""

    tempo: float
    """Beats a second."""
    turns: int
    missed: int
    """Turns that missed their beat."""
    empty: int
    """Beats without a turn."""
    solved: bool
    """Whether it was not broken off."""
