"""The cube as 54 colour letters, and the state of a cross and its slots, read from the letters.

Nothing here uses pieces, positions or tables: a turn moves letters, and a cross is whole if letters
match.
"""

from __future__ import annotations

from functools import cache
from operator import itemgetter
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from livecube.cube.geometry import FACELET_NORMAL, FACELET_POINT, FACES, OPPOSITE, TURNS
from livecube.cube.holding import COLOURS

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

__all__ = [
    "MOVED",
    "START",
    "Look",
    "Side",
    "WholeLine",
    "joined",
    "looks_after",
    "sides_of",
    "whole_line",
]

Look = tuple[str, ...]
"""54 face letters, in the order of the facelets."""

START: Final[Look] = tuple(FACES[i // 9] for i in range(54))
MOVED: Final[list[Callable[[Look], Look]]] = [
    itemgetter(*np.argsort(turn).tolist()) for turn in TURNS
]
_NORMAL: Final = [tuple(v) for v in FACELET_NORMAL.tolist()]
_POINT: Final = [tuple(v) for v in FACELET_POINT.tolist()]
_CENTRE: Final = range(4, 54, 9)
_WHERE: Final = {(_POINT[i], _NORMAL[i]): i for i in range(54)}


def looks_after(turns: Iterable[int], look: Look = START) -> list[Look]:
    """The look of the cube at the start and after each turn."""
    looks = [look]
    for turn in turns:
        look = MOVED[turn](look)
        looks.append(look)
    return looks


def _sum(vectors: Sequence[tuple[int, ...]]) -> tuple[int, ...]:
    return tuple(map(sum, zip(*vectors, strict=True)))


class Side(NamedTuple):
    """One side face of a cross, and the slot between it and the next side clockwise."""

    centre: int
    below: int
    """Cross edge: its sticker on this side."""
    cross_edge: int
    """The same edge's sticker on the cross face."""
    corner: tuple[int, int, int]
    """Slot corner: its stickers on the cross face, this side and the next."""
    edge: tuple[int, int]
    """Slot edge: its stickers on this side and the next."""
    slot: str


@cache
def sides_of(cross: int) -> tuple[Side, ...]:
    """The four sides in the order in which a clockwise turn of the cross face moves them."""
    down = _NORMAL[9 * cross]
    first = next(face for face in range(6) if face not in (cross, OPPOSITE[cross]))
    ring = [first]
    while len(ring) < 4:
        at = _WHERE[_sum([down, _NORMAL[9 * ring[-1]]]), _NORMAL[9 * ring[-1]]]
        ring.append(int(TURNS[3 * cross][at]) // 9)
    sides = []
    for face, following in zip(ring, ring[1:] + ring[:1], strict=True):
        side, beside = _NORMAL[9 * face], _NORMAL[9 * following]
        low, corner, edge = map(_sum, ([down, side], [down, side, beside], [side, beside]))
        names = sorted((COLOURS[face], COLOURS[following]))
        sides.append(
            Side(
                _CENTRE[face],
                _WHERE[low, side],
                _WHERE[low, down],
                (_WHERE[corner, down], _WHERE[corner, side], _WHERE[corner, beside]),
                (_WHERE[edge, side], _WHERE[edge, beside]),
                "-".join(names),
            )
        )
    return tuple(sides)


class WholeLine(NamedTuple):
    """A line at which the cross of one colour is whole."""

    line: int
    offset: int
    corners: frozenset[str]
    """Slots whose corner is solved up to the offset."""
    edges: frozenset[str]

    @property
    def solved(self) -> frozenset[str]:
        """Slots solved up to the offset."""
        return self.corners & self.edges


def _offset(look: Look, cross: int) -> int | None:
    """The clockwise quarters by which the whole cross is turned; None if it is not whole."""
    sides, letter = sides_of(cross), FACES[cross]
    for side in sides:  # most looks end here
        if look[side.cross_edge] != letter:
            return None
    below = [look[side.below] for side in sides]
    centres = [look[side.centre] for side in sides]
    for offset in range(4):
        # One clockwise quarter brings each edge from its own side to the next.
        if all(below[(i + offset) % 4] == centres[i] for i in range(4)):
            return offset
    return None


def whole_line(line: int, look: Look, cross: int) -> WholeLine | None:
    """The slots in this look for the cross of one colour; None if that cross is not whole."""
    offset = _offset(look, cross)
    if offset is None:
        return None
    corners, edges = set(), set()
    sides = sides_of(cross)
    for i, side in enumerate(sides):
        beside = sides[(i + 1) % 4]
        # The slot whose corner belongs here while the layer is turned by the offset.
        owner = sides[(i - offset) % 4].slot
        wanted = (FACES[cross], look[side.below], look[beside.below])
        if tuple(look[f] for f in side.corner) == wanted:
            corners.add(owner)
        if tuple(look[f] for f in side.edge) == (look[side.centre], look[beside.centre]):
            edges.add(side.slot)
    return WholeLine(line, offset, frozenset(corners), frozenset(edges))


def joined(look: Look, cross: int, pair: tuple[int, int]) -> bool:
    """Whether corner and edge of a slot touch outside it with both shared colours matching."""
    slot = _sum([_POINT[piece] for piece in pair])
    colours = {look[centre] for centre in pair}
    for point in {_POINT[i] for i in range(54) if 0 not in _POINT[i]}:
        normals = [tuple(v if a == axis else 0 for a in range(3)) for axis, v in enumerate(point)]
        shown = {normal: look[_WHERE[point, normal]] for normal in normals}
        if set(shown.values()) != colours | {FACES[cross]}:
            continue
        one, two = (n for n in normals if shown[n] in colours)
        beside = _sum([one, two])
        edge = (look[_WHERE[beside, one]], look[_WHERE[beside, two]])
        return beside != slot and edge == (shown[one], shown[two])
    raise ValueError("no corner shows the colours of this slot: these are not looks of a cube")
