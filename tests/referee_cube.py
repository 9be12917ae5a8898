"""The referee's own cube: 54 facelets in space, sharing no code with the program.

A turn is a table of 256 bytes, a piece is the facelet on which one of its stickers lies, and
a state is the ``bytes`` of the pieces that matter, so that turning is
``state.translate(turn)``. Positions are given by turns from solved, in the fixed frame.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, cached_property
from itertools import product
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from collections.abc import Iterable

__all__ = [
    "AXES",
    "COLOURS",
    "FACELETS",
    "FACES",
    "OPPOSITE",
    "TURNS",
    "TURNS_OF",
    "Vector",
    "View",
    "clockwise",
    "dot",
    "facelet",
    "slots",
]

Vector = tuple[int, int, int]

FACES: Final = "ULFRBD"
COLOURS: Final = {
    "U": "white",
    "L": "orange",
    "F": "green",
    "R": "red",
    "B": "blue",
    "D": "yellow",
}
# x points to R, y to U, z to F.
AXES: Final[dict[str, Vector]] = {
    "U": (0, 1, 0),
    "L": (-1, 0, 0),
    "F": (0, 0, 1),
    "R": (1, 0, 0),
    "B": (0, 0, -1),
    "D": (0, -1, 0),
}
OPPOSITE: Final = {"U": "D", "D": "U", "L": "R", "R": "L", "F": "B", "B": "F"}
SUFFIXES: Final = ("", "2", "'")


def dot(v: Vector, w: Vector) -> int:
    """The scalar product."""
    return sum(a * b for a, b in zip(v, w, strict=True))


def clockwise(v: Vector, n: Vector) -> Vector:
    """``v`` after a quarter turn about ``n``, clockwise as seen from the tip of ``n``."""
    along = dot(v, n)
    cross = (v[1] * n[2] - v[2] * n[1], v[2] * n[0] - v[0] * n[2], v[0] * n[1] - v[1] * n[0])
    return (along * n[0] + cross[0], along * n[1] + cross[1], along * n[2] + cross[2])


FACELETS: Final[list[tuple[Vector, Vector]]] = [
    ((x, y, z), n)
    for x, y, z in product((-1, 0, 1), repeat=3)
    for n in AXES.values()
    if dot((x, y, z), n) == 1
]
"""Every facelet as (its small cube, the way it faces)."""


def _quarter(face: str) -> bytes:
    table = bytearray(range(256))
    n = AXES[face]
    for i, (p, m) in enumerate(FACELETS):
        if dot(p, n) == 1:
            table[i] = FACELETS.index((clockwise(p, n), clockwise(m, n)))
    return bytes(table)


def _turns() -> dict[str, bytes]:
    turns: dict[str, bytes] = {}
    for face in FACES:
        once = _quarter(face)
        twice = once.translate(once)
        turns |= {face: once, face + "2": twice, face + "'": twice.translate(once)}
    return turns


TURNS: Final = _turns()
TURNS_OF: Final = {face: [(face + s, TURNS[face + s]) for s in SUFFIXES] for face in FACES}


@cache
def facelet(faces: str) -> int:
    """The facelet on the first of ``faces`` of the piece that lies on all of them."""
    x, y, z = (sum(AXES[f][axis] for f in faces) for axis in range(3))
    return FACELETS.index(((x, y, z), AXES[faces[0]]))


@cache
def slots(down: str) -> dict[str, str]:
    """Side faces of each slot, by the slot's name."""
    sides = [f for f in FACES if f not in (down, OPPOSITE[down])]
    pairs = [(f, g) for f in sides for g in sides if g != OPPOSITE[f] and COLOURS[f] < COLOURS[g]]
    return {f"{COLOURS[f]}-{COLOURS[g]}": f + g for f, g in pairs}


@dataclass(frozen=True)
class View:
    """A position (``where[home]`` is the facelet on which that sticker lies) and a cross face."""

    where: bytes
    down: str

    @classmethod
    def after(cls, turns: str, down: str) -> View:
        """The position after ``turns`` from solved."""
        return cls(cls.played(bytes(range(len(FACELETS))), turns.split()), down)

    @cached_property
    def cross(self) -> list[int]:
        return [facelet(self.down + f) for f in FACES if f not in (self.down, OPPOSITE[self.down])]

    def corner(self, slot: str) -> int:
        return facelet(self.down + slots(self.down)[slot])

    def edge(self, slot: str) -> int:
        return facelet(slots(self.down)[slot])

    def homes(self, stickers: Iterable[int], offset: int) -> bytes:
        """The homes of these stickers after ``offset`` quarter turns of the cross layer."""
        return self.turned(bytes(stickers), offset)

    def turned(self, state: bytes, quarters: int) -> bytes:
        for _ in range(quarters % 4):
            state = state.translate(TURNS[self.down])
        return state

    @staticmethod
    def played(state: bytes, turns: Iterable[str]) -> bytes:
        for name in turns:
            state = state.translate(TURNS[name])
        return state

    def now(self, stickers: Iterable[int]) -> bytes:
        return bytes(self.where[s] for s in stickers)

    @cached_property
    def offset(self) -> int | None:
        fits = [k for k in range(4) if self.now(self.cross) == self.homes(self.cross, k)]
        return fits[0] if fits else None

    def corner_solved(self, slot: str) -> bool:
        corner = [self.corner(slot)]
        return self.offset is not None and self.now(corner) == self.homes(corner, self.offset)

    def edge_solved(self, slot: str) -> bool:
        """Whether an edge is at home; slot edges do not move with the cross layer."""
        return self.offset is not None and self.where[self.edge(slot)] == self.edge(slot)

    def edge_flipped(self, slot: str) -> bool:
        return self.where[self.edge(slot)] == facelet(slots(self.down)[slot][::-1])

    @cached_property
    def solved(self) -> list[str]:
        return [s for s in slots(self.down) if self.corner_solved(s) and self.edge_solved(s)]

    @cached_property
    def free(self) -> list[str]:
        return [s for s in slots(self.down) if s not in self.solved]

    def joined(self, slot: str) -> bool:
        """Corner and edge side by side, with one colour on each of the two faces that they share.

        Outside the slot: a corner above its slot may match the flipped edge inside it.
        """
        edge = self.edge(slot)
        if self.where[edge] == edge or self.edge_flipped(slot):
            return False
        shared = []
        for side in slots(self.down)[slot]:
            other = slots(self.down)[slot].replace(side, "")
            point, normal = FACELETS[self.where[facelet(side + self.down + other)]]
            place, facing = FACELETS[self.where[facelet(side + other)]]
            step = tuple(abs(a - b) for a, b in zip(point, place, strict=True))
            shared.append(normal == facing and sum(step) == 1)
        return all(shared)

    def door_turns(self, corner_of: str, under: str) -> set[int]:
        """The ``a`` for which D^a brings the home of a corner under a slot."""
        if self.offset is None:
            return set()
        home, place = [self.corner(corner_of)], bytes([self.corner(under)])
        return {a for a in range(4) if self.homes(home, self.offset + a) == place}
