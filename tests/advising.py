"""Advisors for tests; slow loading happens once in a process."""

from __future__ import annotations

from functools import cache, reduce
from typing import TYPE_CHECKING

from livecube.advice.advisor import Advisor
from livecube.composition.assembly import load_advisor
from livecube.cube.geometry import FACES
from livecube.cube.holding import HOLDINGS, Holding
from livecube.techniques.base import Level
from livecube.techniques.registry import TECHNIQUES

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.cube.holding import Move
    from livecube.hands.automaton import Automaton
    from livecube.techniques.base import Technique

__all__ = ["advisor_at", "written_ms"]


@cache
def _loaded() -> Advisor:
    return load_advisor()


def advisor_at(level: Level = Level.CALM, techniques: Sequence[Technique] = TECHNIQUES) -> Advisor:
    """An advisor of its own for the usual hands, over tables that all share."""
    loaded = _loaded()
    return Advisor(loaded.answers.twin(), techniques, level, loaded.engine.twin())


def written_ms(hands: Automaton, moves: Sequence[Move], holding: Holding, cross: int) -> int:
    """The table's price of written moves, until the cross of face ``cross`` is down again."""
    ends = HOLDINGS.index(reduce(Holding.after, moves, holding))
    rotations = [
        int(hands.rotation_ms[ends, number])
        for number, held in enumerate(HOLDINGS)
        if held.hand_face(cross) == FACES.index("D")
    ]
    return hands.sequence_ms(moves) + min(rotations)
