"""Seeded setups: turns on the solved cube that leave a white cross and broken pairs.

Each is made of small steps that keep the cross: a face turn that opens a slot, a turn of the
upper layer, the face turn back; between two turns of the cross layer such a step breaks the
edge of one slot and the corner of another. For inspection some turns follow that scatter the
cross. What can be done in a setup is for the search to say.
"""

from __future__ import annotations

import random
from functools import cache
from typing import TYPE_CHECKING, Final

from livecube.cube.geometry import FACES
from livecube.cube.position import SOLVED, apply_turns
from livecube.cube.turns import inverse_turn, make_turn
from livecube.search.situation import Situation

if TYPE_CHECKING:
    from collections.abc import Iterator

__all__ = ["WHITE", "broken_pairs", "random_turns", "setups"]

WHITE: Final = FACES.index("U")
"""The examples' cross colour, as its fixed face."""

_SETUPS: Final = 250
_INSPECTION: Final = {"x-cross": 4, "pseudo-x-cross": 3}
"""How many turns scatter the cross for techniques of the inspection."""
_FREE: Final = {"keyhole-chain": 3}
"""How many slots are broken for techniques that one or two cannot show."""
_IN_INSPECTION: Final = 16
"""Setups in inspection, which take longer to search."""


def setups(technique: str) -> Iterator[tuple[int, ...]]:
    """Fixed-frame turns of the setups for one technique, always the same ones."""
    rng = random.Random(technique)
    scattered = _INSPECTION.get(technique, 0)
    down = Situation.of(SOLVED, WHITE)
    for _ in range(_IN_INSPECTION if scattered else _SETUPS):
        slots = 4 if scattered else _FREE.get(technique, rng.randint(1, 2))
        turns = broken_pairs(rng, slots)
        yield down.fixed([*turns, *random_turns(rng, scattered)])


def broken_pairs(rng: random.Random, slots: int, steps: int | None = None) -> list[int]:
    """Steps that break pairs of so many slots (1 to 4), and a turn of the upper layer.

    ``steps``: how many; None: as many as slots, or up to two more.

    Down-frame turns on the solved cube; the cross stays whole and aligned.
    """
    open_slots = rng.sample(range(4), slots)
    turns: list[int] = []
    for _ in range(rng.randint(slots, slots + 2) if steps is None else steps):
        edge, corner = rng.choice(open_slots), rng.choice(open_slots)
        aside = edge - corner
        turns += [*_layer("D", aside), *rng.choice(_steps()[edge]), *_layer("D", -aside)]
    return turns + _layer("U", rng.randrange(4))


def random_turns(rng: random.Random, count: int) -> list[int]:
    """Turns of faces of which no two neighbours are equal or opposite."""
    turns: list[int] = []
    axes: tuple[int, ...] = ()
    for _ in range(count):
        face = rng.choice([f for f in range(6) if f not in axes])
        axes = (face, FACES.index("DRBLFU"[face]))
        turns.append(make_turn(face, rng.randint(1, 3)))
    return turns


def _layer(face: str, quarters: int) -> list[int]:
    return [make_turn(FACES.index(face), quarters)] if quarters % 4 else []


@cache
def _steps() -> tuple[tuple[tuple[int, ...], ...], ...]:
    """For each slot the steps of three turns that open it and no other."""
    result: list[list[tuple[int, ...]]] = [[], [], [], []]
    for side in "FRBL":
        for quarters in (1, 3):
            opening = make_turn(FACES.index(side), quarters)
            for upper in _layer("U", 1) + _layer("U", 2) + _layer("U", 3):
                step = (opening, upper, inverse_turn(opening))
                opened = Situation.of_down(apply_turns(SOLVED, step), WHITE).free
                if opened.bit_count() == 1:
                    result[opened.bit_length() - 1].append(step)
    return tuple(map(tuple, result))
