"""What a technique is: when it is possible, and what it asks of the search.

A technique is a value with an ``id`` and a function ``chances``: from a situation to the
slots that it can fill now, each with the search task whose answers are its sequences. With an
attribute ``about`` it says how people call it and explains itself. Everything else that the
program decides by a technique is one of its :class:`Traits`; nobody asks for its name.
*Solved* means up to the present offset throughout; S are the slots solved now, the others
are *free*.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from enum import IntEnum
from typing import TYPE_CHECKING, Final, Literal, NamedTuple, Protocol

if TYPE_CHECKING:
    from livecube.search.situation import Situation
    from livecube.search.task import Task

__all__ = [
    "USUAL",
    "About",
    "Chance",
    "Level",
    "Showing",
    "Technique",
    "Traits",
    "about",
    "goal_bits",
    "traits",
    "within",
]


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


@dataclass(frozen=True, slots=True)
class Showing:
    """What a position must be like to serve as an example of a technique."""

    scattered: int = 0
    """How many turns scatter the cross first, for techniques of the inspection."""
    broken: int | None = None
    """How many slots are broken; None: one or two show it."""
    fewest_turns: int = 0
    """Shorter sequences solve themselves and show nothing."""
    fewest_saved: int = 0
    """By how many turns it must beat the plain insertion of the same slot."""


_ANY: Final = Showing()


@dataclass(frozen=True, slots=True)
class Traits:
    """What the rest of the program wants to know of a technique, beside its chances.

    A technique has an attribute of the same name for each that does not have its default.
    """

    in_inspection: bool = False
    """It is looked for in inspection only, where there is time."""
    sees_only_state: bool = False
    """Its chances follow from the situation's face, offset, corners, edges, flipped and joined,
    and from nothing else. Only such a technique can be part of a plan."""
    is_plain: bool = False
    """It is the way with which every other is compared."""
    is_ordinary: bool = False
    """Nobody needs to be told of it when the solve is over."""
    is_yardstick: bool = False
    """It is shown beside the others, and never advised or drilled."""
    is_keyhole: bool = False
    """One piece goes in while the cross layer is turned aside, and the layer is turned back."""
    begins_joined: bool = False
    """Its corner and edge are joined already when it begins."""
    begins_flipped: bool = False
    """Its edge stands in the slot the wrong way round when it begins. Random steps hardly ever
    lead to that, so that drills have to flip one."""
    inserts_alone: Literal["corner", "edge"] | None = None
    """The one piece that goes in, from elsewhere, while the other is home."""
    named_by_hindsight: bool = False
    """Its name depends on how a pair was done, not on how it began."""
    showing: Showing = _ANY
    """What an example of it must be like."""


USUAL: Final = Traits()
"""The traits of a technique that has only defaults."""


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
    """One way to fill a slot.

    It may also have an attribute ``about``, see :func:`about`, and some of :class:`Traits`.
    """

    @property
    def id(self) -> str:
        """Name of the technique, as in logs and machine-readable output."""
        ...

    def chances(self, situation: Situation) -> list[Chance]:
        """The chances that the situation offers; empty if there are none."""
        ...


def about(technique: Technique) -> About:
    """What a technique says of itself; one that says nothing is called by its name."""
    words = getattr(technique, "about", None)
    return words if isinstance(words, About) else About(technique.id)


def traits(technique: Technique) -> Traits:
    """The traits of a technique; the default of each that it says nothing about."""
    told = {one.name for one in fields(Traits) if hasattr(technique, one.name)}
    return Traits(**{name: getattr(technique, name) for name in told})


def within(title: str) -> str:
    """A title within a sentence: *keyhole corner*, but *X-cross*."""
    return title if title[1:2] == "-" else title[:1].lower() + title[1:]


def goal_bits(slots: int) -> int:
    """Goal of a task: corners and edges of the slots whose bits are set."""
    return slots | slots << 4
