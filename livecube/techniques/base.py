"""The interface of a technique: when it is possible, and its task for the search.

A technique is a value with an ``id`` and a function ``chances``: from a situation to the slots
that it can fill now, each with the search task whose answers are its sequences. An attribute
``about`` gives its title and explains it. All other decisions of the program about a technique
depend on its :class:`Traits`, never on its name. *Solved* means up to the present offset
throughout; S are the slots solved now, the others are *free*.
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
    """Which techniques the solver wants to be told of."""

    CALM = 1
    """Plain pairs and the keyholes that are easiest to see."""
    KEEN = 2
    """All keyholes, and the X-cross."""
    BOLD = 3
    """Pseudo pairs and pseudo X-crosses too, which need fast eyes."""


@dataclass(frozen=True, slots=True)
class About:
    """A technique in words: each paragraph is one line; examples, not texts, count turns."""

    title: str
    """Its usual name."""
    level: Level = Level.CALM
    """The lowest level at which it is mentioned."""
    summary: str = ""
    """One line for a list."""
    seeing: str = ""
    """First paragraph: what it is and how to see it."""
    paying: str = ""
    """Second paragraph: when it pays and when it does not."""


@dataclass(frozen=True, slots=True)
class Showing:
    """Conditions for a position that serves as an example of a technique."""

    scattered: int = 0
    """How many turns scatter the cross first, for techniques of the inspection."""
    broken: int | None = None
    """How many slots are broken; None: one or two."""
    fewest_turns: int = 0
    """Fewest turns of the sequence: shorter ones explain nothing."""
    fewest_saved: int = 0
    """By how many turns it must beat the plain insertion of the same slot."""


_ANY: Final = Showing()


@dataclass(frozen=True, slots=True)
class Traits:
    """Properties of a technique that the rest of the program uses, beside its chances.

    A technique has an attribute of the same name for each trait that differs from its default.
    """

    in_inspection: bool = False
    """It is searched for only in inspection, where there is time."""
    sees_only_state: bool = False
    """Its chances depend only on the situation's face, offset, corners, edges, flipped and joined.
    Only such a technique can be part of a plan."""
    is_plain: bool = False
    """It is the way with which the others are compared."""
    is_ordinary: bool = False
    """A review does not mention it."""
    is_yardstick: bool = False
    """It is shown beside the others, but never advised or drilled."""
    is_keyhole: bool = False
    """One piece goes in while the cross layer is turned aside, and the layer is turned back."""
    begins_joined: bool = False
    """Its corner and edge are already joined when it begins."""
    begins_flipped: bool = False
    """Its edge is flipped in its slot when it begins. Random steps hardly ever lead there, so
    drills have to flip one."""
    inserts_alone: Literal["corner", "edge"] | None = None
    """The one piece that goes in, while the other is home."""
    named_by_hindsight: bool = False
    """Its name depends on how a pair was done, not on how it began."""
    showing: Showing = _ANY
    """Conditions for an example of it."""


USUAL: Final = Traits()
"""The traits of a technique that has only defaults."""


class Chance(NamedTuple):
    """A technique that is possible now."""

    technique: str
    slots: tuple[int, ...]
    """Slots that it fills."""
    task: Task
    why: str
    """The visible reason why it is possible, as one clause."""
    doors: tuple[int | None, ...] = (None,) * 4
    """For a keyhole: for each a, the free slot that is its door if it begins with D^a."""
    then: tuple[str, ...] = ()
    """Techniques of which one continues this one; both together are reported. The task is then
    only the first part."""
    then_into: tuple[int, ...] = ()
    """Slots that the continuing technique fills."""
    second: Task | None = None
    """The continuation as a task; both parts are searched together."""


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
    """A technique in words; one without ``about`` has its ``id`` as title."""
    words = getattr(technique, "about", None)
    return words if isinstance(words, About) else About(technique.id)


def traits(technique: Technique) -> Traits:
    """The traits of a technique, with defaults for those that it does not set."""
    return Traits(
        **{name: getattr(technique, name) for name in _TRAITS if hasattr(technique, name)}
    )


_TRAITS: Final = tuple(one.name for one in fields(Traits))


def within(title: str) -> str:
    """A title within a sentence: *keyhole corner*, but *X-cross*."""
    return title if title[1:2] == "-" else title[:1].lower() + title[1:]


def goal_bits(slots: int) -> int:
    """Goal of a task: corners and edges of the slots whose bits are set."""
    return slots | slots << 4
