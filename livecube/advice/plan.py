"""A plan as it is told: all free slots in the best order found, and how each is filled."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from livecube.cube.notation import moves_text

if TYPE_CHECKING:
    from livecube.advice.opportunity import Opportunity

__all__ = ["Plan"]


@dataclass(frozen=True, slots=True)
class Plan:
    """Steps from a position to the last pair, each held as the one before left the cube."""

    steps: tuple[Opportunity, ...]

    @property
    def slots(self) -> tuple[str, ...]:
        """The slots as they are filled."""
        return tuple(slot for step in self.steps for slot in (*step.slots, *step.also))

    @property
    def seconds(self) -> float:
        """Predicted seconds of turning of all steps."""
        return sum(step.seconds for step in self.steps)

    @property
    def looking(self) -> float:
        """Expected seconds of looking before all steps."""
        return sum(step.looking for step in self.steps)

    @property
    def total(self) -> float:
        """Turning and looking: what plans are ranked by."""
        return self.seconds + self.looking

    @property
    def turns(self) -> int:
        """Turns of all steps (HTM)."""
        return sum(step.turns for step in self.steps)

    def as_json(self) -> dict[str, Any]:
        """The object of machine-readable output."""
        return {
            "seconds": round(self.seconds, 3),
            "looking": round(self.looking, 3),
            "turns": self.turns,
            "steps": [
                {
                    "technique": step.technique,
                    "slots": [*step.slots, *step.also],
                    "moves": moves_text(step.moves),
                    "up": step.holding.up,
                    "front": step.holding.front,
                    "seconds": round(step.seconds, 3),
                    "looking": round(step.looking, 3),
                    "door": step.door,
                }
                for step in self.steps
            ],
        }
