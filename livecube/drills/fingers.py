"""The ring-finger drill: short rounds of quarter turns of the bottom layer, timed by the cube.

The layer is held down. ``D`` is for the left ring finger, ``D'`` for the right one (common
practice, no published source). The first turn decides which layer it is. The times between
consecutive correct turns count. A wrong turn is a slip; the times around it do not count.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from statistics import fmean, stdev
from typing import TYPE_CHECKING, Final, TypeAlias

from livecube.cube.position import make_turn
from livecube.events import Moment, Turn

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.events import CubeEvent

__all__ = [
    "LEFT",
    "PATTERNS",
    "RIGHT",
    "FingerAsked",
    "FingerDrill",
    "FingerNews",
    "FingerRound",
    "FingerTurned",
    "FingersOver",
    "OfRound",
    "Pattern",
    "Sides",
]

LEFT: Final = 1
"""Quarters of ``D``."""
RIGHT: Final = 3
"""Quarters of ``D'``."""
STROKES: Final = 8
"""Turns of a round; few, to spare the fingers."""
_SETTLE_S: Final = 1.0
"""A turn this soon after a round is ignored: it is an extra turn of that round."""
_ERRORS: Final = 2.0
"""Left and right differ if their means differ by more than this many standard errors."""


@dataclass(frozen=True, slots=True)
class Pattern:
    """The turns of one round."""

    name: str
    """Which hand: *left*, *right* or *both in turn*."""
    quarters: tuple[int, ...]


PATTERNS: Final = (
    Pattern("left", (LEFT,) * STROKES),
    Pattern("right", (RIGHT,) * STROKES),
    Pattern("both in turn", (LEFT, RIGHT) * (STROKES // 2)),
)
"""The patterns of successive rounds, repeated in this order."""


@dataclass(frozen=True, slots=True)
class OfRound(Moment):
    """News of one round."""

    number: int
    """Number of the round, from 1."""


@dataclass(frozen=True, slots=True)
class FingerAsked(OfRound):
    """A round may begin when the solver is ready."""

    rounds: int
    pattern: Pattern


@dataclass(frozen=True, slots=True)
class FingerTurned(OfRound):
    """A turn of a round."""

    done: int
    """Correct turns of this round so far."""
    slip: bool
    """Whether this turn was wrong."""


@dataclass(frozen=True, slots=True)
class FingerRound(OfRound):
    """A round is over."""

    pattern: Pattern
    intervals: tuple[tuple[int, float], ...]
    """For each turn that counts: its quarters, and the seconds since the turn before."""
    slips: int

    @property
    def mean_s(self) -> float | None:
        """Mean seconds from turn to turn; None if no turn counts."""
        return fmean(self.seconds) if self.seconds else None

    @property
    def evenness(self) -> float | None:
        """Coefficient of variation of these times (0: perfectly even); None: too few turns."""
        mean = self.mean_s
        return stdev(self.seconds) / mean if mean and len(self.seconds) > 1 else None

    @property
    def seconds(self) -> tuple[float, ...]:
        """The times without the quarters."""
        return tuple(seconds for _, seconds in self.intervals)


@dataclass(frozen=True, slots=True)
class Sides:
    """Left and right compared, over all rounds of one hand."""

    left_s: float
    """Mean seconds from turn to turn."""
    right_s: float
    differ: bool
    """Whether they differ by more than twice the standard error of the difference."""


@dataclass(frozen=True, slots=True)
class FingersOver(Moment):
    """All rounds are done, or the drill was stopped after the last of these rounds."""

    rounds: tuple[FingerRound, ...]
    sides: Sides | None
    """None: too few turns to compare."""


FingerNews: TypeAlias = FingerAsked | FingerTurned | FingerRound | FingersOver


class FingerDrill:
    """A drill of ``rounds`` rounds on one cube; fed with its events."""

    def __init__(self, rounds: int) -> None:
        self.number = 0
        """Number of the round that is asked for or under way; 0 before :meth:`begin`."""
        self.over = False
        self._rounds = rounds
        self._layer: int | None = None
        self._done: list[FingerRound] = []
        self._ended: float | None = None
        """When the round before ended."""
        self._at = self._slips = 0
        self._before: float | None = None
        """When the turn before was made; None if the time since then does not count."""
        self._intervals: list[tuple[int, float]] = []

    def begin(self, t: float) -> list[FingerNews]:
        """Ask for the next round."""
        self.number += 1
        self._clear()
        return [FingerAsked(t, self.number, self._rounds, self._pattern)]

    def give_up(self, t: float) -> list[FingerNews]:
        """Begin this round again, with any layer."""
        self._clear()
        self._layer = None
        return [FingerAsked(t, self.number, self._rounds, self._pattern)] if self.number else []

    def feed(self, event: CubeEvent) -> list[FingerNews]:
        """Take in an event; returns the news that it causes."""
        if not isinstance(event, Turn) or self.over or not self.number:
            return []
        if self._ended is not None and event.t - self._ended < _SETTLE_S:
            return []
        face, quarters = event.turn // 3, event.turn % 3 + 1
        wanted = self._pattern.quarters[self._at]
        if self._layer is None and quarters == wanted:
            self._layer = face
        if self._layer is None or event.turn != make_turn(self._layer, wanted):
            self._slips += 1
            self._before = None
            return [FingerTurned(event.t, self.number, self._at, slip=True)]
        if self._before is not None:
            self._intervals.append((quarters, event.t - self._before))
        self._before, self._ended = event.t, None
        self._at += 1
        told: list[FingerNews] = [FingerTurned(event.t, self.number, self._at, slip=False)]
        return told if self._at < len(self._pattern.quarters) else told + self._end(event.t)

    def finish(self) -> list[FingerNews]:
        """End the drill early; returns the figures of the complete rounds, if there are any."""
        if self.over or not self._done:
            return []
        self.over = True
        return [FingersOver(self._done[-1].t, tuple(self._done), _sides(self._done))]

    @property
    def _pattern(self) -> Pattern:
        return PATTERNS[(self.number - 1) % len(PATTERNS)]

    def _clear(self) -> None:
        self._at = self._slips = 0
        self._before = None
        self._intervals = []

    def _end(self, t: float) -> list[FingerNews]:
        done = FingerRound(t, self.number, self._pattern, tuple(self._intervals), self._slips)
        self._done.append(done)
        self._ended = t
        if self.number < self._rounds:
            return [done, *self.begin(t)]
        self.over = True
        return [done, FingersOver(t, tuple(self._done), _sides(self._done))]


def _sides(rounds: Sequence[FingerRound]) -> Sides | None:
    left, right = (
        [seconds for one in rounds if one.pattern.name == name for seconds in one.seconds]
        for name in ("left", "right")
    )
    if min(len(left), len(right)) < 2:
        return None
    error = sqrt(stdev(left) ** 2 / len(left) + stdev(right) ** 2 / len(right))
    means = fmean(left), fmean(right)
    return Sides(*means, differ=abs(means[0] - means[1]) > _ERRORS * error)
