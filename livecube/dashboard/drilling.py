"""Drills in the form for a dashboard; the code that leads a drill makes these values."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from livecube.events import Moment

__all__ = ["HOW_WELL", "BeatDone", "DrillDone", "FingersDone"]

HOW_WELL: Final = ("missed", "laboured", "sound", "fluent")
"""From worst to best; the same words as :data:`livecube.drills.judging.HOW_WELL`, which is not
imported, since it would load the whole search."""


@dataclass(frozen=True, slots=True)
class DrillDone(Moment):
    """A drill's position was solved, and judged."""

    number: int
    """Number of the try, from 1."""
    technique: str
    """The drilled technique."""
    case: str
    grade: str
    """Difficulty of the position."""
    how_well: str
    """One of :data:`HOW_WELL`."""
    as_asked: bool
    """Whether the drilled technique was used."""
    ms: int
    """From the first turn to the last."""
    look_ms: int
    """From the end of the set-up to the first turn."""
    turns: int
    fewest: int
    """Turns of the shortest way."""
    code: str
    """Of the position where it began."""


@dataclass(frozen=True, slots=True)
class FingersDone(Moment):
    """Rounds of the ring-finger drill are over."""

    rounds: int
    turns: int
    """Number of counted turns: those with a time since the turn before."""
    turns_per_second: float | None
    """None: no counted turns."""
    variation: float | None
    """Spread of the times from turn to turn, as a share of their mean, averaged over the rounds (0:
    even as a clock); None: too few turns."""
    left_per_second: float | None
    """Turns a second of the left ring finger alone."""
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
    """False: broken off."""
