"""The automaton of the hands, and the effect of moves in each holding, as arrays.

Holdings are those of the down frame: ``HOLDINGS[h]`` gives the holding with number h, with the
faces of the down frame in place of the fixed ones.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np
import numpy.typing as npt

from livecube.cube.geometry import FACES
from livecube.cube.holding import HOLDINGS, Holding, fixed_turns
from livecube.hands.automaton import MOVES
from livecube.search.situation import DOWN_ROTATIONS, TURN_SEEN, turn_map

if TYPE_CHECKING:
    from livecube.hands.automaton import Automaton

__all__ = [
    "AFTER",
    "CHOSEN",
    "HOLDING_SEEN",
    "KIND",
    "ORBIT",
    "ROTATED_BY",
    "SPELLED",
    "SPIN",
    "TURN_OF",
    "UPRIGHT",
    "HandArrays",
    "hand_arrays",
    "holding_in_down_frame",
]

_NUMBER: Final = {holding: number for number, holding in enumerate(HOLDINGS)}


def _renamed(holding: Holding, turns: list[int]) -> int:
    """The number of a holding after its faces are renamed as ``turns`` (18,) renames turns."""
    a, b, c, d, e, f = (turns[3 * face] // 3 for face in holding.faces)
    return _NUMBER[Holding((a, b, c, d, e, f))]


HOLDING_SEEN: Final = np.array(
    [[_renamed(one, TURN_SEEN[slot].tolist()) for one in HOLDINGS] for slot in range(4)],
    dtype=np.uint8,
)
"""Shape (4, 24): a holding of the down frame as slot s sees it, turned to the front right."""

UPRIGHT: Final = tuple(int(np.flatnonzero(HOLDING_SEEN[slot] == 0).item()) for slot in range(4))
"""For each slot the holding with the cross down in which that slot is at the front right."""

KIND: Final = np.array(
    [UPRIGHT.index(one) if one in UPRIGHT else len(UPRIGHT) for one in range(len(HOLDINGS))]
)
"""Shape (24,): the kind of a holding: which slot is at the front right, or 4: it is tilted."""

_IN_DOWN_FRAME: Final = [
    [_renamed(one, turn_map(DOWN_ROTATIONS[face])) for one in HOLDINGS] for face in range(6)
]


def holding_in_down_frame(holding: Holding, face: int) -> int:
    """The number that a holding of the fixed frame has in the down frame of a cross."""
    return _IN_DOWN_FRAME[face][_NUMBER[holding]]


def _written() -> tuple[npt.NDArray[np.uint8], npt.NDArray[np.uint8], npt.NDArray[np.uint8]]:
    turn_of, after = np.empty((24, 36), dtype=np.uint8), np.empty((24, 36), dtype=np.uint8)
    spelled = np.empty((24, 18, 2), dtype=np.uint8)
    for number, holding in enumerate(HOLDINGS):
        for n, move in enumerate(MOVES):
            (turn,), then = fixed_turns([move], holding)
            turn_of[number, n], after[number, n] = turn, _NUMBER[then]
            spelled[number, turn, n // 18] = n
    return turn_of, after, spelled


TURN_OF, AFTER, SPELLED = _written()
"""The turn of a move in a holding (24, 36); the holding after it (24, 36); the two moves, of a
face and wide, that make a turn in a holding (24, 18, 2)."""

ROTATED_BY: Final = np.array(
    [
        [_NUMBER[Holding((a, b, c, d, e, f))] for other in HOLDINGS
         for a, b, c, d, e, f in [[one.faces[i] for i in other.faces]]]
        for one in HOLDINGS
    ],
    dtype=np.uint8,
)  # fmt: skip
"""Shape (24, 24): the holding reached from h by the rotation that leads from 0 to r."""


def _orbits() -> tuple[list[int], list[int], list[int]]:
    chosen, orbit, spin = list[int](), list[int](), list[int]()
    for seen in HOLDING_SEEN.T.tolist():
        known = next((n for n, one in enumerate(chosen) if one in seen), len(chosen))
        if known == len(chosen):
            chosen.append(seen[0])
        orbit.append(known)
        spin.append(seen.index(chosen[known]))
    return chosen, orbit, spin


CHOSEN, ORBIT, SPIN = map(np.array, _orbits())
"""One of each four holdings that differ by a turn about the vertical (6,); for each holding its
one of these (24,), and the slot from which it looks like that one (24,)."""


class HandArrays(NamedTuple):
    """The hands as a search needs them."""

    seconds: npt.NDArray[np.int32]
    """Shape (states, 36): milliseconds of a move; ``NEVER``: the move is not written."""
    then: npt.NDArray[np.int16]
    """Shape (states, 36): the state after it."""
    start: int
    rotated: int
    least: int
    """Milliseconds of the cheapest move in any state."""
    turned: int
    """Milliseconds of the cheapest rotation and the move after it."""
    turn_of: npt.NDArray[np.uint8]
    after: npt.NDArray[np.uint8]
    spelled: npt.NDArray[np.uint8]
    rotation: npt.NDArray[np.int32]
    """Shape (24, 24): milliseconds from holding to holding."""
    finish: npt.NDArray[np.int32]
    """Shape (24,): milliseconds until the cross is down."""
    front: npt.NDArray[np.uint8]
    """Shape (24,): the slot that is then at the front right."""
    seen: npt.NDArray[np.uint8]
    """:data:`HOLDING_SEEN`."""
    kind: npt.NDArray[np.int64]
    """:data:`KIND`."""


def hand_arrays(automaton: Automaton) -> HandArrays:
    """The arrays of an automaton, those of holdings included."""
    rotation = automaton.rotation_ms
    to_upright = automaton.rotation_ms[:, UPRIGHT]
    assert all(HOLDINGS[one].faces[5] == FACES.index("D") for one in UPRIGHT)
    return HandArrays(
        automaton.seconds_ms,
        automaton.next,
        automaton.start,
        automaton.rotated,
        int(automaton.seconds_ms.min()),
        int(
            rotation[~np.eye(24, dtype=bool)].min() + automaton.seconds_ms[automaton.rotated].min()
        ),
        TURN_OF,
        AFTER,
        SPELLED,
        automaton.rotation_ms,
        np.ascontiguousarray(to_upright.min(axis=1)),
        to_upright.argmin(axis=1).astype(np.uint8),
        HOLDING_SEEN,
        KIND,
    )
