"""What a practice session tells, in order, each with the cube's time."""

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
    """How a session stands."""

    results: tuple[Result, ...]
    """Those that count, in order."""
    averages: tuple[tuple[str, Result], ...]
    """The current ones by name, as far as there are enough results."""
    best: Result | None
    """The best single time; None before there is one."""


@dataclass(frozen=True, slots=True)
class OfSolve(Moment):
    """News of one solve."""

    number: int
    """Of the solve in this session, counted from 1."""


@dataclass(frozen=True, slots=True)
class ScrambleAsked(OfSolve):
    """A scramble is to be turned."""

    turns: tuple[int, ...]
    """From where the cube stands; empty if the solver scrambles as he likes."""
    by_hand: bool


@dataclass(frozen=True, slots=True)
class Guided(Moment):
    """Where the solver stands in the scramble."""

    guidance: Guidance
    turns: tuple[int, ...]
    """The whole path; another one than before if the solver went astray."""


@dataclass(frozen=True, slots=True)
class InspectionBegun(OfSolve):
    """The scrambled cube may be looked at; the first turn starts the solve."""

    scramble: tuple[int, ...]
    """Turns from the solved cube to this position."""
    timed: bool


@dataclass(frozen=True, slots=True)
class Called(Moment):
    """So many seconds of inspection have passed."""

    seconds: int


@dataclass(frozen=True, slots=True)
class SolveStarted(OfSolve):
    """The first turn was made."""

    inspection_ms: int | None


@dataclass(frozen=True, slots=True)
class Judged(OfSolve):
    """A solve is over, and this is what it counts."""

    ms: int
    inspection_ms: int | None
    penalties: tuple[Penalty, ...]
    """As measured."""
    tally: Tally


@dataclass(frozen=True, slots=True)
class Corrected(OfSolve):
    """The solver decided on the penalties of the last solve."""

    ms: int
    measured: tuple[Penalty, ...]
    penalties: tuple[Penalty, ...] | None
    """None: those that were measured."""
    tally: Tally


@dataclass(frozen=True, slots=True)
class Discarded(OfSolve):
    """The solver threw the last solve away, or took it back."""

    away: bool
    tally: Tally


@dataclass(frozen=True, slots=True)
class Abandoned(OfSolve):
    """An attempt was given up before it was over; it counts nothing and is not kept."""


@dataclass(frozen=True, slots=True)
class BreakAdvised(Moment):
    """The hands have worked for long enough."""

    due: BreakDue


@dataclass(frozen=True, slots=True)
class Reviewed(OfSolve):
    """A solve of this session was looked at again."""

    kept: int
    """Its number in the history."""
    sentences: tuple[str, ...]
    """What cost most, the costliest first; empty if nothing did."""


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
