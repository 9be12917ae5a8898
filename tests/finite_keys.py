"""Every question that can be asked with the cross whole at offset 0; no program code.

Up to rotation the target, or the first of two, is slot 0 at the front right. A key holds
everything that an answer depends on.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import chain, combinations
from typing import TYPE_CHECKING, Final

from finite_walks import CORNERS, EDGES
from referee_cube import FACELETS, FACES, dot, facelet

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

__all__ = ["CROSS", "HOMES", "Asked", "Key", "asked", "cubicle", "determinant", "keys", "left"]

SLOTS: Final = ("FR", "BR", "BL", "FL")
"""D takes the corner of each to the next one."""
HOMES: Final = [(facelet("D" + slot), facelet(slot)) for slot in SLOTS]
"""Corner and edge of each slot."""
CROSS: Final = tuple(facelet(name) for name in ("DF", "DR", "DB", "DL"))
SIDES: Final = FACES.replace("D", "")
"""All faces but that of the cross."""


@dataclass(frozen=True)
class Key:
    """One question, asked of one technique or of two at once."""

    techniques: tuple[str, ...]
    slots: tuple[int, ...]
    """The targets; the first is 0."""
    kept: tuple[int, ...]
    """S, the solved slots."""
    corner: int
    """Facelet on which the last target's corner lies."""
    edge: int
    """The same for the edge of slot 0."""
    doors: tuple[int, ...] | None = None
    """If the technique needs it: the other free slots whose corner is not solved."""


@dataclass(frozen=True)
class Asked:
    """The question of a technique: pieces as facelets, and how they may be solved."""

    still: tuple[int, ...]
    """Homes of solved pieces."""
    moving: tuple[int, ...]
    """Homes of the other pieces."""
    places: tuple[int, ...]
    """Facelets of these pieces now."""
    faces: str
    """Faces that may be turned in X, if the sequence is D^a X D^b."""
    before: tuple[int, ...] = (0,)
    """The ``a``."""
    after: tuple[int, ...] = (0,)
    """Offsets at which X may end."""
    tied: bool = False


def cubicle(place: int) -> tuple[int, int, int]:
    return FACELETS[place][0]


def _subsets(slots: Iterable[int]) -> Iterator[tuple[int, ...]]:
    every = tuple(slots)
    return chain.from_iterable(combinations(every, n) for n in range(len(every) + 1))


def left(places: Iterable[int], taken: Iterable[int]) -> list[int]:
    """The facelets of ``places`` whose cubicle is not among ``taken``."""
    cubicles = {cubicle(place) for place in taken}
    return [place for place in places if cubicle(place) not in cubicles]


def _places(corners: Iterable[int], edges: Iterable[int]) -> tuple[list[int], list[int]]:
    """Possible facelets of corners and edges if those of these slots are home."""
    return (
        left(CORNERS, [HOMES[slot][0] for slot in corners]),
        left(EDGES, [*CROSS, *(HOMES[slot][1] for slot in edges)]),
    )


def keys() -> Iterator[Key]:
    """Every key of every technique that is possible at offset 0."""
    for kept in _subsets((1, 2, 3)):
        free = [slot for slot in (1, 2, 3) if slot not in kept]
        yield from _pairs(kept)
        if free:
            yield from _corners(kept)
        for doors in _subsets(free):
            if doors:
                yield from _edges(kept, doors)
        for other in free:
            yield from _strangers(kept, other)


def _pairs(kept: tuple[int, ...]) -> Iterator[Key]:
    """Both pieces anywhere but home; blocks are separate keys."""
    for corner in _places(kept, kept)[0]:
        for edge in _places(kept, kept)[1]:
            if (corner, edge) != HOMES[0]:
                yield Key(("shortest", "plain"), (0,), kept, corner, edge)
                if _joined(corner, edge):
                    yield Key(("made-pair",), (0,), kept, corner, edge)


def _joined(corner: int, edge: int) -> bool:
    """Whether slot 0's pieces form a block outside it: the same to each other as at home."""
    if cubicle(edge) == cubicle(HOMES[0][1]):
        return False
    home, now = (
        [(dot(p, q), dot(n, q), dot(p, m), dot(n, m), determinant(p, n, m))]
        for (p, n), (q, m) in ((FACELETS[a], FACELETS[b]) for a, b in (HOMES[0], (corner, edge)))
    )
    return home == now


def determinant(u: tuple[int, int, int], v: tuple[int, int, int], w: tuple[int, int, int]) -> int:
    return dot(u, (v[1] * w[2] - v[2] * w[1], v[2] * w[0] - v[0] * w[2], v[0] * w[1] - v[1] * w[0]))


def _corners(kept: tuple[int, ...]) -> Iterator[Key]:
    corner, edge = HOMES[0]
    for place in _places(kept, (*kept, 0))[0]:
        if place != corner:
            yield Key(("keyhole-corner",), (0,), kept, place, edge)


def _edges(kept: tuple[int, ...], doors: tuple[int, ...]) -> Iterator[Key]:
    corner, edge = HOMES[0]
    for place in _places((*kept, 0), kept)[1]:
        if place != edge:
            flipped = cubicle(place) == cubicle(edge)
            technique = "keyhole-flip" if flipped else "keyhole-edge"
            yield Key((technique,), (0,), kept, corner, place, doors)


def _strangers(kept: tuple[int, ...], other: int) -> Iterator[Key]:
    corners, edges = _places((*kept, 0), (*kept, other))
    for corner in corners:
        for edge in edges:
            if corner != HOMES[other][0] and edge != HOMES[0][1]:
                yield Key(("pseudo-pair",), (0, other), kept, corner, edge)


def asked(key: Key, technique: str) -> Asked:
    """The question of the technique about a key."""
    kept = CROSS + tuple(piece for slot in key.kept for piece in HOMES[slot])
    corner, edge = HOMES[0]
    free = [slot for slot in (1, 2, 3) if slot not in key.kept]
    both = (key.corner, key.edge)
    match technique:
        case "shortest":
            return Asked(kept, HOMES[0], both, FACES)
        case "plain":
            return Asked(kept, HOMES[0], both, SIDES)
        case "made-pair":
            return Asked(kept, HOMES[0], both, SIDES, tied=True)
        case "keyhole-corner":
            return _by_door((*kept, edge), (corner,), (key.corner,), free)
        case "keyhole-edge" | "keyhole-flip":
            doors = [-door for door in key.doors or ()]
            return _by_door((*kept, corner), (edge,), (key.edge,), doors)
        case _:
            other, other_edge = HOMES[key.slots[1]]
            still = (*kept, corner, other_edge)
            return _by_door(still, (other, edge), both, [-key.slots[1]])


def _by_door(
    still: tuple[int, ...], moving: tuple[int, ...], places: tuple[int, ...], before: list[int]
) -> Asked:
    """D^a X D^b: ``before`` are the ``a``; by D a corner's home goes from slot 0 to slot 1."""
    turns = tuple(a % 4 for a in before)
    return Asked(still, moving, places, SIDES, turns, (0, 1, 2, 3))
