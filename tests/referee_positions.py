"""Positions for the referee, made by legal turns only: at all stages and offsets, and between."""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import dataclass
from itertools import cycle
from typing import TYPE_CHECKING, Final

from referee import TECHNIQUES
from referee_cube import FACES, OPPOSITE, SUFFIXES, View

if TYPE_CHECKING:
    from collections.abc import Iterator

__all__ = ["KINDS", "Place", "places_for"]


@dataclass(frozen=True)
class Place:
    """A position, as turns from solved, and the face of its cross."""

    turns: str
    down: str

    @property
    def view(self) -> View:
        """The position as the referee sees it."""
        return View.after(self.turns, self.down)


def _inserted(rng: random.Random, down: str) -> list[str]:
    """Corners and edges moved in and out, with or without turns of the cross layer between.

    Every part is a side face, the upper face and the side face back, so the cross stays whole. A
    corner that went in through another slot is out of its own.
    """
    up = OPPOSITE[down]
    sides = [face for face in FACES if face not in (down, up)]
    turns: list[str] = []
    for _ in range(rng.randint(1, 4)):
        side, there = rng.choice(sides), rng.randrange(2)
        if rng.random() < 0.5:
            turns.append(up + rng.choice(SUFFIXES))
        if rng.random() < 0.4:
            turns.append(down + rng.choice(SUFFIXES))
        turns += [side + "'"[:there], up + rng.choice(SUFFIXES), side + "'"[there:]]
    if rng.random() < 0.5:
        turns.append(down + rng.choice(SUFFIXES))
    return turns


def _interrupted(rng: random.Random, down: str) -> list[str]:
    """A position in the middle of a sequence, the cross usually broken."""
    return _inserted(rng, down) + _random(rng, rng.randint(1, 3))


def _scrambled(rng: random.Random, _: str) -> list[str]:
    """A few random turns from solved, so that the answer is within the limits."""
    return _random(rng, rng.randint(3, 7))


def _far(rng: random.Random, _: str) -> list[str]:
    return _random(rng, 25)


def _random(rng: random.Random, count: int) -> list[str]:
    return [rng.choice(FACES) + rng.choice(SUFFIXES) for _ in range(count)]


KINDS: Final = {
    "inserted": _inserted,
    "interrupted": _interrupted,
    "scrambled": _scrambled,
    "far": _far,
}
"""Makers of turns by name; all but the first nearly always leave the cross broken."""


def places_for(technique: str, seed: str, kind: str = "inserted") -> Iterator[Place]:
    """Endless positions of one kind in which the referee finds the technique possible.

    Cross colours take turns (the first depends on the kind). Offsets take turns too where the
    cross stays whole, so that rare offsets occur as often as common ones.
    """
    rng = random.Random(f"{technique} {kind} {seed}")
    first = 2 * list(KINDS).index(kind)
    seen: Counter[int | None] = Counter()
    for down in cycle(FACES[first:] + FACES[:first]):
        place = _possible(technique, rng, kind, down, seen)
        seen[place.view.offset] += 1
        yield place


def _possible(
    technique: str, rng: random.Random, kind: str, down: str, seen: Counter[int | None]
) -> Place:
    """A position of the kind in which the technique is possible, at a rare offset."""
    while True:
        place = Place(" ".join(KINDS[kind](rng, down)), down)
        view = place.view
        common = kind == "inserted" and seen[view.offset] > min(seen.values(), default=0) + 1
        if not common and TECHNIQUES[technique](view):
            return place
