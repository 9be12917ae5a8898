"""When to take a break: after so many minutes of turning without a pause, or so many turns.

The usual values are common practice, no published source, and no medical advice.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

__all__ = ["BreakDue", "BreakRule", "BreakWatcher"]

_AGAIN: Final = 0.5
"""Who goes on is reminded again after this part of the limit."""


@dataclass(frozen=True, slots=True)
class BreakRule:
    """How much is enough; 0 sets no limit."""

    minutes: float = 30.0
    turns: int = 3000
    pause_minutes: float = 3.0
    """Hands that rest so long have had a break."""


@dataclass(frozen=True, slots=True)
class BreakDue:
    """It is time for a break."""

    minutes: float
    """Since the last one."""
    turns: int


class BreakWatcher:
    """Counts what the hands did since they last rested. Time is the caller's, in seconds."""

    def __init__(self, rule: BreakRule) -> None:
        self._rule = rule
        self._began: float | None = None
        self._last = 0.0
        self._turns = 0
        self._told = 0
        """How often since the last rest."""

    def turned(self, t: float) -> BreakDue | None:
        """Take in a turn; the reminder, if it is due now."""
        if self._began is None or t - self._last >= 60 * self._rule.pause_minutes:
            self._began, self._turns, self._told = t, 0, 0
        self._last = t
        self._turns += 1
        minutes = (t - self._began) / 60
        share = 1 + self._told * _AGAIN
        long = 0 < self._rule.minutes * share <= minutes
        many = 0 < self._rule.turns * share <= self._turns
        if not (long or many):
            return None
        self._told += 1
        return BreakDue(minutes, self._turns)
