"""Whether one's own prices predict better than the usual ones. Pure, numpy only."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import atan, cos, pi, sin, sqrt, tan
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from livecube.hands.executions import Array

__all__ = ["Verdict", "judged", "student"]

_NORMAL: Final = 1.959963984540054
"""The quantile of the normal distribution at 97.5 %."""
_MANY: Final = 1000


@lru_cache(maxsize=1000)
def student(free: int) -> float:
    """Student's quantile at 97.5 %, for degrees of freedom from 1 on.

    M. Abramowitz and I. A. Stegun, Handbook of Mathematical Functions (1964): up to 1000 degrees
    the angle is sought at which the finite sums 26.7.3 and 26.7.4 are 0.95, above them two terms of
    the expansion 26.7.5 are right to nine digits.
    """
    if free > _MANY:
        x = _NORMAL
        return x + (x**3 + x) / (4 * free) + (5 * x**5 + 16 * x**3 + 3 * x) / (96 * free * free)
    low, high = atan(_NORMAL / sqrt(free)), pi / 2
    while low < (middle := (low + high) / 2) < high:
        if _within(middle, free) < 0.95:
            low = middle
        else:
            high = middle
    return sqrt(free) * tan(low)


def _within(angle: float, free: int) -> float:
    """The probability that Student's t lies within ± √free · tan(angle)."""
    term = cos(angle) if free % 2 else 1.0
    total = 0.0
    for n in range(2 + free % 2, free + 1, 2):
        total += term
        term *= cos(angle) ** 2 * (n - 1) / n
    inside = sin(angle) * total
    return 2 / pi * (angle + inside) if free % 2 else inside


@dataclass(frozen=True, slots=True)
class Verdict:
    """Errors on solves that nothing was learned from, hesitations set aside."""

    solves: int = 0
    predicted: int = 0
    """Times that were predicted."""
    usual_ms: float = 0.0
    """Sum of the absolute differences between measured time and the usual prices."""
    own_ms: float = 0.0
    """The same with one's own prices."""
    squares: float = 0.0
    """Sum over solves of the square of usual less own."""

    @property
    def keeps(self) -> bool:
        """Whether one's own prices are better: by a t-test over solves, 2.5 % to be wrong."""
        free = self.solves - 1
        if free < 2:
            return False  # two solves prove nothing
        mean = (self.usual_ms - self.own_ms) / self.solves
        variance = max(self.squares / self.solves - mean**2, 0.0) / free
        return bool(mean > student(free) * np.sqrt(variance))

    def plus(self, other: Verdict) -> Verdict:
        """Both together."""
        return Verdict(
            self.solves + other.solves,
            self.predicted + other.predicted,
            self.usual_ms + other.usual_ms,
            self.own_ms + other.own_ms,
            self.squares + other.squares,
        )


def judged(usual_ms: Array, own_ms: Array, solve: Array) -> Verdict:
    """The verdict of predicted times: the errors of both, and the solve of each."""
    usual, own = np.abs(usual_ms), np.abs(own_ms)
    _, number = np.unique(solve, return_inverse=True)
    gain = np.bincount(number, usual - own)
    return Verdict(
        len(gain), len(usual), float(usual.sum()), float(own.sum()), float((gain**2).sum())
    )
