"""Hints by degrees: first where to look, then what there is, then the moves. Pure.

The caller keeps the time: it calls :meth:`Degrees.wake` at the time that ``due`` names.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from livecube.advice.speaker import Clue, Degree, Spoken, Withdrawn
from livecube.stages.progress import Resynced, SolveOver, Turned

if TYPE_CHECKING:
    from collections.abc import Iterable

    from livecube.advice.speaker import Happening

__all__ = ["STEP_S", "Degrees"]

STEP_S: Final = 2.0
"""Seconds from one degree to the next: long enough to look once more, short enough for a pause
between two pairs (common practice, no published source)."""


class Degrees:
    """Tells hints little by little; what is pending is dropped as soon as the cube is turned."""

    def __init__(self, step_s: float = STEP_S) -> None:
        self.due: float | None = None
        """When the next degree is to be told; None: there is nothing to tell."""
        self._step_s = step_s
        self._hint: Spoken | None = None
        """The hint for the present position."""
        self._degree = Degree.MOVES
        """How much of it has been told."""

    def pass_on(self, happenings: Iterable[Happening]) -> list[Happening]:
        """Happenings in order, each new hint reduced to its first degree."""
        return [told for happening in happenings for told in self._pass(happening)]

    def wake(self) -> list[Happening]:
        """It is the time that ``due`` named: the next degree."""
        hint, t = self._hint, self.due
        if hint is None or t is None:
            return []
        self._degree = Degree(self._degree + 1)
        self.due = None if self._degree == Degree.MOVES else t + self._step_s
        return [self._told(hint, t)]

    def _pass(self, happening: Happening) -> list[Happening]:
        match happening:
            case Spoken():
                return self._new(happening)
            case Turned() | Withdrawn() | Resynced() | SolveOver():
                self._hint = self.due = None
        return [happening]

    def _new(self, hint: Spoken) -> list[Happening]:
        """A hint: the first degree of it, or as much as was told of the one that it refines."""
        before, self._hint = self._hint, hint
        if before is None or before.opportunity.slots != hint.opportunity.slots:
            self._degree = Degree.WHERE
            self.due = hint.t + self._step_s
        elif self._degree == Degree.WHERE:
            return []
        return [self._told(hint, hint.t)]

    def _told(self, hint: Spoken, t: float) -> Happening:
        if self._degree == Degree.MOVES:
            return Spoken(t, hint.opportunity, hint.also, hint.inspection)
        return Clue(t, hint.opportunity, self._degree)
