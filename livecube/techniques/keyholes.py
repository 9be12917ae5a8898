"""The questions that techniques ask with the cross whole, from positions made for the purpose.

A technique's task depends on which pieces of the four slots are home; the answer also depends on
where the target's other pieces are. So one slot stands for all, its pieces are put everywhere, and
the other slots are tried in every state that a technique distinguishes.
"""

from __future__ import annotations

from itertools import product
from typing import TYPE_CHECKING, Final

import numpy as np

from livecube.cube.geometry import CORNERS, EDGES, FACES, HOME, NEXT_STICKER, PIECE_AT
from livecube.cube.position import SOLVED, apply_turns
from livecube.search.situation import SLOT_PIECES, Situation, slot_bits
from livecube.search.task import AT_DOORS, LEFT, NO_D, TURNED_BACK, Task
from livecube.techniques.base import About, Chance, Level, Showing, goal_bits, traits

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from livecube.cube.geometry import Array
    from livecube.techniques.base import Technique

__all__ = ["KeyholeChain", "KeyholeCorner", "KeyholeEdge", "KeyholeFlip", "questions"]

_DOWN: Final = FACES.index("D")
_D: Final = 3 * _DOWN
"""The turn D; D2 and D' follow."""
_SLOTS: Final = range(4)

_STATES: Final = [
    # The state of slot 0, and the possible states of the others: s solved, l both pieces loose,
    # c only the corner solved, e only the edge.
    ("l", "sl"),  # shortest, plain, made pair
    ("e", "sl"),  # keyhole corner: any free slot is a door
    ("c", "slc"),  # keyhole edge and flip: a door is a slot without its corner
    ("c", "sle"),  # pseudo pair, with the edge of another slot
]


def questions(techniques: Sequence[Technique]) -> Iterator[tuple[Situation, Task]]:
    """The questions up to rotation, each with a situation that asks it.

    Many come more than once. The situations need not be reachable on a real cube: pieces that no
    question uses stand anywhere.
    """
    for own, others in _STATES:
        for states in product(own, *[others] * 3):
            for position, offset in product(_positions(states), range(4)):
                turned = apply_turns(position, [_D + offset - 1] if offset else [])
                situation = Situation.of_down(turned, _DOWN)
                for technique in techniques:
                    if not traits(technique).in_inspection:
                        for chance in technique.chances(situation):
                            if not chance.then:
                                yield situation, chance.task


def _positions(states: Sequence[str]) -> Iterator[Array]:
    """Positions at offset 0 with the slots in these states.

    The loose pieces of the first slot are everywhere. If another slot waits for its corner, that
    corner is everywhere too: such are the pieces of a pseudo pair.
    """
    home = [SLOT_PIECES[s] for s in _SLOTS if states[s] in "sc"]
    home += [SLOT_PIECES[4 + s] for s in _SLOTS if states[s] in "se"]
    moved = [SLOT_PIECES[0]] if states[0] != "c" else []
    moved += [SLOT_PIECES[4]] if states[0] != "e" else []
    if "e" in states[1:]:
        moved.append(SLOT_PIECES[states.index("e", 1)])
    for facelets in product(*(_facelets(piece, home) for piece in moved)):
        places = dict(zip(moved, facelets, strict=True))
        if len({_cubicle(f) for f in facelets}) == len(facelets):
            yield _position(home, places)


def _cubicle(facelet: int) -> int:
    return int(PIECE_AT[facelet])


def _facelets(piece: int, home: Iterable[int]) -> list[int]:
    """Where a piece can be except home, given the pieces that are home and the cross."""
    kind = CORNERS if piece in CORNERS else EDGES
    taken = {*home, *_CROSS}
    return [
        facelet
        for facelet in range(54)
        if PIECE_AT[facelet] in kind and _cubicle(facelet) not in taken and facelet != HOME[piece]
    ]


_CROSS: Final = [p for p in EDGES if _DOWN in (HOME[p] // 9, NEXT_STICKER[HOME[p]] // 9)]


def _position(home: Sequence[int], places: dict[int, int]) -> Array:
    """Some pieces home, some at given facelets, the cross whole, the others somewhere not home."""
    position = SOLVED.copy()
    for piece, facelet in places.items():
        position[piece] = facelet
    fixed = {*home, *_CROSS, *places}
    taken = {*home, *_CROSS, *(_cubicle(facelet) for facelet in places.values())}
    for kind in (CORNERS, EDGES):
        left = [cubicle for cubicle in kind if cubicle not in taken]
        others = [piece for piece in kind if piece not in fixed]
        position[others] = NEXT_STICKER[HOME[left]]  # twisted or flipped, so never home
    return np.asarray(position)


# ``keyhole-corner``: the edge is home; the corner goes in through another free slot.
#
# The cross layer is turned aside (D^a) so that the corner's home lies under another free
# slot, the corner is inserted there without a turn of the cross layer (X), and the layer is
# turned back (D^b). Judged at the end of X only, up to offset.


_ABOUT_CORNER: Final = About(
    title="Keyhole corner",
    summary="the edge is home; its corner goes in through another free slot",
    seeing="The edge of a slot is home, and only its corner is missing. Turn the cross layer "
    "until the corner's place lies under another free slot. Insert the corner there, "
    "and turn the cross layer back. The free slot is the door through which the "
    "corner went. To see it, look for an edge that already fits its two centres, and "
    "for the corner with the same two colours in the upper layer. Then choose the "
    "door that takes the corner in with one easy trigger.",
    paying="It pays because a single corner goes in quickly, even with the two turns of the "
    "cross layer. The plain way would take the good edge out first. The upper layer "
    "hardly changes, so what you saw for the next pair stays. It pays less when the "
    "cross colour of the corner faces up: that corner takes several turns more, so do "
    "another pair first. The last pair has no keyhole, since no other slot is free to "
    "be the door.",
)


class KeyholeCorner:
    """Possible when a slot's edge is solved, its corner is not, and another slot is free."""

    id: Final = "keyhole-corner"
    sees_only_state: Final = True
    is_keyhole: Final = True
    inserts_alone: Final = "corner"
    named_by_hindsight: Final = True
    about: Final = _ABOUT_CORNER

    def chances(self, situation: Situation) -> list[Chance]:
        """One for each slot whose edge waits for its corner."""
        if situation.offset is None:
            return []
        result = []
        for slot in slot_bits(situation.edges & ~situation.corners):
            free = situation.free & ~(1 << slot)
            under = [situation.under(slot, a) for a in range(4)]
            doors = tuple(door if free >> door & 1 else None for door in under)
            prefix = sum(1 << a for a in range(4) if doors[a] is not None)
            if prefix:
                goal = goal_bits(situation.solved | 1 << slot)
                task = Task(goal, NO_D, prefix, TURNED_BACK, target=slot)
                result.append(Chance(self.id, (slot,), task, "its edge is home", doors))
        return result


# ``keyhole-edge`` and ``keyhole-flip``: the corner is home; the edge goes in under another one.
#
# The cross layer is turned aside (D^a) so that the home of an unsolved corner lies under the
# slot, the edge is inserted without a turn of the cross layer (X), and the layer is turned back
# (D^b). Judged at the end of X only, up to offset. It is called a flip if the edge stands in
# its own slot the wrong way round.


_EDGE: Final = About(
    title="Keyhole edge",
    level=Level.KEEN,
    summary="the corner is home; its edge goes in over a free corner's place",
    seeing="The corner of a slot is home, and only its edge is missing. Turn the cross layer "
    "until the place of another unsolved corner lies under the slot. Insert the edge "
    "there; what stands below it does not matter. Turn the cross layer back, and the "
    "good corner comes back under its edge. To see it, look for a cross-coloured "
    "corner that fits the two cross edges beside it, and for its edge in the upper "
    "layer.",
    paying="An edge alone goes in by a short trigger from one of the two sides of its slot, "
    "and the good corner stays. The shortest plain sequence often takes no more "
    "turns, but it is harder to find. The colour on top of the edge says which side "
    "it is: the edge goes in from the face of the other colour. Right and left are "
    "good sides. If it has to go in from the front or the back, a wide turn of the "
    "upper two layers in place of the cross-layer turn may save the rotation. It "
    "needs another slot whose corner is not solved.",
)

_FLIP: Final = About(
    title="Keyhole flip",
    level=Level.KEEN,
    summary="the corner is home; its edge stands in the slot flipped",
    seeing="Corner and edge are both in their slot, the corner right and the edge flipped. "
    "As with the keyhole edge, turn the cross layer until an unsolved corner's place "
    "lies under the slot. Take the edge out there, put it back the other way, and "
    "turn the cross layer back. To see it, look at a slot whose corner fits the cross "
    "while the edge above it shows its two colours exchanged.",
    paying="A flipped edge takes long in every way. The keyhole hardly ever saves a turn "
    "against the shortest plain sequence. Its strength is that you can find it on the "
    "spot: an edge out, an edge in, and the good corner stays. Often it is better to "
    "do another pair first that takes the flipped edge out on its way, since a "
    "keyhole edge is left. For the last pair no other place can be turned under the "
    "slot, and only the plain way remains.",
)


def _chances(technique: str, situation: Situation, slots: int, why: str) -> list[Chance]:
    if situation.offset is None:
        return []
    result = []
    for slot in slot_bits(slots):
        free = slot_bits(situation.free & ~situation.corners)
        doors = tuple(
            next((door for door in free if situation.under(door, a) == slot), None)
            for a in range(4)
        )
        prefix = sum(1 << a for a in range(4) if doors[a] is not None)
        if prefix:
            goal = goal_bits(situation.solved | 1 << slot)
            task = Task(goal, NO_D, prefix, TURNED_BACK, target=slot)
            result.append(Chance(technique, (slot,), task, why, doors))
    return result


class KeyholeEdge:
    """Possible when a slot's corner is solved and its edge elsewhere.

    Another unsolved corner's home must exist that can be turned under the slot.
    """

    id: Final = "keyhole-edge"
    sees_only_state: Final = True
    is_keyhole: Final = True
    inserts_alone: Final = "edge"
    named_by_hindsight: Final = True
    about: Final = _EDGE

    def chances(self, situation: Situation) -> list[Chance]:
        """One for each slot whose corner waits for its edge."""
        slots = situation.corners & ~situation.edges & ~situation.flipped
        return _chances(self.id, situation, slots, "its corner is home")


class KeyholeFlip:
    """Possible when a slot's corner is solved and its edge stands in it flipped."""

    id: Final = "keyhole-flip"
    sees_only_state: Final = True
    is_keyhole: Final = True
    begins_flipped: Final = True
    named_by_hindsight: Final = True
    about: Final = _FLIP

    def chances(self, situation: Situation) -> list[Chance]:
        """One for each slot whose edge stands the wrong way round under its corner."""
        slots = situation.corners & situation.flipped
        return _chances(self.id, situation, slots, "its corner is home, its edge is flipped")


# ``keyhole-chain``: two keyholes, and the cross layer is not turned back between them.
#
# Two slots have one piece home each, and a third is free. The first keyhole ends where its X
# does, at an offset, with the home piece of the other slot still solved up to it; the second
# begins there, turns the cross layer on to its own door, and ends at offset 0. Which doors it
# has depends on what the first has moved.


_KEYHOLES: Final = (KeyholeCorner(), KeyholeEdge(), KeyholeFlip())

_ABOUT_CHAIN: Final = About(
    title="Keyhole chain",
    level=Level.BOLD,
    summary="two keyholes without turning the cross layer back between them",
    seeing="Two slots have one piece home each, so both wait for a keyhole. Turn the cross "
    "layer aside for the first, insert its piece, and leave the layer there. Turn it "
    "on to the door of the second, and insert that piece too. Only then turn "
    "everything straight. To see it, look for two slots whose edges already fit their "
    "centres, or whose corners stand beside the right cross edges. A third slot must "
    "be free: it is the door of the second and often of both.",
    paying="It saves the turn that would bring the cross layer back and out again between "
    "two keyholes, and the upper layer stays quiet all the way. But nothing looks "
    "solved in between, and you have to find the second keyhole with the layer turned "
    "aside. A wrong count costs more than the chain saves. It is for solvers who "
    "follow the layer's offset without looking. With the pieces of one slot only, it "
    "is an ordinary keyhole.",
)


class KeyholeChain:
    """Possible when two slots wait for one piece each and a third is free, the second's door."""

    id: Final = "keyhole-chain"
    is_keyhole: Final = True
    showing: Final = Showing(broken=3)
    about: Final = _ABOUT_CHAIN

    def chances(self, situation: Situation) -> list[Chance]:
        """One for each keyhole that may begin and each slot that another may follow into."""
        waiting = situation.corners ^ situation.edges
        if situation.offset is None or waiting.bit_count() < 2 or situation.free.bit_count() < 3:
            return []
        return [
            self._chance(situation, first, prefix, other)
            for keyhole in _KEYHOLES
            for first in keyhole.chances(situation)
            for other in slot_bits(waiting & ~(1 << first.slots[0]))
            if (prefix := self._going_on(situation, first, other))
        ]

    def _going_on(self, situation: Situation, first: Chance, other: int) -> int:
        """The turns aside of the first keyhole from which the layer can be turned on to a door."""
        doors = slot_bits(situation.free & ~(1 << first.slots[0]) & ~(1 << other))
        onward = 1 if situation.edges >> other & 1 else -1
        needed = {onward * (door - other) % 4 for door in doors}
        ends = [((situation.offset or 0) + a) % 4 for a in range(4)]
        return sum(first.task.prefix & 1 << a for a in range(4) if needed - {ends[a]})

    def _chance(self, situation: Situation, first: Chance, prefix: int, other: int) -> Chance:
        held = other if situation.corners >> other & 1 else other + 4
        task = first.task._replace(goal=first.task.goal | 1 << held, prefix=prefix, tail=LEFT)
        (slot,) = first.slots
        both = goal_bits(situation.solved | 1 << slot | 1 << other)
        return Chance(
            self.id,
            (slot, other),
            task,
            "one piece of each is home, and the cross layer turns back only once",
            then=tuple(keyhole.id for keyhole in _KEYHOLES),
            then_into=(other,),
            second=Task(both, NO_D, AT_DOORS, TURNED_BACK, target=other),
        )
