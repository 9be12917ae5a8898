"""What the search for the fastest ways is bounded by, beyond the distances of ``tables``.

In seconds: what the hands need at least for the cross, or for a pair by itself. These are shortest
paths over positions and holdings, each move at the least price that it has in any state of the
hands, a rotation at its own. In turns: distances without a turn of the cross layer, which are much
greater than with it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from numba import njit

from livecube.search.coordinates import CROSSES, PIECE_MOVES, SOLVED_PLACES
from livecube.search.fastest_kernel import UNIT_MS
from livecube.search.pair_table import build_pair_table
from livecube.search.tables import SOLVED_CROSS, decode_cross, encode_cross, piece_distances
from livecube.search.task import D_TURNS

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy.typing as npt

    from livecube.search.hand_arrays import HandArrays

__all__ = [
    "aligned_crosses",
    "cross_seconds",
    "pair_seconds",
    "spread_cross_seconds",
    "still_distances",
    "still_pair_table",
]

_MOST_MS: Final = 255 * UNIT_MS
_INVERSE: Final = np.array([3 * (move // 3) + 2 - move % 3 for move in range(36)])
_D: Final = tuple(turn for turn in range(18) if D_TURNS >> turn & 1)
_STILL: Final = [turn for turn in range(18) if turn not in _D]


def still_pair_table(
    moves: npt.NDArray[np.int32], step: Callable[[], None] = lambda: None
) -> npt.NDArray[np.uint8]:
    """The table of cross and pair without turns of the cross layer, see ``pair_table``."""
    return build_pair_table(moves, step, without=_D)


def still_distances(
    moves: npt.NDArray[np.int32],
) -> tuple[npt.NDArray[np.uint8], npt.NDArray[np.uint8]]:
    """Of the cross with slot 0's corner, and with its edge, each ``24 * cross + place``."""
    allowed = np.ascontiguousarray(moves[:, _STILL])
    corner, edge = (
        piece_distances(allowed, PIECE_MOVES[kind][_STILL], int(SOLVED_PLACES[4 * kind]))
        for kind in (0, 1)
    )
    return corner, edge


def aligned_crosses() -> npt.NDArray[np.int32]:
    """Shape (4, 190080): each cross renamed so that it is solved if it was whole at offset k."""
    return _aligned()  # type: ignore[no-any-return]


@njit(cache=True, nogil=True)
def _aligned():  # type: ignore[no-untyped-def]
    result = np.empty((4, CROSSES), dtype=np.int32)
    places, renamed = np.empty(4, dtype=np.int64), np.empty(4, dtype=np.int64)
    for cross in range(CROSSES):
        decode_cross(cross, places)
        for k in range(4):
            for i in range(4):
                # At offset k edge i stands where the edge that is k further on has its home.
                renamed[(i + k) % 4] = places[i]
            result[k, cross] = encode_cross(renamed)
    return result


def cross_seconds(
    moves: npt.NDArray[np.int32], seen: npt.NDArray[np.int32], hands: HandArrays
) -> npt.NDArray[np.uint8]:
    """Shape (6, 190080): for one holding of each four that differ by a turn about the vertical."""
    chosen, orbit, spin = _orbits(hands)
    return _solve(  # type: ignore[no-any-return]
        moves, seen, chosen, orbit, spin, SOLVED_CROSS, 0, *_prices(hands)
    )


def spread_cross_seconds(
    six: npt.NDArray[np.uint8], seen: npt.NDArray[np.int32], hands: HandArrays
) -> npt.NDArray[np.uint8]:
    """Shape (190080, 24): the same for every holding."""
    _, orbit, spin = _orbits(hands)
    return np.stack([six[orbit[h], seen[spin[h]]] for h in range(24)], axis=1)


def pair_seconds(hands: HandArrays, *, still: bool = False) -> npt.NDArray[np.uint8]:
    """Shape (576, 24): for each place of slot 0's corner and edge, and each holding.

    ``still``: without turns of the cross layer, which may end up anywhere.
    """
    moves = (24 * PIECE_MOVES[0].T[:, None].astype(np.int32) + PIECE_MOVES[1].T[None]).reshape(
        576, 18
    )
    every = np.arange(24)
    seen = np.arange(576, dtype=np.int32)[None]
    home = 24 * int(SOLVED_PLACES[0]) + int(SOLVED_PLACES[4])
    barred = D_TURNS if still else 0
    if still:
        hands = hands._replace(finish=np.zeros_like(hands.finish))
    still_there = np.zeros(24, dtype=np.int64)
    table = _solve(moves, seen, every, every, still_there, home, barred, *_prices(hands))
    return np.ascontiguousarray(table.T)


def _orbits(
    hands: HandArrays,
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """Six holdings, and for each of the 24 which of them it is, seen from which slot."""
    chosen: list[int] = []
    orbit, spin = np.zeros(24, dtype=np.int64), np.zeros(24, dtype=np.int64)
    for holding in range(24):
        seen = hands.seen[:, holding].tolist()
        known = next((n for n, one in enumerate(chosen) if one in seen), None)
        if known is None:
            known = len(chosen)
            chosen.append(holding)
        orbit[holding], spin[holding] = known, seen.index(chosen[known])
    return np.array(chosen), orbit, spin


def _prices(
    hands: HandArrays,
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64], HandArrays]:
    least = hands.seconds.min(axis=0).astype(np.int64)
    return least, _INVERSE, hands


@njit(cache=True, nogil=True)
def _solve(moves, seen, chosen, orbit, spin, home, barred, least, inverse, hands):  # type: ignore[no-untyped-def]
    """Dijkstra from the solved states, in buckets of a millisecond."""
    count = moves.shape[0]
    kinds = chosen.shape[0]
    cost = np.full(kinds * count, _MOST_MS + 1, dtype=np.int32)
    behind = np.full(kinds * count, -1, dtype=np.int32)
    ahead = np.full(kinds * count, -1, dtype=np.int32)
    first = np.full(_MOST_MS + 2, -1, dtype=np.int32)
    for kind in range(kinds):
        at = kind * count + home
        cost[at] = min(hands.finish[chosen[kind]], _MOST_MS)
        behind[at] = first[cost[at]]
        if first[cost[at]] >= 0:
            ahead[first[cost[at]]] = at
        first[cost[at]] = at
    for now in range(_MOST_MS + 1):
        while first[now] >= 0:
            at = first[now]
            first[now] = behind[at]
            if behind[at] >= 0:
                ahead[behind[at]] = -1
            holding = chosen[at // count]
            position = at % count
            # What leads here by a move is where its inverse leads; rotations come behind.
            for way in range(60):
                if way < 36:
                    back = inverse[way]
                    if barred >> hands.turn_of[holding, back] & 1:
                        continue
                    other = moves[position, hands.turn_of[holding, back]]
                    to = hands.after[holding, back]
                    price = now + least[way]
                else:
                    other = position
                    to = way - 36
                    price = now + hands.rotation[to, holding]
                state = orbit[to] * count + seen[spin[to], other]
                if price <= _MOST_MS and price < cost[state]:
                    if cost[state] <= _MOST_MS:
                        if ahead[state] >= 0:
                            behind[ahead[state]] = behind[state]
                        else:
                            first[cost[state]] = behind[state]
                        if behind[state] >= 0:
                            ahead[behind[state]] = ahead[state]
                    cost[state] = price
                    behind[state] = first[price]
                    ahead[state] = -1
                    if first[price] >= 0:
                        ahead[first[price]] = state
                    first[price] = state
    result = np.empty((kinds, count), dtype=np.uint8)
    for at in range(kinds * count):
        result[at // count, at % count] = min(cost[at], _MOST_MS) // UNIT_MS
    return result
