"""Figures of many solves, as values. Times are seconds; shares are from 0 to 1."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal, TypeAlias

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy as np
    import numpy.typing as npt

__all__ = [
    "SPLITS",
    "ChanceColumns",
    "Change",
    "Figure",
    "Interval",
    "Month",
    "Period",
    "SolveColumns",
    "Trends",
    "Unit",
    "Uptake",
    "Verdict",
]

SPLITS: Final = ("cross", "pairs", "orientation", "permutation")
"""The parts of a solve; the closing turn belongs to the permutation."""

Verdict: TypeAlias = Literal["better", "worse", "changed", "noise", "too few"]
"""Of a change; *changed* if neither direction is better."""
Unit: TypeAlias = Literal["seconds", "share", "number"]

Whole: TypeAlias = "npt.NDArray[np.int64]"


@dataclass(frozen=True, slots=True)
class SolveColumns:
    """Solves in the order in which they were made, a column for each figure, n rows."""

    number: Whole
    """In the history."""
    started: npt.NDArray[np.str_]
    """ISO 8601 in UTC; empty if nobody knows."""
    day: npt.NDArray[np.str_]
    """On which day that was where the solver is, ``2026-03-01``; empty likewise."""
    session: Whole
    """-1: of none."""
    ms: Whole
    """As measured."""
    turns: Whole
    plus: Whole
    """How many +2 count."""
    is_dnf: Whole
    """1 if the result is no time."""
    splits_ms: Whole
    """(n, 4) as in :data:`SPLITS`, pauses included; 0 where a stage was not measured."""
    pause_ms: Whole
    """All pauses before stages together."""
    whole: Whole
    """1 if all of its stages were measured; only then splits and pauses count."""


@dataclass(frozen=True, slots=True)
class ChanceColumns:
    """Chances that reviews found, a column for each figure."""

    solve: Whole
    stage: Whole
    technique: Whole
    """Which of ``techniques``."""
    slot: Whole
    """Which of ``slots``."""
    taken: Whole
    saved_ms: Whole
    """Predicted, against what was done."""
    techniques: Sequence[str]
    slots: Sequence[str]


@dataclass(frozen=True, slots=True)
class Interval:
    """A figure and the 95 % interval of its bootstrap; the ends are None with too few solves."""

    value: float
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class Change:
    """How a figure of the later half differs from that of the earlier half."""

    before: float
    after: float
    difference: Interval
    """After less before; the interval is wider than 95 %, since many figures are looked at."""
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
    """Of the times; None if there are none."""
    best: float | None
    deviation: float | None
    splits: tuple[float, ...] | None
    """Mean seconds of each as in :data:`SPLITS`; None if none was measured."""
    pause: float | None
    """Share of the time."""


@dataclass(frozen=True, slots=True)
class Uptake:
    """What became of the chances of one technique, or in one slot."""

    name: str
    came: int
    taken: int
    share: Interval
    """Taken of came."""
    left: Interval
    """Predicted seconds that the chances not taken would have saved, a reviewed solve."""


@dataclass(frozen=True, slots=True)
class Trends:
    """All of it."""

    solves: int
    times: int
    first: str
    """When the first solve was made."""
    last: str
    days: tuple[str, str]
    """The days of both where the solver is."""
    resampled: Literal["sessions", "solves"]
    """What the bootstrap draws: whole sessions (or days) if there are enough of them."""
    figures: tuple[Figure, ...]
    counts: tuple[tuple[float, float, int], ...]
    """Distribution of the times: from, to (seconds), how many."""
    periods: tuple[Period, ...]
    reviewed: int
    """Solves of which chances are known."""
    left: Interval | None
    """Predicted seconds a reviewed solve that the best missed chance of each pair would save."""
    techniques: tuple[Uptake, ...]
    slots: tuple[Uptake, ...]


@dataclass(frozen=True, slots=True)
class Month:
    """Thirty days in few figures."""

    mean: float | None
    """Seconds; None if no solve has a time."""
    times: int
    """Solves with a time, without DNF."""
    reviewed: int
    """Solves of which chances are known."""
    came: int
    """Chances in them, each technique and slot by itself."""
    taken: int
