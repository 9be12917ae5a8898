"""The news of a lesson, each with the cube's time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

from livecube.events import Moment

if TYPE_CHECKING:
    from livecube.events import Turn
    from livecube.lessons.lesson import Drill, Step
    from livecube.lessons.steps import Demonstration
    from livecube.stages.solve import Solve

__all__ = [
    "LessonNews",
    "LessonOver",
    "OfStep",
    "PlacesAwaited",
    "PlacesScarce",
    "SolveDone",
    "SolveReady",
    "SolveTurned",
    "StepBegun",
    "StepDone",
    "StepWalked",
    "TryJudged",
]


@dataclass(frozen=True, slots=True)
class OfStep(Moment):
    """News of one step."""

    number: int
    """Number of the step, from 1."""


@dataclass(frozen=True, slots=True)
class StepBegun(OfStep):
    """A step begins."""

    of: int
    """Number of all steps."""
    step: Step
    shown: Demonstration | None = None
    """Of a *show*."""


@dataclass(frozen=True, slots=True)
class StepWalked(OfStep):
    """A demonstration stands at another move."""

    shown: Demonstration
    after: int
    """So many moves have been made."""


@dataclass(frozen=True, slots=True)
class TryJudged(OfStep):
    """A try of a position was as asked, or not."""

    amiss: str
    """What was not as asked, in words; empty: nothing."""


@dataclass(frozen=True, slots=True)
class PlacesAwaited(OfStep):
    """The positions of a drill are still being looked for."""


@dataclass(frozen=True, slots=True)
class PlacesScarce(OfStep):
    """Fewer positions than a drill wants were found; none: the lesson goes on without it."""

    found: int
    drill: Drill


@dataclass(frozen=True, slots=True)
class SolveReady(OfStep):
    """The cube is scrambled; the first turn starts the solve."""

    solve: int
    """Number of the solve in its step, from 1."""
    position: bytes
    """20 facelets."""


@dataclass(frozen=True, slots=True)
class SolveTurned(OfStep):
    """A turn of a solve."""

    position: bytes
    began: float
    """Time of its first turn."""


@dataclass(frozen=True, slots=True)
class SolveDone(OfStep):
    """The cube is solved."""

    solve: int
    result: Solve
    focus: str | None
    possible: int
    """At the beginnings of so many pairs the focus was possible."""
    done: int
    """So many pairs were done by it."""
    scramble: tuple[int, ...]
    """The turns from the solved cube to where it began."""
    made: tuple[Turn, ...]
    """Its turns."""


@dataclass(frozen=True, slots=True)
class StepDone(OfStep):
    """A step in which the student turns is over, or was left."""

    kind: str
    passed: bool
    made: int
    """Tries or solves."""
    good: int
    """Those that were as asked."""


@dataclass(frozen=True, slots=True)
class LessonOver(Moment):
    """The lesson has come to its end."""

    title: str
    open: tuple[int, ...]
    """Numbers of the steps that were turned and not passed."""


LessonNews: TypeAlias = (
    StepBegun
    | StepWalked
    | TryJudged
    | PlacesAwaited
    | PlacesScarce
    | SolveReady
    | SolveTurned
    | SolveDone
    | StepDone
    | LessonOver
)
