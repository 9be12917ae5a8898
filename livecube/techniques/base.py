"""What a technique is: when it is possible, and what it asks of the search.

A technique is a value with an ``id`` and a function ``chances``: from a situation to the
slots that it can fill now, each with the search task whose answers are its sequences.
*Solved* means up to the present offset throughout; S are the slots solved now, the others
are *free*.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from livecube.search.situation import Situation
    from livecube.search.task import Task

__all__ = ["Chance", "Technique", "goal_bits"]


@dataclass(frozen=True, slots=True)
class Chance:
    """A technique that is possible now."""

    technique: str
    slots: tuple[int, ...]
    """Slots that it fills."""
    task: Task
    why: str
    """What can be seen that makes it possible, as one clause."""
    then: str | None = None
    """Technique that goes on from where this one ends, into the same slots; what is reported
    is both together. The task is then the first part only."""


class Technique(Protocol):
    """One way to fill a slot."""

    @property
    def id(self) -> str:
        """Name of the technique, as in logs and machine-readable output."""
        ...

    @property
    def in_inspection(self) -> bool:
        """Whether it is looked for in inspection only, where there is time."""
        ...

    def chances(self, situation: Situation) -> list[Chance]:
        """The chances that the situation offers; empty if there are none."""
        ...


def goal_bits(slots: int) -> int:
    """Goal of a task: corners and edges of the slots whose bits are set."""
    return slots | slots << 4
