"""When to speak: an opportunity is told at a settled position, once, the best one first."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

from livecube.stages.progress import Progress

if TYPE_CHECKING:
    from livecube.advice.opportunity import Advice, Opportunity
    from livecube.stages.progress import Turned

__all__ = ["Happening", "Speaker", "Spoken"]

_SLOTS = 4


@dataclass(frozen=True, slots=True)
class Spoken:
    """An opportunity that is worth saying now."""

    t: float
    opportunity: Opportunity


Happening: TypeAlias = Progress | Spoken
"""All that the pipeline tells."""


class Speaker:
    """Decides what of the advice is said."""

    def __init__(self) -> None:
        self._said: tuple[str, tuple[str, ...]] | None = None

    def forget(self) -> None:
        """Another solve: nothing has been said yet."""
        self._said = None

    def listens(self, turned: Turned) -> bool:
        """Whether advice is wanted: the cross is whole at some offset, a slot is free."""
        return turned.offset is not None and len(turned.solved_slots) < _SLOTS

    def speak(self, t: float, advice: Advice) -> list[Spoken]:
        """The best opportunity that no rule silences, unless it was the last one said."""
        best = next((row for row in advice.opportunities if not row.silenced), None)
        if best is None:
            return []
        if self._said == (best.technique, best.slots):
            return []
        self._said = best.technique, best.slots
        return [Spoken(t, best)]
