"""A position as the search sees it: turned so that one cross colour is down."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from livecube.cube.geometry import (
    CORNERS,
    EDGES,
    FACES,
    HOME,
    OPPOSITE,
    PIECE_AT,
    ROTATIONS,
    TURNS,
    TWIST_AT,
    Array,
    parse_piece,
    piece_faces,
)
from livecube.cube.holding import COLOURS
from livecube.cube.position import (
    SOLVED,
    TURN_BYTES,
    apply_turn,
    blocks_outside,
    rotated,
    rotation_taking,
)

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Sequence

    import numpy.typing as npt

__all__ = [
    "AT_OFFSETS",
    "CROSSES",
    "CROSS_AT",
    "CROSS_EDGES",
    "DOWN_ROTATIONS",
    "JOINED",
    "PIECE_MOVES",
    "PLACES_AT",
    "SLOT_PAIRS",
    "SLOT_PIECES",
    "SLOT_SYMMETRY",
    "SOLVED_PLACES",
    "TURN_SEEN",
    "Situation",
    "cross_number",
    "cross_numbers",
    "cross_places",
    "every_cross",
    "kept",
    "piece_places",
    "slot_bits",
    "turn_map",
]

# Numbers that the search works on.
#
# Everything here is in the *down frame*: the cross is down, and slots are numbered in the
# order in which a D turn moves their corners:
#
# ======  =======  ====  ========
# slot    corner   edge  place
# ======  =======  ====  ========
# 0       DFR      FR    front right
# 1       DBR      BR    back right
# 2       DBL      BL    back left
# 3       DFL      FL    front left
# ======  =======  ====  ========
#
# A corner's *place* is ``3 * corner cubicle + twist`` (0 to 23), an edge's ``2 * edge cubicle
# + flip``. The *cross* is one number for the four cross edges (0 to 190,079). A *piece* 0–3 is
# the corner of that slot, 4–7 the edge of slot ``piece - 4``.


CROSSES: Final = 12 * 11 * 10 * 9 * 16
"""Number of arrangements of the four cross edges: 190,080."""

CROSS_EDGES: Final = tuple(parse_piece(n) for n in ("DF", "DR", "DB", "DL"))
SLOT_PIECES: Final = tuple(
    parse_piece(n) for n in ("DFR", "DBR", "DBL", "DFL", "FR", "BR", "BL", "FL")
)
"""Pieces 0–7 as the cube core numbers them."""
SLOT_PAIRS: Final = tuple(zip(SLOT_PIECES[:4], SLOT_PIECES[4:], strict=True))
"""Corner and edge of each slot."""


def _places() -> tuple[Array, Array]:
    nowhere = np.full(len(PIECE_AT), np.iinfo(np.uint8).max, dtype=np.uint8)
    corner, edge = nowhere.copy(), nowhere.copy()
    for facelet, piece in enumerate(PIECE_AT.tolist()):
        if piece in CORNERS:
            corner[facelet] = 3 * piece + TWIST_AT[facelet]
        elif piece in EDGES:
            edge[facelet] = 2 * (piece - len(CORNERS)) + TWIST_AT[facelet]
    return corner, edge


_CORNER_PLACE, _EDGE_PLACE = _places()
_CORNER_PLACES: Final[list[int]] = _CORNER_PLACE.tolist()
_EDGE_PLACES: Final[list[int]] = _EDGE_PLACE.tolist()


def _facelet_of(places: Array) -> list[int]:
    return [int(np.flatnonzero(places == place).item()) for place in range(24)]


def _moved(places: Array, change: Array) -> Array:
    """Where each of the 24 places goes when facelets move by ``change`` (54)."""
    return np.array([places[change[f]] for f in _facelet_of(places)], dtype=np.uint8)


PIECE_MOVES: Final = np.array(
    [
        [_moved(_CORNER_PLACE, turn) for turn in TURNS],
        [_moved(_EDGE_PLACE, turn) for turn in TURNS],
    ]
)
"""Shape (2, 18, 24): new place of a corner (0) or edge (1) after a turn."""


def _slot_symmetry() -> Array:
    result = []
    ring, down = [FACES.index(face) for face in "FRBL"], FACES.index("D")
    for slot in range(4):
        spin = ROTATIONS[rotation_taking(down, down, ring[slot], ring[0])]
        corner, cross_edge = _moved(_CORNER_PLACE, spin), _moved(_EDGE_PLACE, spin)
        # A side edge's reference sticker is in F or B: after a quarter turn it is the other one.
        slot_edge = cross_edge ^ (slot & 1)
        result.append([corner, slot_edge, cross_edge])
    return np.array(result)


SLOT_SYMMETRY: Final = _slot_symmetry()
"""Shape (4, 3, 24): place of a corner, a slot edge, a cross edge as slot s sees it when it
is turned to the front right and called slot 0."""

SOLVED_PLACES: Final = np.array(
    [_CORNER_PLACE[HOME[p]] if p in CORNERS else _EDGE_PLACE[HOME[p]] for p in SLOT_PIECES],
    dtype=np.uint8,
)
"""Shape (8,): place of each piece when solved."""

DOWN_ROTATIONS: Final = tuple(
    rotation_taking(face, FACES.index("D"), beside, FACES.index("F"))
    for face, beside in (
        (f, next(b for b in range(6) if b not in (f, OPPOSITE[f]))) for f in range(6)
    )
)
"""For each cross face a rotation of the cube that takes it down."""


def turn_map(rotation: int) -> list[int]:
    """The turn that each of the 18 turns becomes after a rotation of the cube."""
    faces = [int(ROTATIONS[rotation][9 * face + 4]) // 9 for face in range(6)]
    return [3 * faces[turn // 3] + turn % 3 for turn in range(18)]


def _turn_seen() -> Array:
    ring, down = [FACES.index(face) for face in "FRBL"], FACES.index("D")
    return np.array(
        [turn_map(rotation_taking(down, down, side, ring[0])) for side in ring], dtype=np.uint8
    )


TURN_SEEN: Final = _turn_seen()
"""Shape (4, 18): each turn as slot s sees it when it is turned to the front right."""


def cross_number(position: Sequence[int]) -> int:
    """Number of the cross in one position (20 facelets), cross down."""
    number, flips = 0, 0
    before: list[int] = []
    for i, edge in enumerate(CROSS_EDGES):
        place = _EDGE_PLACES[position[edge]]
        number = number * (12 - i) + (place >> 1) - sum(one < place >> 1 for one in before)
        flips = 2 * flips + (place & 1)
        before.append(place >> 1)
    return 16 * number + flips


def cross_numbers(places: npt.NDArray[Any]) -> npt.NDArray[np.int32]:
    """Numbers of crosses, from the places of DF, DR, DB, DL: shape (4, n) to shape (n,)."""
    number, flips = np.zeros((2, *places.shape[1:]), dtype=np.int32)
    cubicle = places >> 1
    for i in range(4):
        before = (cubicle[:i] < cubicle[i]).sum(axis=0, dtype=np.int32)
        number = number * np.int32(12 - i) + cubicle[i] - before
        flips = 2 * flips + (places[i] & 1)
    return np.asarray(16 * number + flips, dtype=np.int32)


def every_cross() -> npt.NDArray[np.int8]:
    """Shape (4, 190080): places of DF, DR, DB, DL in the cross with each number."""
    rest = np.arange(CROSSES) // 16
    places = np.empty((4, CROSSES), dtype=np.int8)
    for i in range(3, -1, -1):
        places[i] = rest % (12 - i)
        rest //= 12 - i
    for i in range(3, -1, -1):
        for j in range(i - 1, -1, -1):
            places[i] += places[j] <= places[i]
    flips = np.arange(CROSSES) % 16 >> np.arange(3, -1, -1)[:, None] & 1
    return np.asarray(2 * places + flips, dtype=np.int8)


def cross_places(position: Sequence[int]) -> list[int]:
    """Places of the edges DF, DR, DB, DL in one position (20 facelets), cross down."""
    return [_EDGE_PLACES[position[edge]] for edge in CROSS_EDGES]


def piece_places(position: Sequence[int]) -> list[int]:
    """Places of the eight slot pieces in one position (20 facelets), cross down."""
    corners = [_CORNER_PLACES[position[piece]] for piece in SLOT_PIECES[:4]]
    return corners + [_EDGE_PLACES[position[piece]] for piece in SLOT_PIECES[4:]]


AT_OFFSETS: Final = np.array([SOLVED] + [apply_turn(SOLVED, 15 + k) for k in range(3)])
"""Shape (4, 20): the solved cube with the down layer at each offset."""

CROSS_AT: Final = np.array([cross_number(position) for position in AT_OFFSETS.tolist()])
"""Shape (4,): number of the solved cross at each offset."""

PLACES_AT: Final = np.array([piece_places(position) for position in AT_OFFSETS.tolist()])
"""Shape (4, 8): places of the solved slot pieces at each offset."""

_OFFSET_OF: Final = {number: offset for offset, number in enumerate(CROSS_AT.tolist())}
_PLACES_AT: Final[list[list[int]]] = PLACES_AT.tolist()


JOINED: Final = tuple(
    frozenset(blocks_outside(int(SOLVED[corner]), int(SOLVED[edge]))) for corner, edge in SLOT_PAIRS
)
"""For each slot the places (corner facelet, edge facelet) at which its pieces form a block outside
it."""


def slot_bits(mask: int) -> list[int]:
    """Numbers of the slots whose bits are set."""
    return [slot for slot in range(4) if mask >> slot & 1]


@dataclass(frozen=True, slots=True)
class Situation:
    """One position as one cross colour sees it.

    Slots and pieces are numbered as in :mod:`livecube.search.situation`; *solved* means up
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
    """None: the cross is not whole at any offset, and no slot counts as solved."""
    corners: int
    """Bit s: the corner of slot s is solved."""
    edges: int
    """Bit s: the edge of slot s is at home."""
    flipped: int
    """Bit s: the edge of slot s is in its slot, flipped."""
    joined: int
    """Bit s: corner and edge of slot s touch outside it, both shared colours matching."""

    @staticmethod
    def of(position: Array, face: int) -> Situation:
        """The situation of a fixed-frame position for the cross on ``face``."""
        return Situation.of_down(rotated(position, DOWN_ROTATIONS[face]), face)

    @staticmethod
    def of_down(down: Array, face: int) -> Situation:
        """The situation of a position that is already in the down frame of ``face``."""
        facelets = down.tolist()
        places, cross = piece_places(facelets), cross_number(facelets)
        offset = _OFFSET_OF.get(cross)
        corners = edges = flipped = joined = 0
        if offset is not None:
            home = _PLACES_AT[offset]
            for slot, (corner, edge) in enumerate(SLOT_PAIRS):
                at_edge, edge_home = places[slot + 4], home[slot + 4]
                corners |= (places[slot] == home[slot]) << slot
                edges |= (at_edge == edge_home) << slot
                flipped |= (at_edge == edge_home ^ 1) << slot
                joined |= ((facelets[corner], facelets[edge]) in JOINED[slot]) << slot
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

    def under(self, slot: int, turned: int) -> int:
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


# What a sequence keeps: upper-layer pieces and made pairs.


_UPPER: Final = frozenset(
    f for f in range(54) if PIECE_AT[f] != 255 and 0 in piece_faces(int(PIECE_AT[f]))
)
"""Facelets of the upper layer."""
_UPPER_TURNS: Final = (bytes(range(54)), *TURN_BYTES[:3])


def kept(situation: Situation, turns: Sequence[int], targets: Collection[int]) -> tuple[int, int]:
    """How many upper-layer pieces, and how many made pairs, a sequence keeps.

    ``targets``: the slots that it fills; their pieces do not count. A piece is kept if it stands
    as before, up to one turn of the upper layer, the one that keeps most. A pair is kept if it is
    joined before and after.
    """
    before = bytes(situation.position.tolist())
    after = before
    for turn in turns:
        after = after.translate(TURN_BYTES[turn])
    ours = {piece for slot in targets for piece in SLOT_PAIRS[slot]}
    counted = [p for p in range(20) if before[p] in _UPPER and p not in ours]
    top = max(
        sum(table[after[piece]] == before[piece] for piece in counted) for table in _UPPER_TURNS
    )
    pairs = 0
    for slot, (corner, edge) in enumerate(SLOT_PAIRS):
        if slot not in targets and (before[corner], before[edge]) in JOINED[slot]:
            pairs += (after[corner], after[edge]) in JOINED[slot]
    return top, pairs
