"""What is asked about a position, with all that goes with each question.

The techniques of livecube look at nothing but which pieces are home, joined or flipped, and so
the same questions come back in solve after solve: they are made once and kept.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, TypeAlias

import numpy as np

from livecube.search.task import task_rows
from livecube.techniques.base import Level

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import numpy.typing as npt

    from livecube.search.situation import Situation
    from livecube.techniques.base import Chance, Technique

__all__ = ["ChanceFinder", "Chances"]

Numbers: TypeAlias = "npt.NDArray[np.int64]"

_GENERAL: Final = {"plain": 1, "shortest": 2}
"""Of equal rows the one with the most special name comes first."""
_MAY_BE_SILENCED: Final = "keyhole-corner"
_MOST_KEPT: Final = 4096


@dataclass(frozen=True, slots=True)
class Chances:
    """Chances, and an entry for each of them in everything else."""

    each: tuple[Chance, ...]
    tasks: Numbers
    """Shape (n, FIELDS): the task of each, as the search reads it."""
    slots: Numbers
    """Bit s: slot s is filled."""
    general: Numbers
    """How general the name of its technique is; greater ones stand behind."""
    names: tuple[tuple[str, ...], ...]
    """Of the slots that are filled."""
    groups: Numbers
    """Which of them are other ways to do the same: they fill the same slots. A keyhole corner has
    a group of its own, for a rule may silence it."""
    doubles: npt.NDArray[np.bool_] | None
    """Which fill two slots; None if none does."""
    goes_on: bool
    """Whether one goes on by another technique."""

    @staticmethod
    def of(situation: Situation, chances: Sequence[Chance]) -> Chances:
        """What goes with the chances of a situation."""
        doubles = np.array([len(chance.slots) > 1 for chance in chances])
        return Chances(
            tuple(chances),
            task_rows([chance.task for chance in chances]),
            np.array([sum(1 << s for s in chance.slots) for chance in chances], dtype=np.int64),
            np.array([_GENERAL.get(chance.technique, 0) for chance in chances], dtype=np.int64),
            tuple(situation.slot_names(chance.slots) for chance in chances),
            _groups(chances),
            doubles if doubles.any() else None,
            any(chance.then for chance in chances),
        )


def _groups(chances: Sequence[Chance]) -> Numbers:
    known: dict[tuple[tuple[int, ...], bool], int] = {}
    of = [(chance.slots, chance.technique == _MAY_BE_SILENCED) for chance in chances]
    return np.array([known.setdefault(one, len(known)) for one in of], dtype=np.int64)


class ChanceFinder:
    """Finds what techniques can do in a situation. Not for two threads at once."""

    def __init__(self, techniques: Sequence[Technique], levels: Mapping[str, Level]) -> None:
        self._techniques = tuple(techniques)
        self._levels = levels
        self._keeps = all(getattr(technique, "sees_only_state", False) for technique in techniques)
        self._kept: dict[tuple[object, ...], Chances] = {}

    def find(
        self,
        situation: Situation,
        *,
        inspection: bool = False,
        hurry: bool = False,
        extra: int = 0,
        level: Level = Level.BOLD,
    ) -> Chances:
        """All chances; in a hurry none that goes on by another technique.

        ``extra``: also sequences up to so many turns longer than the shortest. ``level``: only
        techniques that this level speaks of.
        """
        if not self._keeps:
            return self._found(situation, inspection, hurry, extra, level)
        key = (
            situation.face, situation.offset, situation.corners, situation.edges,
            situation.flipped, situation.joined, inspection, hurry, extra, level,
        )  # fmt: skip
        found = self._kept.get(key)
        if found is None:
            if len(self._kept) == _MOST_KEPT:
                self._kept.clear()
            found = self._kept[key] = self._found(situation, inspection, hurry, extra, level)
        return found

    def _found(
        self, situation: Situation, inspection: bool, hurry: bool, extra: int, level: Level
    ) -> Chances:
        chances = [
            chance
            for technique in self._techniques
            if (inspection or not technique.in_inspection) and self._levels[technique.id] <= level
            for chance in technique.chances(situation)
            if not (hurry and chance.then)
        ]
        if extra:
            chances = [
                one._replace(task=one.task._replace(extra=max(one.task.extra, extra)))
                for one in chances
            ]
        return Chances.of(situation, chances)
