"""What is said, how it ends, and everything that the pipeline tells: values."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from typing import TYPE_CHECKING, TypeAlias

from livecube.holding.news import HeldNow
from livecube.stages.progress import Progress

if TYPE_CHECKING:
    from livecube.advice.opportunity import Opportunity
    from livecube.advice.plan import Plan

__all__ = [
    "Adjusted",
    "Clue",
    "Degree",
    "Happening",
    "Planned",
    "Repair",
    "Said",
    "Spoken",
    "Taken",
    "Unsaid",
    "Withdrawn",
]


@dataclass(frozen=True, slots=True)
class Spoken:
    """An opportunity that is worth saying now. It stands until it is taken or withdrawn."""

    t: float
    opportunity: Opportunity
    also: tuple[Opportunity, ...] = ()
    """The best ones for other slots; in inspection other ways to begin."""
    inspection: bool = False
    """Whether it says how the solve can begin."""


@dataclass(frozen=True, slots=True)
class Adjusted:
    """The moves of the hint that stands are others now; it is the same way into the same slots."""

    t: float
    opportunity: Opportunity


@dataclass(frozen=True, slots=True)
class Taken:
    """What the hint that stood was about is done, in this way or in another."""

    t: float
    opportunity: Opportunity


@dataclass(frozen=True, slots=True)
class Withdrawn:
    """The hint that stood does not hold any more."""

    t: float
    opportunity: Opportunity


@dataclass(frozen=True, slots=True)
class Repair:
    """A slot that was kept stays out: the fastest way to have all four in. It is no hint."""

    t: float
    way: Opportunity
    """Its slots are those that are out."""


class Degree(IntEnum):
    """How much of a hint is told."""

    WHERE = 1
    """That there is something, and where to look."""
    WHAT = 2
    """The technique too."""
    MOVES = 3
    """Everything."""


@dataclass(frozen=True, slots=True)
class Clue:
    """A part of a hint, for whoever wants to find the rest."""

    t: float
    opportunity: Opportunity
    degree: Degree


@dataclass(frozen=True, slots=True)
class Unsaid:
    """What would have been said during the solve that is over now, in order."""

    t: float
    hints: tuple[Spoken, ...]


@dataclass(frozen=True, slots=True)
class Planned:
    """Plans for all free slots from here, for each first pair the best, the best of all first."""

    t: float
    plans: tuple[Plan, ...]


Said: TypeAlias = Spoken | Adjusted | Taken | Withdrawn | Repair | Planned
"""What the speaker tells."""
Happening: TypeAlias = Progress | HeldNow | Said | Clue | Unsaid
"""All that the pipeline tells."""
