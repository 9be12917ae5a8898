"""A solve as the history keeps it. Times are whole milliseconds."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, NamedTuple

from livecube.stages.solve import StageTurns
from livecube.timing.results import result_of, workings_text

if TYPE_CHECKING:
    from livecube.timing.results import Penalty, Result

__all__ = ["NOBODY", "Chance", "KeptSolve", "KeptStage", "Listed", "PlanCost", "Price", "Wanted"]

NOBODY: Final = "me"
"""The person to whom solves belong if no person is named."""


@dataclass(frozen=True, slots=True)
class KeptStage(StageTurns):
    """One of a solve's eight stages; as :class:`livecube.stages.solve.Split`."""

    ms: int
    pause_ms: int
    technique: str | None
    case: str | None
    offset: int
    shared: bool
    inferred: bool
    gap: bool
    holding: str | None
    """Stated or inferred: the colours up and in front, ``yellow green``."""


class Chance(NamedTuple):
    """The gain of a technique in a stage, as a review found it."""

    stage: int
    """Number of the stage among the eight, from 0."""
    technique: str
    slot: str
    taken: bool
    saved_ms: int
    """Predicted, against the turns that were made."""


class Price(NamedTuple):
    """The cost of beginning a pair with a technique, as a review found it."""

    stage: int
    """Number of the stage among the eight, from 0."""
    technique: str
    price_ms: int
    """Predicted: by how much the best plan that begins with it is slower than the best plan."""
    taken: bool
    """Whether the pair was done by this technique."""


class PlanCost(NamedTuple):
    """A pair against the best plan from its beginning, as a review found it; all predicted."""

    stage: int
    """Number of the stage among the eight, from 0."""
    plan_ms: int
    """The best plan for all free slots, looking included."""
    own_ms: int
    """The best plan that begins with the pair that was done."""
    slow_ms: int
    """The pair's turns, less the way into its slot by which that plan begins."""
    turning_ms: int
    """The pair's turns after the first one."""
    pause_ms: int
    """The pause before the pair: looking for that way, and the first turn."""


@dataclass(frozen=True, slots=True)
class Listed:
    """A solve as a list shows it."""

    number: int
    """Number of the solve in the history; 0 before it is kept."""
    identity: str
    """Equal for the same solve, read from any log."""
    person: str
    started: str
    """Time of its first turn; ISO 8601 in UTC."""
    session: int | None
    cross: str | None
    """Colour."""
    ms: int
    """From the first turn to the last, or until the solver stopped the time."""
    turns: int
    solved: bool
    gap: bool
    """Turns were lost."""
    scramble: str | None
    inspection_ms: int | None
    """None: not timed."""
    measured: tuple[Penalty, ...]
    """Penalties as measured."""
    corrected: tuple[Penalty, ...] | None
    """Penalties as a person set them afterwards; None: not changed."""
    tags: tuple[str, ...]

    @property
    def penalties(self) -> tuple[Penalty, ...]:
        """The penalties that count."""
        return self.measured if self.corrected is None else self.corrected

    @property
    def result(self) -> Result:
        """The result of the solve."""
        return result_of(self.ms, self.penalties)

    @property
    def workings(self) -> str:
        """How the result is worked out; with the measured result, if it was corrected."""
        counts = workings_text(self.ms, self.penalties)
        if self.corrected is None:
            return counts
        return f"{counts}, measured {workings_text(self.ms, self.measured)}"


@dataclass(frozen=True, slots=True)
class KeptSolve:
    """A solve with its stages."""

    listed: Listed
    stages: tuple[KeptStage, ...]
    log: str
    """Its log, as a path below the history's folder."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """A choice of solves; with None everywhere, all that are not deleted."""

    since: str | None = None
    """First day, ``2026-03-01``."""
    until: str | None = None
    """Last day."""
    tag: str | None = None
    technique: str | None = None
    """Only solves with a stage done by this technique."""
    cross: str | None = None
    person: str | None = None
    session: int | None = None
    most: int | None = None
    """Only this many of the latest."""
