"""Pairs as people put them in: plain, by keyholes, pseudo-pairs and chains at an offset.

Works in the cross frame on a cube in the hands. Every way of doing a pair either does it and
returns True, or finds its conditions missing, changes nothing and returns False.
"""

from __future__ import annotations

from itertools import permutations
from typing import TYPE_CHECKING, Final

from livecube.cube.geometry import NEXT_STICKER
from livecube.cube.position import TURN_BYTES, make_turn
from livecube.virtual.fingers import Insertion
from livecube.virtual.pairs import (
    CORNER,
    EDGE,
    HOMES,
    layer_turn,
    offset_taking,
    place_under,
    plan_pieces,
    trigger_out,
)

if TYPE_CHECKING:
    from collections.abc import Iterable

    from livecube.virtual.hands import Hands

__all__ = ["FirstLayers"]

_DOWN: Final = 5
_SLOTS: Final = range(4)


class FirstLayers:
    """The four slots of a cube in the hands, with the cross whole."""

    def __init__(self, hands: Hands) -> None:
        self.hands = hands
        self.rng = hands.rng
        self.habits = hands.habits

    # The state of the slots.

    def offset(self) -> int:
        """Offset of the cross layer, judged by one cross edge."""
        return next(k for k in range(4) if self.hands.position[12] == _turned(HOMES[12], k))

    def corner_in(self, slot: int) -> bool:
        """Whether this slot's corner is solved up to the offset."""
        home = _turned(HOMES[CORNER + slot], self.offset())
        return self.hands.position[CORNER + slot] == home

    def edge_in(self, slot: int) -> bool:
        """Whether this slot's edge is at home."""
        return self.hands.position[EDGE + slot] == HOMES[EDGE + slot]

    def solved(self) -> list[int]:
        """Slots solved up to the offset."""
        return [s for s in _SLOTS if self.edge_in(s) and self.corner_in(s)]

    def free(self) -> list[int]:
        """The other slots."""
        solved = self.solved()
        return [s for s in _SLOTS if s not in solved]

    def _pieces_in(self, slots: Iterable[int]) -> set[int]:
        """All slot pieces of these slots that are solved."""
        corners = {CORNER + s for s in slots if self.corner_in(s)}
        return corners | {EDGE + s for s in slots if self.edge_in(s)}

    # Planning.

    def plan(
        self,
        corner: int | None,
        edge: int | None,
        offset: int,
        keep: set[int],
        *,
        flipped: bool = False,
    ) -> list[int] | None:
        """Turns that put a slot's corner, its edge or both home with the cross layer at an offset.

        The first turn brings the layer to the offset if needed; the pieces in ``keep`` stay.
        """
        first = layer_turn(offset - self.offset())
        position = self.hands.position
        for turn in first:
            position = position.translate(TURN_BYTES[turn])
        now, target = [], []
        if corner is not None:
            now.append(position[CORNER + corner])
            target.append(HOMES[CORNER + place_under(corner, offset)])
        if edge is not None:
            home = HOMES[EDGE + edge]
            now.append(position[EDGE + edge])
            target.append(int(NEXT_STICKER[home]) if flipped else home)
        places = frozenset(
            place
            for place in _SLOTS
            if EDGE + place not in keep and CORNER + (place + offset) % 4 not in keep
        )
        slack = int(self.rng.integers(4)) if self.rng.random() < self.habits.p_longer_pair else 0
        rest = plan_pieces(bytes(now), bytes(target), places, self.rng, slack)
        return None if rest is None else first + rest

    def _best(self, *plans: list[int] | None) -> list[int] | None:
        found = [plan for plan in plans if plan is not None]
        return min(found, key=len) if found else None

    def _do(self, way: list[int] | Insertion | None) -> bool:
        if way is None:
            return False
        if isinstance(way, Insertion):
            self.hands.insert(way)
        else:
            self.hands.turn(way)
        return True

    def align(self) -> None:
        """Turn the cross layer to offset 0."""
        self.hands.turn(layer_turn(-self.offset()), choose_grip=False)

    def think(self) -> None:
        """The pause before a pair."""
        self.hands.wait(self.habits.pair_pause_s)

    # One pair.

    def plain(self) -> bool:
        """Put a corner and its edge into their slot together: the shortest pair, or any pair."""
        ways = {slot: self._way_in(slot) for slot in self.free()}
        if not ways:
            return False
        if self.rng.random() < self.habits.p_easiest_pair:
            slot = min(ways, key=lambda s: _length(ways[s]))
        else:
            slot = int(self.rng.choice(list(ways)))
        return self._do(ways[slot])

    def _way_in(self, slot: int) -> list[int] | Insertion:
        """A sequence in use where the case is a usual one, else triggers."""
        if usual := self._usual(slot):
            return usual
        solved = self._pieces_in(self.solved())
        singles = self._pieces_in(s for s in self.free() if s != slot)
        plan = self.plan(slot, slot, 0, solved | singles) or self.plan(slot, slot, 0, solved)
        if plan is None:
            raise ValueError(f"no triggers of the free slots solve slot {slot}")
        return plan

    def _usual(self, slot: int) -> Insertion | None:
        if self.offset():
            return None
        position = self.hands.position
        return self.hands.put_in(position[CORNER + slot], position[EDGE + slot], slot)

    def keyhole_corner(self, slot: int) -> bool:
        """The edge of a free slot is in: put the corner in through another free slot."""
        if not self.edge_in(slot):
            return False
        keep = self._pieces_in(self.solved()) | {EDGE + slot}
        plans = [self.plan(slot, None, offset, keep) for offset in (1, 2, 3)]
        return self._do(self._best(*plans)) and self._aligned()

    def keyhole_edge(self, slot: int) -> bool:
        """The corner of a free slot is in: put the edge in over an unsolved corner."""
        if not self.corner_in(slot):
            return False
        keep = self._pieces_in(self.solved()) | {CORNER + slot}
        plans = [self.plan(None, slot, offset, keep) for offset in (1, 2, 3)]
        return self._do(self._best(*plans)) and self._aligned()

    def keyhole(self) -> bool:
        """Finish any slot of which one piece is in."""
        return any(self.keyhole_corner(s) or self.keyhole_edge(s) for s in self._mixed())

    def pseudo_pair(self) -> bool:
        """A corner and another slot's edge are in: put their partners in together."""
        for i, j in self._free_pairs():
            if self.corner_in(i) and self.edge_in(j):
                keep = self._pieces_in([*self.solved(), i, j])
                if self._do(self.plan(j, i, offset_taking(j, i), keep)):
                    return self._aligned()
        return False

    # Setting up.

    def one_piece(self, *, corner: bool) -> bool:
        """Put one corner, or one edge, into its slot alone."""
        for slot in self._mixed():
            if not self.corner_in(slot) and not self.edge_in(slot):
                keep = self._pieces_in(_SLOTS)
                one, other = (slot, None) if corner else (None, slot)
                if self._do(self.plan(one, other, 0, keep)):
                    return True
        return False

    def flipped_edge(self) -> bool:
        """Put a corner in, and its edge above it flipped; for two free slots or more."""
        slot = self._mixed()[0]
        keep = self._pieces_in(self.solved())
        return self._do(self.plan(slot, slot, 0, keep, flipped=True))

    def set_up_pseudo(self) -> bool:
        """Put the corner of one free slot and the edge of another in together."""
        for i, j in self._free_pairs():
            keep = self._pieces_in(self.solved())
            if self._do(self.plan(i, j, offset_taking(i, j), keep)):
                return self._aligned()
        return False

    # Several slots at an offset.

    def chain(self) -> bool:
        """Two single pieces of one kind, then their partners with the cross layer turned."""
        if len(self.free()) < 4:
            return False
        corners_first = bool(self.rng.random() < 0.5)
        i, j = self._free_pairs()[0]
        for slot in (i, j):
            one, other = (slot, None) if corners_first else (None, slot)
            if not self._do(self.plan(one, other, 0, self._pieces_in(_SLOTS))):
                return False
            self.think()
        offset = 2 if (i - j) % 2 else int(self.rng.choice((1, 3)))
        for slot in (i, j):
            one, other = (None, slot) if corners_first else (slot, None)
            if not self._do(self.plan(one, other, offset, self._pieces_in((i, j)))):
                break
            self.think()
        return self._aligned()

    def pair_at_offset(self) -> bool:
        """A pair put in piece by piece while the cross layer stays at its offset."""
        offset, slot = self.offset(), self._mixed()[0]
        done = self._do(self.plan(None, slot, offset, set()))
        self.think()
        done = done and self._do(self.plan(slot, None, offset, {EDGE + slot}))
        return self._aligned() and done

    # Mistakes.

    def out_and_back(self) -> bool:
        """Take a solved pair out and put it back."""
        solved = self.solved()
        if not solved:
            return False
        slot = int(self.rng.choice(solved))
        keep = self._pieces_in(s for s in solved if s != slot)
        self.hands.turn([*trigger_out(slot, self.rng), int(self.rng.integers(3))])
        self.hands.wait(self.habits.mistake_pause_s)
        return self._do(self._usual(slot) or self.plan(slot, slot, 0, keep))

    def lose_pair(self) -> bool:
        """A solved pair is lost while another goes in."""
        solved, free = self.solved(), self._mixed()
        if not solved or not free:
            return False
        slot = int(self.rng.choice(solved))
        keep = self._pieces_in(s for s in solved if s != slot)
        self.hands.turn([*trigger_out(slot, self.rng), int(self.rng.integers(3))])
        return self._do(self._usual(free[0]) or self.plan(free[0], free[0], 0, keep))

    def fumble(self, steps: int) -> None:
        """Put single pieces and pairs anywhere at any offset; solved ones may get lost."""
        for _ in range(steps):
            slot, offset = int(self.rng.integers(4)), int(self.rng.integers(4))
            minded = [s for s in _SLOTS if s != slot and self.rng.random() < 0.7]
            keep = self._pieces_in(minded)
            one = slot if self.rng.random() < 0.7 else None
            other = slot if one is None or self.rng.random() < 0.5 else None
            if not self._do(self.plan(one, other, offset, keep)):
                self.hands.turn([*layer_turn(offset), *trigger_out(slot, self.rng)])

    # Helpers.

    def _aligned(self) -> bool:
        self.align()
        return True

    def _mixed(self) -> list[int]:
        """The free slots in random order."""
        return [int(s) for s in self.rng.permutation(self.free())]

    def _free_pairs(self) -> list[tuple[int, int]]:
        pairs = list(permutations(self.free(), 2))
        return [pairs[int(i)] for i in self.rng.permutation(len(pairs))]


def _turned(facelet: int, offset: int) -> int:
    return TURN_BYTES[make_turn(_DOWN, offset)][facelet] if offset else facelet


def _length(way: list[int] | Insertion) -> int:
    """How many moves a way takes."""
    return len(way.moves if isinstance(way, Insertion) else way)
