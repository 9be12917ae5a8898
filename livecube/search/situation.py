"""A position as the search sees it: turned so that one cross colour is down."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Final

import numpy as np

from livecube.cube.geometry import FACES, ROTATIONS, Array
from livecube.cube.holding import COLOURS
from livecube.cube.position import SOLVED, apply_turn, blocks_outside, rotated
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

CROSS_AT: Final = np.array([cross_number(position) for position in AT_OFFSETS.tolist()])
"""Shape (4,): number of the solved cross at each offset."""

PLACES_AT: Final = np.array([piece_places(position) for position in AT_OFFSETS.tolist()])
"""Shape (4, 8): places of the solved slot pieces at each offset."""

_OFFSET_OF: Final = {number: offset for offset, number in enumerate(CROSS_AT.tolist())}
_PLACES_AT: Final[list[list[int]]] = PLACES_AT.tolist()


JOINED: Final = tuple(
    frozenset(blocks_outside(int(SOLVED[SLOT_PIECES[slot]]), int(SOLVED[SLOT_PIECES[slot + 4]])))
    for slot in range(4)
)
"""For each slot the places (corner facelet, edge facelet) at which its pieces form a block outside
it."""


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
    places: npt.NDArray[np.int64]
    """Shape (8,): of the slot pieces."""
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
        return Situation.of_down(rotated(position, DOWN_ROTATIONS[face]), face)

    @staticmethod
    def of_down(down: Array, face: int) -> Situation:
        """The situation of a position that is in the down frame of ``face`` already."""
        facelets = down.tolist()
        places, cross = piece_places(facelets), cross_number(facelets)
        offset = _OFFSET_OF.get(cross)
        corners = edges = flipped = joined = 0
        if offset is not None:
            home = _PLACES_AT[offset]
            for slot in range(4):
                corners |= (places[slot] == home[slot]) << slot
                edges |= (places[slot + 4] == home[slot + 4]) << slot
                flipped |= (places[slot + 4] == home[slot + 4] ^ 1) << slot
                block = facelets[SLOT_PIECES[slot]], facelets[SLOT_PIECES[slot + 4]]
                joined |= (block in JOINED[slot]) << slot
        seen = np.array(places, dtype=np.int64)
        return Situation(face, down, cross, seen, offset, corners, edges, flipped, joined)

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
