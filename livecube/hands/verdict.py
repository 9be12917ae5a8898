"""Whether one's own prices predict better than the usual ones. Pure, numpy only."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from livecube.hands.executions import Array

__all__ = ["Verdict", "judged"]


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
        needed = 1.96 + 2.37 / free + 2.8 / free**2  # Student's quantile, to about 1 %
        return bool(mean > needed * np.sqrt(variance))

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
