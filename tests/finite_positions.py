"""A random cube for every key of :mod:`finite_keys`.

The pieces of the key are put in as if by hand, then the others, so that turns can reach the
position; no program code.
"""

from __future__ import annotations

import random
from itertools import combinations
from typing import TYPE_CHECKING, Final

from finite_keys import CROSS, HOMES, cubicle, determinant, left
from finite_walks import CORNERS, EDGES
from referee_cube import AXES, FACELETS, FACES, View

if TYPE_CHECKING:
    from finite_keys import Key

__all__ = ["letters", "view_of"]


def _ring(place: int) -> list[int]:
    """The facelets of a piece, clockwise, beginning with ``place``."""
    point, normal = FACELETS[place]
    others = [i for i, (p, n) in enumerate(FACELETS) if p == point and n != normal]
    if len(others) == 2:
        first, second = (FACELETS[i][1] for i in others)
        if determinant(normal, first, second) > 0:  # anticlockwise as seen from outside
            others.reverse()
    return [place, *others]


RINGS: Final = {place: _ring(place) for place in CORNERS + EDGES}


def _given(key: Key) -> dict[int, int]:
    """Where a key puts pieces, by home."""
    given = {home: home for home in CROSS}
    given |= {home: home for slot in key.kept for home in HOMES[slot]}
    given[HOMES[key.slots[-1]][0]] = key.corner
    given[HOMES[0][1]] = key.edge
    if len(key.slots) == 2:
        given |= {home: home for home in (HOMES[0][0], HOMES[key.slots[1]][1])}
    if key.doors is not None:
        given |= {HOMES[s][0]: HOMES[s][0] for s in (1, 2, 3) if s not in (*key.kept, *key.doors)}
    return given


def _as_the_key_says(key: Key, where: dict[int, int]) -> bool:
    corners, edges = (
        [where[home] == home for home in column] for column in zip(*HOMES, strict=True)
    )
    solved = [corner and edge for corner, edge in zip(corners, edges, strict=True)]
    doors = [slot for slot in (1, 2, 3) if not corners[slot]]
    return [s for s in range(4) if solved[s]] == list(key.kept) and (
        key.doors is None or doors == list(key.doors)
    )


def view_of(key: Key) -> View:
    """A random reachable position of a key."""
    chance = random.Random(repr(key))
    while True:
        where = _given(key)
        for column, kind in enumerate((CORNERS, EDGES)):
            _put(chance, where, [home[column] for home in HOMES], kind)
        if _as_the_key_says(key, where):
            return _finished(chance, where)


def _put(chance: random.Random, where: dict[int, int], homes: list[int], kind: list[int]) -> None:
    """Put the pieces of ``homes`` that have no place yet on random free facelets of their kind."""
    for home in homes:
        if home not in where:
            where[home] = chance.choice(left(kind, where.values()))


def _finished(chance: random.Random, where: dict[int, int]) -> View:
    """Put in the pieces of the upper layer, so that turns can reach the position."""
    tops = [[p for p in kind if FACELETS[p][1] == AXES["U"]] for kind in (CORNERS, EDGES)]
    for homes, kind in zip(tops, (CORNERS, EDGES), strict=True):
        _put(chance, where, homes, kind)
    a, b = tops[1][:2]
    if _odd(where, CORNERS) != _odd(where, EDGES):
        where[a], where[b] = where[b], where[a]
    for home, kind in ((tops[0][0], CORNERS), (a, EDGES)):
        while _twist(where, kind):
            where[home] = RINGS[where[home]][1]
    every = bytearray(range(len(FACELETS)))
    for home, place in where.items():
        for sticker, spot in zip(RINGS[home], RINGS[place], strict=True):
            every[sticker] = spot
    return View(bytes(every), "D")


def _odd(where: dict[int, int], kind: list[int]) -> bool:
    """Whether the pieces of a kind are an odd permutation."""
    goes = {cubicle(home): cubicle(place) for home, place in where.items() if home in kind}
    order = sorted(goes)
    places = [order.index(goes[home]) for home in order]
    return sum(a > b for a, b in combinations(places, 2)) % 2 == 1


def _reference(place: int) -> int:
    """How many steps clockwise a facelet is from its cubicle's facelet in U or D, or F or B."""
    ring = RINGS[place]
    faces = [next(f for f, n in AXES.items() if n == FACELETS[spot][1]) for spot in ring]
    first = next(f for f in "UDFB" if f in faces)
    return -faces.index(first) % len(ring)


def _twist(where: dict[int, int], kind: list[int]) -> int:
    """The sum of all twists or flips of a kind, which turns cannot change from 0."""
    pieces = [(home, place) for home, place in where.items() if home in kind]
    total = sum(_reference(place) - _reference(home) for home, place in pieces)
    return total % len(RINGS[kind[0]])


def letters(view: View) -> str:
    """The 54 face letters in the order U L F R B D, each face read with U above (for U: B)."""
    shown = {place: _face(home) for home, place in enumerate(view.where)}
    ups = dict.fromkeys("LFRB", "U") | {"U": "B", "D": "F"}
    return "".join(
        shown[_at(face, ups[face], row, column)]
        for face in FACES
        for row in range(3)
        for column in range(3)
    )


def _face(place: int) -> str:
    return next(face for face, normal in AXES.items() if normal == FACELETS[place][1])


def _at(face: str, up: str, row: int, column: int) -> int:
    n, u = AXES[face], AXES[up]
    right = (u[1] * n[2] - u[2] * n[1], u[2] * n[0] - u[0] * n[2], u[0] * n[1] - u[1] * n[0])
    x, y, z = (n[i] + u[i] * (1 - row) + right[i] * (column - 1) for i in range(3))
    return FACELETS.index(((x, y, z), n))
