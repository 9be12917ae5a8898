"""What a technique is: when it is possible, and what it asks of the search.

A technique is a value with an ``id`` and a function ``chances``: from a situation to the
slots that it can fill now, each with the search task whose answers are its sequences. With an
attribute ``about`` it says how people call it and explains itself.
*Solved* means up to the present offset throughout; S are the slots solved now, the others
are *free*.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from typing import TYPE_CHECKING, NamedTuple, Protocol

if TYPE_CHECKING:
    from livecube.search.situation import Situation
    from livecube.search.task import Task

__all__ = ["About", "Chance", "Level", "Technique", "about", "goal_bits"]


class Level(IntEnum):
    """How much the solver wants to hear."""

    CALM = 1
    """Plain pairs and the keyholes that are easiest to see."""
    KEEN = 2
    """All keyholes, and the X-cross."""
    BOLD = 3
    """Pseudo pairs and pseudo X-crosses too, which need fast eyes."""


@dataclass(frozen=True, slots=True)
class About:
    """A technique in words: paragraphs are one line each, numbers of turns left to examples."""

    title: str
    """How people call it."""
    level: Level = Level.CALM
    """From which level on it is spoken of."""
    summary: str = ""
    """One line for a list."""
    seeing: str = ""
    """First paragraph: what it is and how to see it."""
    paying: str = ""
    """Second paragraph: when it pays and when it does not."""


class Chance(NamedTuple):
    """A technique that is possible now."""

    technique: str
    slots: tuple[int, ...]
    """Slots that it fills."""
    task: Task
    why: str
    """What can be seen that makes it possible, as one clause."""
    doors: tuple[int | None, ...] = (None,) * 4
    """For a keyhole the free slot through which it goes if it begins with D^a, for each a."""
    then: tuple[str, ...] = ()
    """Techniques of which one goes on from where this one ends; what is reported is both
    together. The task is then the first part only."""
    then_into: tuple[int, ...] = ()
    """Slots that the technique that goes on fills."""


class Technique(Protocol):
    """One way to fill a slot; it may also have an attribute ``about``, see :func:`about`.

    A technique whose attribute ``sees_only_state`` is true can be part of a plan: its chances then
    follow from the situation's face, offset, corners, edges, flipped and joined, and from nothing
    else. One whose attribute ``is_yardstick`` is true is shown beside the others and never
    advised.
    """

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


def about(technique: Technique) -> About:
    """What a technique says of itself; one that says nothing is called by its name."""
    words = getattr(technique, "about", None)
    return words if isinstance(words, About) else About(technique.id)


def goal_bits(slots: int) -> int:
    """Goal of a task: corners and edges of the slots whose bits are set."""
    return slots | slots << 4
