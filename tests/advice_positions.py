"""Positions for the check of the advice: random states, half-built ones, solves turn by turn."""

from __future__ import annotations

import random
from dataclasses import dataclass
from itertools import accumulate
from typing import TYPE_CHECKING, Final

import numpy as np
from referee_cube import COLOURS, FACES, OPPOSITE
from referee_positions import KINDS, Place

from livecube.cube.position import turn_name
from livecube.virtual.solver import solve

if TYPE_CHECKING:
    from collections.abc import Iterator

__all__ = ["SOURCES", "Case", "cases"]

SOURCES: Final = ("solve", "inserted", "solve", "interrupted", "solve", "inserted", "scrambled",
                  "solve", "inserted", "far")  # fmt: skip
"""Sources of positions, used in turn; ``solve`` is a virtual solve, turn by turn."""


@dataclass(frozen=True)
class Case:
    """A position and how the advisor is asked about it."""

    place: Place
    source: str
    holding: tuple[str, str] | None
    """Colours up and in front; None: the cheapest holding."""
    inspection: bool


def _solves(seed: str) -> Iterator[Place]:
    """Virtual solves one after the other: the start and the position after every turn."""
    rng = np.random.default_rng(list(seed.encode()))
    while True:
        one = solve(rng)
        names = [turn_name(turn) for turn in one.scramble]
        solving = [turn_name(turn.turn) for turn in one.solving]
        for turns in accumulate([names, *([name] for name in solving)]):
            yield Place(" ".join(turns), FACES[one.cross])


def cases(seed: str) -> Iterator[Case]:
    """Endless cases; cross colours take turns where the position does not decide them.

    Every third case has a given holding, any of the 24; every 61st asks for inspection.
    """
    rng = random.Random(f"advice {seed}")
    solves = _solves(seed)
    number = 0
    while True:
        for source in SOURCES:
            down = FACES[number // len(SOURCES) % 6]
            made = source != "solve"
            place = Place(" ".join(KINDS[source](rng, down)), down) if made else next(solves)
            holding = _holding(rng) if number % 3 == 0 else None
            yield Case(place, source, holding, number % 61 == 60)
            number += 1


def _holding(rng: random.Random) -> tuple[str, str]:
    up = rng.choice(FACES)
    front = rng.choice([face for face in FACES if face not in (up, OPPOSITE[up])])
    return COLOURS[up], COLOURS[front]
