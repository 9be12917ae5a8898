"""A position as the search sees it: turned so that one cross colour is down."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Final

import numpy as np
from numba import njit

from livecube.cube.geometry import FACES, ROTATIONS, Array
from livecube.cube.holding import COLOURS
from livecube.cube.position import SOLVED, apply_turn, blocks_outside, rotation_tables
from livecube.search.coordinates import (
    DOWN_ROTATIONS,
    SLOT_PIECES,
    cross_number,
    piece_places,
    turn_map,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    import numpy.typing as npt

__all__ = ["AT_OFFSETS", "CROSS_AT", "JOINED", "PLACES_AT", "Situation", "slot_bits"]

AT_OFFSETS: Final = np.array([SOLVED] + [apply_turn(SOLVED, 15 + k) for k in range(3)])
"""Shape (4, 20): the solved cube with the down layer at each offset."""

CROSS_AT: Final = np.array([cross_number(position) for position in AT_OFFSETS])
"""Shape (4,): number of the solved cross at each offset."""

PLACES_AT: Final = np.array([piece_places(position) for position in AT_OFFSETS])
"""Shape (4, 8): places of the solved slot pieces at each offset."""

_SLOT_PIECES: Final = np.array(SLOT_PIECES)


def _joined() -> npt.NDArray[np.bool_]:
    table = np.zeros((4, 54, 54), dtype=bool)
    for slot in range(4):
        corner, edge = SLOT_PIECES[slot], SLOT_PIECES[slot + 4]
        for place in blocks_outside(int(SOLVED[corner]), int(SOLVED[edge])):
            table[slot][place] = True
    return table


JOINED: Final = _joined()
"""Shape (4, 54, 54): whether slot s's pieces at these places form a block outside it."""


def slot_bits(mask: int) -> list[int]:
    """Numbers of the slots whose bits are set."""
    return [slot for slot in range(4) if mask >> slot & 1]


@dataclass(frozen=True, slots=True)
class Situation:
    """One position as one cross colour sees it.

    Slots and pieces are numbered as in :mod:`livecube.search.coordinates`; *solved* means up
    to the present offset.
    """

    face: int
    """Fixed face of the cross."""
    position: Array
    """The position in the down frame."""
    cross: int
    places: Array
    """Shape (8,), int64: of the slot pieces."""
    offset: int | None
    """None: the cross is whole at no offset, and nothing counts as solved."""
    corners: int
    """Bit s: the corner of slot s is solved."""
    edges: int
    """Bit s: the edge of slot s is at home."""
    flipped: int
    """Bit s: the edge of slot s is in its slot, the wrong way round."""
    joined: int
    """Bit s: corner and edge of slot s touch outside it, both shared colours matching."""

    @staticmethod
    def of(position: Array, face: int) -> Situation:
        """The situation of a fixed-frame position for the cross on ``face``."""
        down = np.empty(20, dtype=np.uint8)
        _turn_down(position, *rotation_tables(DOWN_ROTATIONS[face]), down)
        return Situation.of_down(down, face)

    @staticmethod
    def of_down(down: Array, face: int) -> Situation:
        """The situation of a position that is in the down frame of ``face`` already."""
        places, seen = _look(down)
        cross, offset, *masks = seen.tolist()
        return Situation(face, down, cross, places, None if offset < 0 else offset, *masks)

    @property
    def solved(self) -> int:
        """Bit s: slot s is solved (the set S)."""
        return self.corners & self.edges

    @property
    def free(self) -> int:
        """Bit s: slot s is not solved."""
        return 15 & ~self.solved

    @property
    def colour(self) -> str:
        """Colour of the cross."""
        return COLOURS[self.face]

    def slot_name(self, slot: int) -> str:
        """The two side colours of a slot, in alphabetical order."""
        return _slot_names(self.face)[slot]

    def slot_names(self, slots: Iterable[int]) -> tuple[str, ...]:
        """Names of several slots."""
        return tuple(self.slot_name(slot) for slot in slots)

    def slot_numbers(self, names: Iterable[str]) -> tuple[int, ...]:
        """Numbers of the slots with these names."""
        return tuple(_slot_names(self.face).index(name) for name in names)

    @property
    def fixed_turns(self) -> Array:
        """Shape (18,): the fixed-frame turn of each down-frame turn."""
        return _to_fixed(self.face)

    def fixed(self, turns: Sequence[int]) -> tuple[int, ...]:
        """Down-frame turns as fixed-frame turns."""
        fixed = _to_fixed_listed(self.face)
        return tuple([fixed[turn] for turn in turns])

    def under(self, slot: int, turned: int = 0) -> int:
        """The slot under which the home of a slot's corner lies after D^turned."""
        return (slot + (self.offset or 0) + turned) % 4


@njit(cache=True, nogil=True)
def _turn_down(position, source, places, down):  # type: ignore[no-untyped-def]
    """As :func:`livecube.cube.position.rotated`, for one position and at once."""
    for piece in range(20):
        down[piece] = places[piece, position[source[piece]]]


@njit(cache=True, nogil=True)
def _look(down):  # type: ignore[no-untyped-def]
    """Places (8,) and cross, offset (−1: whole at none), corners, edges, flipped, joined (6,)."""
    places, seen = piece_places(down), np.zeros(6, dtype=np.int64)
    seen[0], seen[1] = cross_number(down), -1
    for offset in range(4):
        if seen[0] == CROSS_AT[offset]:
            seen[1] = offset
            for s in range(4):
                corner, edge = places[s], places[4 + s]
                seen[2] |= (corner == PLACES_AT[offset, s]) << s
                seen[3] |= (edge == PLACES_AT[offset, 4 + s]) << s
                seen[4] |= (edge == PLACES_AT[offset, 4 + s] ^ 1) << s
                seen[5] |= JOINED[s, down[_SLOT_PIECES[s]], down[_SLOT_PIECES[4 + s]]] << s
    return places, seen


@cache
def _to_fixed(face: int) -> Array:
    there = turn_map(DOWN_ROTATIONS[face])
    return np.array([there.index(turn) for turn in range(18)], dtype=np.uint8)


@cache
def _to_fixed_listed(face: int) -> list[int]:
    return _to_fixed(face).tolist()  # type: ignore[no-any-return]


@cache
def _slot_names(face: int) -> tuple[str, ...]:
    to_down = [int(ROTATIONS[DOWN_ROTATIONS[face]][9 * f + 4]) // 9 for f in range(6)]
    fixed = [to_down.index(FACES.index(side)) for side in "FRBL"]
    return tuple(
        "-".join(sorted((COLOURS[fixed[s]], COLOURS[fixed[(s + 1) % 4]]))) for s in range(4)
    )
