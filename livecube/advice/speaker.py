"""When to speak: an opportunity is told at a settled position, once, the best one first.

It stays while the hands follow it, and is withdrawn when they turn away. A refined answer for
the same position replaces it only if it is another chance.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from typing import TYPE_CHECKING, Final, TypeAlias

from livecube.cube.turns import merge, turn_face
from livecube.holding.news import HeldNow
from livecube.stages.progress import Progress

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.advice.opportunity import Advice, Opportunity
    from livecube.advice.order import Order
    from livecube.stages.progress import Turned

__all__ = [
    "Clue",
    "Degree",
    "Happening",
    "Planned",
    "Speaker",
    "Spoken",
    "Unsaid",
    "Withdrawn",
    "follows",
]

_SLOTS: Final = 4
_ALSO: Final = 2
"""How many further chances are told beside the best."""


@dataclass(frozen=True, slots=True)
class Spoken:
    """An opportunity that is worth saying now."""

    t: float
    opportunity: Opportunity
    also: tuple[Opportunity, ...] = ()
    """The best ones for other slots; in inspection other ways to begin."""
    inspection: bool = False
    """Whether it says how the solve can begin."""


class Degree(IntEnum):
    """How much of a hint is told."""

    WHERE = 1
    """That there is something, and where to look."""
    WHAT = 2
    """The technique too."""
    MOVES = 3
    """Everything."""


@dataclass(frozen=True, slots=True)
class Clue:
    """A part of a hint, for whoever wants to find the rest."""

    t: float
    opportunity: Opportunity
    degree: Degree


@dataclass(frozen=True, slots=True)
class Unsaid:
    """What would have been said during the solve that is over now, in order."""

    t: float
    hints: tuple[Spoken, ...]


@dataclass(frozen=True, slots=True)
class Withdrawn:
    """What was said does not hold any more: the hands went another way."""

    t: float
    opportunity: Opportunity


@dataclass(frozen=True, slots=True)
class Planned:
    """In which orders the free slots can be filled from here, best first."""

    t: float
    orders: tuple[Order, ...]


Happening: TypeAlias = Progress | HeldNow | Spoken | Clue | Withdrawn | Unsaid | Planned
"""All that the pipeline tells."""


def follows(made: Sequence[int], advised: Sequence[int]) -> bool:
    """Whether turns are the beginning of a sequence; a half turn may be half done."""
    turns = [merged.turn for merged in merge(made)]
    if len(turns) > len(advised):
        return False
    if not turns:
        return True
    whole, last = turns[:-1], turns[-1]
    on_the_way = turn_face(last) == turn_face(advised[len(whole)])
    return on_the_way and list(advised[: len(whole)]) == whole


class Speaker:
    """Decides what of the advice is said, and when it is taken back."""

    def __init__(self) -> None:
        self._said: Opportunity | None = None
        self._made: list[int] = []
        """Turns since it was said."""
        self._opening = False
        """Whether it is about the beginning of a solve."""

    def forget(self) -> None:
        """Another solve, or the cube is held otherwise: nothing has been said yet."""
        self._said = None
        self._made = []
        self._opening = False

    def take_back(self, t: float) -> list[Withdrawn]:
        """The cube stands otherwise than it was thought to: nothing that was said holds."""
        said = self._said
        self.forget()
        return [] if said is None else [Withdrawn(t, said)]

    def begin(self) -> None:
        """A solve begins: only what was said about its beginning holds on."""
        if not self._opening:
            self.forget()

    def watch(self, turned: Turned) -> list[Withdrawn]:
        """Take in a turn; what was said is withdrawn if the turn leads away from it."""
        said = self._said
        if said is None:
            return []
        self._made.append(turned.turn)
        if follows(self._made, said.turns_fixed):
            return []
        self._said = None
        return [Withdrawn(turned.t, said)]

    def listens(self, turned: Turned) -> bool:
        """Whether advice is wanted: the cross is whole at some offset, a slot is free.

        On the way through what was said nobody needs anything new.
        """
        settled = turned.offset is not None and len(turned.solved_slots) < _SLOTS
        return settled and not self.under_way

    @property
    def under_way(self) -> bool:
        """Whether the hands are in the middle of what was said."""
        said = self._said
        if said is None or not self._made:
            return False
        return [m.turn for m in merge(self._made)] != list(said.turns_fixed)

    def speak(self, t: float, advice: Advice) -> list[Spoken]:
        """The best opportunity that no rule silences, unless it is what was just said."""
        rows = [row for row in advice.opportunities if not row.silenced]
        if not rows:
            return []
        best, said = rows[0], self._said
        if said is not None and not self._made and _same(said, best):
            return []
        self._said, self._made, self._opening = best, [], False
        return [Spoken(t, best, _for_other_slots(rows))]

    def open(self, t: float, rows: Sequence[Opportunity]) -> list[Spoken]:
        """Ways to begin a solve, the best one first."""
        if not rows:
            return []
        self._said, self._made, self._opening = rows[0], [], True
        return [Spoken(t, rows[0], tuple(rows[1:]), inspection=True)]


def _same(one: Opportunity, other: Opportunity) -> bool:
    return (one.technique, one.slots, one.turns_fixed) == (
        other.technique,
        other.slots,
        other.turns_fixed,
    )


def _for_other_slots(rows: Sequence[Opportunity]) -> tuple[Opportunity, ...]:
    """The best rows behind the first, no slot twice."""
    seen = {rows[0].slots}
    result: list[Opportunity] = []
    for row in rows[1:]:
        if row.slots not in seen and len(result) < _ALSO:
            seen.add(row.slots)
            result.append(row)
    return tuple(result)
