"""When a scrambled cube has come to rest, so that somebody looks at it before a solve. Pure.

The caller keeps the time: nothing that happens until ``due`` means that the cube rests.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from livecube.events import AnyHolding, HoldingMark, Reset, SolveMark, State, Turn
from livecube.stages.progress import Resynced, SolveOver

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.events import CubeEvent
    from livecube.stages.progress import Progress
    from livecube.stages.tracker import Tracker

__all__ = ["Resting"]

_REST_S: Final = 3.0
"""Nobody pauses so long in the middle of a scramble (common practice, no published source)."""
_LONGEST_CROSS: Final = 8
"""Turns that a cross takes at most: a rest that comes sooner after another is within it."""


class Resting:
    """Watches a tracker's cube for rests before a solve."""

    def __init__(self, tracker: Tracker) -> None:
        self.due: float | None = 0.0 if tracker.before_solve else None
        """When the cube will have come to rest if nothing happens; None: it is not expected."""
        self._tracker = tracker
        self._rested: int | None = None
        """The turn line at which it last did."""

    def rest(self) -> None:
        """The time that ``due`` named has come."""
        self.due, self._rested = None, self._tracker.line

    def watch(self, event: CubeEvent, told: Sequence[Progress]) -> None:
        """Take in an event that the tracker was fed, and what it told."""
        if any(isinstance(progress, SolveOver | Resynced) for progress in told):
            self._rested = None
        match event:
            case Turn():
                self._expect(event.t + _REST_S)
            case SolveMark():
                self._expect(event.t)
            case State() | Reset() if told:
                self._expect(event.t)
            case HoldingMark() | AnyHolding() if self._rested == self._tracker.line:
                self._rested = None  # it is looked at anew, held otherwise
                self._expect(event.t)

    def _expect(self, t: float) -> None:
        again = self._rested is None or self._tracker.line > self._rested + _LONGEST_CROSS
        self.due = t if again and self._tracker.before_solve else None
