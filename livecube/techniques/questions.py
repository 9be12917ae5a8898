"""The questions that techniques ask with the cross whole, from positions made for the purpose.

What a technique asks depends on which pieces of the four slots are home, and the answer also
on where the target's other pieces are. So one slot stands for all, its pieces are put
everywhere, and the other slots are tried in every state that a technique looks at.
"""

from __future__ import annotations

from itertools import product
from typing import TYPE_CHECKING, Final

import numpy as np

from livecube.cube.geometry import FACES, NEXT_STICKER
from livecube.cube.pieces import CORNERS, EDGES, HOME, PIECE_AT
from livecube.cube.position import SOLVED, apply_turns
from livecube.search.coordinates import SLOT_PIECES
from livecube.search.situation import Situation

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from livecube.cube.geometry import Array
    from livecube.search.task import Task
    from livecube.techniques.base import Technique

__all__ = ["questions"]

_DOWN: Final = FACES.index("D")
_D: Final = 3 * _DOWN
"""The turn D; D2 and D' follow."""
_SLOTS: Final = range(4)

_STATES: Final = [
    # What is solved of slot 0, and how the other slots may be: s solved, l both pieces loose,
    # c only the corner solved, e only the edge.
    ("l", "sl"),  # shortest, plain, made pair
    ("e", "sl"),  # keyhole corner: any free slot is a door
    ("c", "slc"),  # keyhole edge and flip: a door is a slot without its corner
    ("c", "sle"),  # pseudo pair, with the edge of another slot
]


def questions(techniques: Sequence[Technique]) -> Iterator[tuple[Situation, Task]]:
    """The questions up to rotation, each with a situation that asks it.

    Many come more than once. The situations need not be reachable by turns of a real cube:
    pieces that no question looks at stand anywhere.
    """
    for own, others in _STATES:
        for states in product(own, *[others] * 3):
            for position, offset in product(_positions(states), range(4)):
                turned = apply_turns(position, [_D + offset - 1] if offset else [])
                situation = Situation.of_down(turned, _DOWN)
                for technique in techniques:
                    if not technique.in_inspection:
                        for chance in technique.chances(situation):
                            if not chance.then:
                                yield situation, chance.task


def _positions(states: Sequence[str]) -> Iterator[Array]:
    """Positions at offset 0 with the slots in these states.

    The loose pieces of the first are everywhere. If another slot waits for its corner, then
    that one is everywhere too: the pieces of a pseudo pair.
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
    """Where a piece can be, other than home, beside pieces that are and the cross."""
    kind = CORNERS if piece in CORNERS else EDGES
    taken = {*home, *_CROSS}
    return [
        facelet
        for facelet in range(54)
        if PIECE_AT[facelet] in kind and _cubicle(facelet) not in taken and facelet != HOME[piece]
    ]


_CROSS: Final = [p for p in EDGES if _DOWN in (HOME[p] // 9, NEXT_STICKER[HOME[p]] // 9)]


def _position(home: Sequence[int], places: dict[int, int]) -> Array:
    """Some pieces home, some at given facelets, the cross whole, the others anywhere not home."""
    position = SOLVED.copy()
    for piece, facelet in places.items():
        position[piece] = facelet
    fixed = {*home, *_CROSS, *places}
    taken = {*home, *_CROSS, *(_cubicle(facelet) for facelet in places.values())}
    for kind in (CORNERS, EDGES):
        left = [cubicle for cubicle in kind if cubicle not in taken]
        others = [piece for piece in kind if piece not in fixed]
        position[others] = NEXT_STICKER[HOME[left]]  # the wrong way round, so never home
    return np.asarray(position)
