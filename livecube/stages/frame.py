"""One cross colour's view of the cube: its cross, its four slots, its offset.

Offset k (0 to 3): the present position is the aligned one followed by k clockwise quarter
turns of the cross layer. Cross edges and slot corners move with that layer, slot edges do
not. Positions are ``bytes`` of 20 facelets here: single positions, turn by turn.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from livecube.cube.geometry import NEXT_STICKER, OPPOSITE, TURNS
from livecube.cube.holding import COLOURS
from livecube.cube.pieces import CORNERS, EDGES, HOME, piece_faces
from livecube.cube.position import blocks_outside

__all__ = ["ALL_SLOTS", "FRAMES", "CrossFrame", "Row", "slots_of"]


ALL_SLOTS: Final = 0b1111
"""The bits of all four slots."""


@dataclass(frozen=True, slots=True)
class Row:
    """What a cross colour sees at a line where its cross is whole."""

    line: int
    """Turn line after which this holds."""
    offset: int
    corners: int
    """Bit s: the corner of slot s is solved up to the offset."""
    edges: int
    """Bit s: the edge of slot s is at home."""
    flipped: int
    """Bit s: the edge of slot s is in its slot, but flipped."""

    @property
    def solved(self) -> int:
        """Bit s: slot s is solved up to the offset."""
        return self.corners & self.edges


class CrossFrame:
    """Tables for one cross colour. ``face`` is the face of the cross."""

    def __init__(self, face: int) -> None:
        self.face = face
        self.colour = COLOURS[face]
        last = OPPOSITE[face]
        turned = [list(range(54))] + [TURNS[3 * face + k].tolist() for k in range(3)]
        self.cross = [p for p in EDGES if face in piece_faces(p)]
        self.corners = [p for p in CORNERS if face in piece_faces(p)]
        sides = [piece_faces(c) - {face} for c in self.corners]
        self.edges = [next(p for p in EDGES if piece_faces(p) == side) for side in sides]
        self.slots = ["-".join(sorted(COLOURS[f] for f in side)) for side in sides]
        self.joined = [
            blocks_outside(int(HOME[corner]), int(HOME[edge]))
            for corner, edge in zip(self.corners, self.edges, strict=True)
        ]
        """For each slot the places (corner, edge) at which its two pieces form a block
        outside it."""
        self.named = [
            tuple(name for s, name in enumerate(self.slots) if mask >> s & 1) for mask in range(16)
        ]
        self.last_layer = [p for p in range(20) if last in piece_faces(p)]

        a, b, c, d = self.cross
        self._a, self._b, self._c, self._d = a, b, c, d
        self.first_edge, self.near = a, frozenset(turned[k][HOME[a]] for k in range(4))
        """The first cross edge, and its places while the cross may be whole."""
        self._offset_of_first = {turned[k][HOME[a]]: k for k in range(4)}
        self._rest = [tuple(turned[k][HOME[p]] for p in (b, c, d)) for k in range(4)]
        self._corner_bits = [
            tuple((p, turned[k][HOME[p]], 1 << s) for s, p in enumerate(self.corners))
            for k in range(4)
        ]
        self._layer = [
            (p, {turned[k][HOME[p]]: k for k in range(4)}) for p in (*self.cross, *self.corners)
        ]
        self._edge_bits = tuple(
            (p, int(HOME[p]), int(NEXT_STICKER[HOME[p]]), 1 << s) for s, p in enumerate(self.edges)
        )

    def offset(self, position: bytes) -> int | None:
        """The offset at which the cross is whole; None if it is at none."""
        offset = self._offset_of_first.get(position[self._a])
        if offset is None:
            return None
        b, c, d = self._rest[offset]
        if position[self._b] == b and position[self._c] == c and position[self._d] == d:
            return offset
        return None

    def row(self, line: int, position: bytes) -> Row | None:
        """What this colour sees at a line; None if its cross is not whole."""
        offset = self.offset(position)
        if offset is None:
            return None
        corners = edges = flipped = 0
        for piece, place, bit in self._corner_bits[offset]:
            if position[piece] == place:
                corners |= bit
        for piece, home, other, bit in self._edge_bits:
            if (place := position[piece]) == home:
                edges |= bit
            elif place == other:
                flipped |= bit
        return Row(line, offset, corners, edges, flipped)

    def pieces_in_place(self, position: bytes) -> int:
        """How many of the 12 pieces of cross and slots are solved, at the best offset."""
        at_offset = [0, 0, 0, 0]
        for piece, offset_at in self._layer:
            if (offset := offset_at.get(position[piece])) is not None:
                at_offset[offset] += 1
        at_home = [position[piece] == home for piece, home, _, _ in self._edge_bits]
        return max(at_offset) + at_home.count(True)

    def last_layer_oriented(self, position: bytes) -> bool:
        """Whether the last layer shows one colour."""
        last = OPPOSITE[self.face]
        shown = _FACE_SHOWN[last]
        return all(shown[p][position[p]] == last for p in self.last_layer)

    def solved_up_to_last_turn(self, position: bytes) -> bool:
        """Whether one turn of the last layer, or none, solves the cube."""
        return position in _NEARLY_SOLVED[OPPOSITE[self.face]]


def _face_shown() -> list[list[dict[int, int]]]:
    """[face][piece][place of its reference sticker] → face where its sticker of ``face`` lies."""
    result: list[list[dict[int, int]]] = []
    for face in range(6):
        rows: list[dict[int, int]] = []
        for piece in range(20):
            shift, spot = 0, int(HOME[piece])
            while spot // 9 != face and shift < 3:
                shift, spot = shift + 1, int(NEXT_STICKER[spot])
            row = {}
            for place in range(54) if shift < 3 else ():
                spot = place
                for _ in range(shift):
                    spot = int(NEXT_STICKER[spot])
                row[place] = spot // 9
            rows.append(row)
        result.append(rows)
    return result


_FACE_SHOWN: Final = _face_shown()
_NEARLY_SOLVED: Final = [
    frozenset([bytes(HOME.tolist())] + [bytes(TURNS[3 * f + k][HOME].tolist()) for k in range(3)])
    for f in range(6)
]

FRAMES: Final = tuple(CrossFrame(face) for face in range(6))
"""One frame for each cross colour, in the order U L F R B D of the cross's face."""


def slots_of(frame: CrossFrame, mask: int) -> tuple[str, ...]:
    """Names of the slots whose bits are set."""
    return frame.named[mask]
