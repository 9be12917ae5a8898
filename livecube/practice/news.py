"""The news of a practice session, each with the cube's time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

from livecube.events import Moment

if TYPE_CHECKING:
    from livecube.practice.gestures import BreakDue
    from livecube.scrambling.path import Guidance
    from livecube.timing.results import Penalty, Result

__all__ = [
    "Abandoned",
    "BreakAdvised",
    "Called",
    "Corrected",
    "Discarded",
    "Guided",
    "InspectionBegun",
    "Judged",
    "OfSolve",
    "PracticeNews",
    "Reviewed",
    "ScrambleAsked",
    "SolveStarted",
    "Tally",
]


@dataclass(frozen=True, slots=True)
class Tally:
    """Results, averages and best time of a session so far."""

    results: tuple[Result, ...]
    """The results that count, in order."""
    averages: tuple[tuple[str, Result], ...]
    """The current averages by name, as far as there are enough results."""
    best: Result | None
    """The best single time; None before there is one."""


@dataclass(frozen=True, slots=True)
class OfSolve(Moment):
    """News of one solve."""

    number: int
    """Number of the solve in this session, counted from 1."""


@dataclass(frozen=True, slots=True)
class ScrambleAsked(OfSolve):
    """The solver is asked to turn a scramble."""

    turns: tuple[int, ...]
    """Turns from the present position; empty if the solver scrambles freely."""
    by_hand: bool
    """Whether the solver scrambles freely."""


@dataclass(frozen=True, slots=True)
class Guided(Moment):
    """The progress of the solver in the scramble."""

    guidance: Guidance
    turns: tuple[int, ...]
    """The whole path; a new one if the solver left the old path."""


@dataclass(frozen=True, slots=True)
class InspectionBegun(OfSolve):
    """Inspection begins; the first turn starts the solve."""

    scramble: tuple[int, ...]
    """Turns from the solved cube to this position."""
    timed: bool
    """Whether inspection is limited."""


@dataclass(frozen=True, slots=True)
class Called(Moment):
    """The seconds of inspection that have passed are called."""

    seconds: int


@dataclass(frozen=True, slots=True)
class SolveStarted(OfSolve):
    """The first turn was made."""

    inspection_ms: int | None


@dataclass(frozen=True, slots=True)
class Judged(OfSolve):
    """A solve is over, with its time and penalties."""

    ms: int
    inspection_ms: int | None
    penalties: tuple[Penalty, ...]
    """The measured penalties."""
    tally: Tally


@dataclass(frozen=True, slots=True)
class Corrected(OfSolve):
    """The solver changed the penalties of the last solve."""

    ms: int
    measured: tuple[Penalty, ...]
    penalties: tuple[Penalty, ...] | None
    """None: the measured penalties count."""
    tally: Tally


@dataclass(frozen=True, slots=True)
class Discarded(OfSolve):
    """The solver threw the last solve away, or took it back."""

    away: bool
    """True: thrown away; False: taken back."""
    tally: Tally


@dataclass(frozen=True, slots=True)
class Abandoned(OfSolve):
    """An attempt was given up before it was over; it does not count and is not kept."""


@dataclass(frozen=True, slots=True)
class BreakAdvised(Moment):
    """It is time for a break."""

    due: BreakDue


@dataclass(frozen=True, slots=True)
class Reviewed(OfSolve):
    """A solve of this session was reviewed."""

    kept: int
    """The number of the solve in the history."""
    sentences: tuple[str, ...]
    """The largest losses of time, the largest first; empty if there are none."""


PracticeNews: TypeAlias = (
    ScrambleAsked
    | Guided
    | InspectionBegun
    | Called
    | SolveStarted
    | Judged
    | Corrected
    | Discarded
    | Abandoned
    | BreakAdvised
    | Reviewed
)
