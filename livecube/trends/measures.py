"""Figures of many solves, as values. Times are seconds; shares are from 0 to 1."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, Literal, TypeAlias

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy as np
    import numpy.typing as npt

__all__ = [
    "LOSSES",
    "SPLITS",
    "ChanceColumns",
    "Change",
    "Figure",
    "FocusColumns",
    "FocusUptake",
    "Interval",
    "LossColumns",
    "LossPart",
    "Losses",
    "Month",
    "Period",
    "SolveColumns",
    "TechniqueWorth",
    "Trends",
    "Unit",
    "Uptake",
    "Verdict",
    "WorthColumns",
]

SPLITS: Final = ("cross", "pairs", "orientation", "permutation")
"""The parts of a solve; the final AUF belongs to the permutation."""

LOSSES: Final = ("looking", "turning", "way", "pair")
"""The parts of the seconds that a pair takes longer than the best plan; see
:mod:`livecube.trends.losses`."""

Verdict: TypeAlias = Literal["better", "worse", "changed", "noise", "too few"]
"""The verdict on a change; *changed* if neither direction is better."""
Unit: TypeAlias = Literal["seconds", "share", "number"]

Whole: TypeAlias = "npt.NDArray[np.signedinteger[Any]]"


@dataclass(frozen=True, slots=True)
class SolveColumns:
    """Solves in the order in which they were made, a column for each figure, n rows."""

    first: str
    """When the first of them was made, ISO 8601 in UTC; empty if unknown, or if there is none."""
    last: str
    number: Whole
    """The solve's number in the history."""
    day: npt.NDArray[np.str_]
    """The solver's local date, ``2026-03-01``; empty if unknown."""
    session: Whole
    """-1: no session."""
    ms: Whole
    """As measured, without penalties."""
    turns: Whole
    plus: Whole
    """Number of +2 penalties."""
    is_dnf: Whole
    """1 if the result is DNF."""
    splits_ms: Whole
    """(n, 4) as in :data:`SPLITS`, pauses included; 0 where a stage was not measured."""
    pause_ms: Whole
    """All pauses before stages together."""
    whole: Whole
    """1 if all stages were measured; only then splits and pauses count."""


@dataclass(frozen=True, slots=True)
class ChanceColumns:
    """Chances that reviews found, a column for each figure."""

    solve: Whole
    stage: Whole
    technique: Whole
    """Index into ``techniques``."""
    slot: Whole
    """Index into ``slots``."""
    taken: Whole
    saved_ms: Whole
    """Predicted milliseconds saved, compared with the turns that were made."""
    techniques: Sequence[str]
    slots: Sequence[str]


@dataclass(frozen=True, slots=True)
class FocusColumns:
    """Chances within a focus, at most one for each pair; a column for each figure."""

    techniques: tuple[str, ...]
    """The techniques of the focus."""
    within_s: float
    """Seconds that a chance may cost more than the best plan."""
    solve: Whole
    price_ms: Whole
    """Predicted milliseconds by which the chance was slower than the best plan."""
    taken: Whole


@dataclass(frozen=True, slots=True)
class Interval:
    """A figure and the 95 % interval of its bootstrap; the ends are None with too few solves."""

    value: float
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class WorthColumns:
    """Pairs at whose beginning a review found a technique possible; a column for each figure.

    Only pairs done by the technique or plainly. A pair with several techniques has several rows.
    """

    techniques: tuple[str, ...]
    solve: Whole
    technique: Whole
    """Index into ``techniques``."""
    place: Whole
    """Which pair it was, from 1."""
    ms: Whole
    """Measured, the pause included; of two pairs if the technique fills two slots."""
    price_ms: Whole
    """Predicted milliseconds by which the technique was slower than the best plan."""
    taken: Whole
    """Whether the pair was done by the technique."""


@dataclass(frozen=True, slots=True)
class LossColumns:
    """Reviewed pairs against the best plan from their beginning; a column for each figure."""

    solve: Whole
    parts_ms: Whole
    """(n, 4) as in :data:`LOSSES`: milliseconds more than the plan; they may be below 0."""
    own: Whole
    """1 if the plan was predicted for the person's own hands."""


@dataclass(frozen=True, slots=True)
class LossPart:
    """One part of the seconds that pairs take longer than the best plan."""

    name: str
    """One of :data:`LOSSES`."""
    seconds: Interval
    """Mean of a pair; below 0: less than predicted."""
    share: Interval | None
    """Its share in the parts that cost time; None if no part does."""


@dataclass(frozen=True, slots=True)
class Losses:
    """By how much pairs take longer than the best plan from their beginning, and why."""

    pairs: int
    own: int
    """Of these, compared with a plan for the person's own hands."""
    whole: Interval | None
    """Seconds of a pair, all parts together; None: no review compared a pair with a plan."""
    parts: tuple[LossPart, ...]
    """In the order of :data:`LOSSES`."""


@dataclass(frozen=True, slots=True)
class TechniqueWorth:
    """What a technique is worth to a person."""

    name: str
    used: int
    """Pairs done by it."""
    plain: int
    """Pairs of the same kind done plainly."""
    saved: Interval | None
    """Seconds for each pair; None: too few to tell."""


@dataclass(frozen=True, slots=True)
class Change:
    """How a figure of the later half differs from that of the earlier half."""

    before: float
    after: float
    difference: Interval
    """After less before; the interval is wider than 95 %, since many figures are tested."""
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure over all the solves, and how it has changed."""

    name: str
    unit: Unit
    whole: Interval
    change: Change | None
    """None: there is nothing to compare."""


@dataclass(frozen=True, slots=True)
class Period:
    """A day, a month or a year in which there were solves."""

    name: str
    solves: int
    times: int
    """Solves with a time, without DNF."""
    mean: Interval | None
    """Mean time; None without times."""
    best: float | None
    deviation: float | None
    splits: tuple[float, ...] | None
    """Mean seconds of each split, as in :data:`SPLITS`; None if none was measured."""
    pause: float | None
    """Share of pauses in the time."""


@dataclass(frozen=True, slots=True)
class Uptake:
    """Chances of one technique, or in one slot: how many came and were taken."""

    name: str
    came: int
    taken: int
    share: Interval
    """``taken`` divided by ``came``."""
    left: Interval
    """Predicted seconds that missed chances would have saved, for each reviewed solve."""


@dataclass(frozen=True, slots=True)
class FocusUptake:
    """Chances within a focus: how many came and were taken, and their price."""

    techniques: tuple[str, ...]
    within_s: float
    came: int
    taken: int
    share: Interval | None
    """``taken`` divided by ``came``; None if no chance came."""
    price: Interval | None
    """Mean seconds by which a chance was slower than the best plan; predicted."""


@dataclass(frozen=True, slots=True)
class Trends:
    """The trends of many solves."""

    solves: int
    times: int
    """Solves with a time, without DNF."""
    first: str
    """When the first solve began: ISO 8601 in UTC; empty if unknown."""
    last: str
    """When the last solve began."""
    days: tuple[str, str]
    """Local dates of both."""
    resampled: Literal["sessions", "solves"]
    """Units that the bootstrap draws: whole sessions (or days) if there are enough of them."""
    figures: tuple[Figure, ...]
    counts: tuple[tuple[float, float, int], ...]
    """Distribution of the times: from, to (seconds), how many."""
    periods: tuple[Period, ...]
    reviewed: int
    """Solves with known chances."""
    left: Interval | None
    """Predicted seconds that the best missed chances of the pairs would save, for each reviewed
    solve."""
    techniques: tuple[Uptake, ...]
    slots: tuple[Uptake, ...]
    focus: FocusUptake | None = None
    """None: no focus was asked for."""
    worth: tuple[TechniqueWorth, ...] = ()
    """What techniques are worth, measured."""
    losses: Losses | None = None
    """What practising would bring; None: not asked for."""


@dataclass(frozen=True, slots=True)
class Month:
    """Thirty days in few figures."""

    mean: float | None
    """Seconds; None if no solve has a time."""
    times: int
    """Solves with a time, without DNF."""
    reviewed: int
    """Solves with known chances."""
    came: int
    """Chances in them, counted for each technique and slot."""
    taken: int
