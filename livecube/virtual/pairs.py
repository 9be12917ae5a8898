"""Putting corners and edges into slots, in the cross frame, without disturbing solved pieces.

A plan is built of turns of U and of *triggers*: short sequences that keep the cross and
three slots and change one slot and the upper layer. Shortest plans come from a table for
every slot and every set of slots that may be opened (at most 576 states each).

Slots are numbered 0 FR, 1 FL, 2 BL, 3 BR, as their corners (4 to 7) and edges (16 to 19).
"""

from __future__ import annotations

from functools import cache
from heapq import heappop, heappush
from typing import TYPE_CHECKING, Final, NamedTuple

from livecube.cube.geometry import FACES
from livecube.cube.notation import parse_turns
from livecube.cube.position import SOLVED, TURN_BYTES, make_turn, turn_face, turn_quarters

if TYPE_CHECKING:
    import numpy as np

__all__ = [
    "CORNER",
    "EDGE",
    "HOMES",
    "carried",
    "layer_turn",
    "offset_taking",
    "place_under",
    "plan_pieces",
    "trigger_out",
]

CORNER: Final = 4
"""Number of slot 0's corner."""
EDGE: Final = 16
"""Number of slot 0's edge."""
HOMES: Final = SOLVED.tobytes()

# Common practice, no published source; each is verified when the module is loaded.
_TRIGGERS: Final = (
    "R U R'",
    "R U2 R'",
    "R U' R'",
    "F' U F",
    "F' U2 F",
    "F' U' F",
    "F R' F' R",
    "R' F R F'",
)
_Y_CYCLE: Final = {"F": "L", "L": "B", "B": "R", "R": "F", "U": "U", "D": "D"}
"""Where each face goes when slot 0 (FR) is carried to slot 1 (FL)."""


class _Element(NamedTuple):
    turns: tuple[int, ...]
    table: bytes
    """Its effect, as a table for ``bytes.translate``."""
    slot: int
    """The slot it opens, −1 for a turn of U."""
    cost: int


def _table(turns: tuple[int, ...]) -> bytes:
    table = bytes(range(256))
    for turn in turns:
        table = table.translate(TURN_BYTES[turn])
    return table


def carried(turns: tuple[int, ...], slot: int) -> tuple[int, ...]:
    """The turns as they are made when slot 0 is carried to another slot."""
    for _ in range(slot):
        turns = tuple(
            make_turn(FACES.index(_Y_CYCLE[FACES[turn_face(t)]]), turn_quarters(t)) for t in turns
        )
    return turns


def _elements() -> list[_Element]:
    elements = [_Element((turn,), _table((turn,)), -1, 1) for turn in range(3)]
    for slot in range(4):
        kept = [*range(12, 16)]
        kept += [piece + other for piece in (CORNER, EDGE) for other in range(4) if other != slot]
        for text in _TRIGGERS:
            turns = carried(tuple(parse_turns(text)), slot)
            table = _table(turns)
            if any(table[HOMES[piece]] != HOMES[piece] for piece in kept):
                raise ValueError(f"{text!r} opens more than one slot; mend or remove it")
            elements.append(_Element(turns, table, slot, len(turns)))
    return elements


_ELEMENTS: Final = _elements()


@cache
def _allowed(places: frozenset[int]) -> list[_Element]:
    return [e for e in _ELEMENTS if e.slot < 0 or e.slot in places]


@cache
def _distances(target: bytes, places: frozenset[int]) -> dict[bytes, int]:
    """Turns to ``target`` (one or two facelets) from every state, opening only these slots."""
    distances = {target: 0}
    queue = [(0, target)]
    while queue:
        distance, state = heappop(queue)
        # The elements are closed under inversion, so the way back costs the same.
        for element in _allowed(places):
            after = state.translate(element.table)
            total = distance + element.cost
            if total < distances.get(after, 999):
                distances[after] = total
                heappush(queue, (total, after))
    return distances


def plan_pieces(
    now: bytes,
    target: bytes,
    places: frozenset[int],
    rng: np.random.Generator,
    slack: int = 0,
) -> list[int] | None:
    """A random plan that takes one or two pieces to their target facelets.

    ``now`` and ``target`` hold the reference facelet of each piece; only slots in ``places``
    are opened. At most ``slack`` turns longer than the shortest such plan. None if there is
    no plan.
    """
    distances = _distances(target, places)
    if now not in distances:
        return None
    start = now
    left = distances[now] + slack
    plan: list[int] = []
    slot = -2
    while now != target:
        options: list[tuple[_Element, bytes]] = []
        for element in _allowed(places):
            # Two turns of the upper layer in a row would be one.
            if element.slot == slot == -1:
                continue
            after = now.translate(element.table)
            if distances[after] + element.cost <= left:
                options.append((element, after))
        if not options:  # The slack was wasted on a turn of U.
            return plan_pieces(start, target, places, rng)
        element, now = options[int(rng.integers(len(options)))]
        plan += element.turns
        left -= element.cost
        slot = element.slot
    return plan


def layer_turn(quarters: int) -> list[int]:
    """The turn of the cross layer by this many clockwise quarters: none or one."""
    return [make_turn(FACES.index("D"), quarters)] if quarters % 4 else []


def place_under(slot: int, offset: int) -> int:
    """The slot under which the home of this slot's corner lies at an offset."""
    # A clockwise quarter of D takes FR to BR: slot numbers go down.
    return (slot - offset) % 4


def offset_taking(slot: int, place: int) -> int:
    """The offset at which the home of this slot's corner lies under another slot."""
    return next(k for k in range(4) if place_under(slot, k) == place)


def trigger_out(slot: int, rng: np.random.Generator) -> list[int]:
    """Turns that take a pair out of its slot."""
    options = [e for e in _ELEMENTS if e.slot == slot]
    return list(options[int(rng.integers(len(options)))].turns)
