"""Hints by degrees: first where to look, then what there is, then the moves. Pure.

The caller keeps the time: it calls :meth:`Degrees.wake` at the time that ``due`` names.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

from livecube.advice.said import Adjusted, Clue, Degree, Planned, Spoken, Taken, Withdrawn
from livecube.stages.progress import Resynced, SolveOver, Turned

if TYPE_CHECKING:
    from collections.abc import Iterable

    from livecube.advice.said import Happening

__all__ = ["STEP_S", "Degrees"]

STEP_S: Final = 2.0
"""Seconds from one degree to the next: long enough to look once more, short enough for a pause
between two pairs (common practice, no published source)."""


class Degrees:
    """Tells hints little by little; a turn puts off what is pending until the hands stop again."""

    def __init__(self, step_s: float = STEP_S) -> None:
        self.due: float | None = None
        """When the next degree is to be told; None: there is nothing to tell."""
        self._step_s = step_s
        self._hint: Spoken | None = None
        """The hint that stands."""
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

    def go_on(self, t: float) -> None:
        """The hands have stopped at ``t`` while the hint stands: its next degree may come."""
        if self._hint is not None and self.due is None and self._degree != Degree.MOVES:
            self.due = t + self._step_s

    def _pass(self, happening: Happening) -> list[Happening]:
        match happening:
            case Spoken():
                self._hint, self._degree = happening, Degree.WHERE
                self.due = happening.t + self._step_s
                return [self._told(happening, happening.t)]
            case Adjusted():
                if self._hint is not None:
                    self._hint = replace(self._hint, opportunity=happening.opportunity)
                if self._degree != Degree.MOVES:
                    return []
            case Planned():
                return []  # it would tell too much
            case Turned():
                self.due = None
            case Taken() | Withdrawn() | Resynced() | SolveOver():
                self._hint = self.due = None
        return [happening]

    def _told(self, hint: Spoken, t: float) -> Happening:
        if self._degree == Degree.MOVES:
            return replace(hint, t=t)
        return Clue(t, hint.opportunity, self._degree)
