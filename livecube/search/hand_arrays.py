"""The automaton of the hands as the search reads it."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Final

import numpy as np

from livecube.cube.geometry import FACES
from livecube.cube.holding import HOLDINGS, Holding, Move, fixed_turns
from livecube.search.coordinates import TURN_SEEN
from livecube.search.fastest_kernel import HandArrays

if TYPE_CHECKING:
    import numpy.typing as npt

    from livecube.hands.automaton import Automaton

__all__ = ["HOLDING_SEEN", "MOVES", "UPRIGHT", "hand_arrays"]

MOVES: Final = tuple(
    Move(symbol, quarters)
    for symbol in (*FACES, *(f"{face}w" for face in FACES))
    for quarters in (1, 2, 3)
)
"""The 36 written moves in the order of all tables."""

_NUMBER: Final = {holding: number for number, holding in enumerate(HOLDINGS)}

HOLDING_SEEN: Final = np.array(
    [
        [
            _NUMBER[Holding(tuple(int(TURN_SEEN[slot, 3 * face]) // 3 for face in one.faces))]  # type: ignore[arg-type]
            for one in HOLDINGS
        ]
        for slot in range(4)
    ],
    dtype=np.uint8,
)
"""Shape (4, 24): a holding of the down frame as slot s sees it, turned to the front right."""

UPRIGHT: Final = tuple(
    next(h for h in range(24) if HOLDING_SEEN[slot, h] == _NUMBER[Holding((0, 1, 2, 3, 4, 5))])
    for slot in range(4)
)
"""The holding with the cross down in which slot s is at the front right."""


@cache
def _written() -> tuple[npt.NDArray[np.uint8], npt.NDArray[np.uint8], npt.NDArray[np.uint8]]:
    turn_of, after = np.empty((24, 36), dtype=np.uint8), np.empty((24, 36), dtype=np.uint8)
    spelled = np.empty((24, 18, 2), dtype=np.uint8)
    for number, holding in enumerate(HOLDINGS):
        for n, move in enumerate(MOVES):
            (turn,), then = fixed_turns([move], holding)
            turn_of[number, n], after[number, n] = turn, _NUMBER[then]
            spelled[number, turn, n // 18] = n
    return turn_of, after, spelled


def hand_arrays(automaton: Automaton) -> HandArrays:
    """An automaton with all that a search needs to know of holdings."""
    turn_of, after, spelled = _written()
    down = [number for number, one in enumerate(HOLDINGS) if one.faces[5] == FACES.index("D")]
    return HandArrays(
        automaton.seconds_ms,
        automaton.next,
        automaton.start,
        automaton.rotated,
        int(automaton.seconds_ms.min()),
        turn_of,
        after,
        spelled,
        automaton.rotation_ms,
        np.ascontiguousarray(automaton.rotation_ms[:, down].min(axis=1)),
        HOLDING_SEEN,
    )
