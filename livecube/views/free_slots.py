"""The free slots of a position in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from livecube.advice.pieces import slot_words
from livecube.cube.geometry import OPPOSITE
from livecube.cube.holding import Holding, parse_colour
from livecube.search.situation import Situation, slot_bits

if TYPE_CHECKING:
    from livecube.stages.progress import Turned

__all__ = ["free_slots"]


def free_slots(settled: Turned, holding: Holding | None) -> list[tuple[str, str]]:
    """Names of the slots that are free after a turn, and where the two pieces of each are.

    None are if no cross is followed. Places are told in a holding; None: the cross down, some
    front.
    """
    if settled.cross is None:
        return []
    face = parse_colour(settled.cross)
    if holding is None:
        front = next(f for f in range(6) if f not in (face, OPPOSITE[face]))
        holding = Holding.of(OPPOSITE[face], front)
    situation = Situation.of(np.frombuffer(settled.position, dtype=np.uint8), face)
    return [
        (situation.slot_name(slot), slot_words(situation, slot, holding))
        for slot in slot_bits(situation.free)
    ]
