"""Lower bounds for the search for the fastest ways.

They are the least milliseconds for the cross, for a pair by itself, and for the cross with one
piece of a slot: shortest paths over positions and holdings. Each move has its lowest price in any
state of the hands, a rotation its own price. Without turns of the cross layer the times are longer,
so such parts have tables of their own.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from numba import njit

from livecube.hands.automaton import NEVER
from livecube.search.fastest_kernel import KINDS, SECOND_AT
from livecube.search.hand_arrays import CHOSEN, KIND, ORBIT, SPELLED, SPIN, UPRIGHT
from livecube.search.situation import CROSSES, PIECE_MOVES, SOLVED_PLACES
from livecube.search.tables import SOLVED_CROSS, decode_cross, encode_cross
from livecube.search.task import D_TURNS, UNIT_MS

if TYPE_CHECKING:
    from collections.abc import Iterable

    import numpy.typing as npt

    from livecube.search.hand_arrays import HandArrays

__all__ = [
    "cross_seconds",
    "cross_views",
    "left_over",
    "pair_seconds",
    "piece_seconds",
    "spread_cross_seconds",
]

_MOST_MS: Final = 255 * UNIT_MS
_MOST_UNITS: Final = 255
_FEWEST: Final = 3
"""Turns that insert a piece, at least."""
_INVERSE: Final = np.array([3 * (move // 3) + 2 - move % 3 for move in range(36)])
_D: Final = 15
"""The turn D; D2 and D' follow."""


def cross_views(seen: npt.NDArray[np.int32]) -> npt.NDArray[np.int32]:
    """Shape (190080, 4, 4): crosses seen from offset k, for each slot.

    See ``SecondsTables.views``.
    """
    return np.ascontiguousarray(seen[:, _aligned()].transpose(2, 1, 0))


@njit(cache=True, nogil=True)
def _aligned():  # type: ignore[no-untyped-def]
    result = np.empty((4, CROSSES), dtype=np.int32)
    places, renamed = np.empty(4, dtype=np.int64), np.empty(4, dtype=np.int64)
    for cross in range(CROSSES):
        decode_cross(cross, places)
        for k in range(4):
            for i in range(4):
                # At offset k edge i stands in the home of the edge k places further on.
                renamed[(i + k) % 4] = places[i]
            result[k, cross] = encode_cross(renamed)
    return result


def cross_seconds(
    moves: npt.NDArray[np.int32], seen: npt.NDArray[np.int32], hands: HandArrays
) -> npt.NDArray[np.uint8]:
    """Shape (6, 190080): for one of each four holdings that differ by a turn about the vertical."""
    return _solve(  # type: ignore[no-any-return]
        moves, seen, CHOSEN, ORBIT, SPIN, SOLVED_CROSS, 0, *_prices(hands)
    )


def spread_cross_seconds(
    six: npt.NDArray[np.uint8], seen: npt.NDArray[np.int32]
) -> npt.NDArray[np.uint8]:
    """Shape (190080, 24): the same for every holding."""
    return np.stack([six[ORBIT[h], seen[SPIN[h]]] for h in range(24)], axis=1)


def pair_seconds(hands: HandArrays) -> npt.NDArray[np.uint8]:
    """Shape (2, 576, 24): for each place of slot 0's corner and edge, and each holding.

    Second: without turns of the cross layer, and without the time to bring the cross down.
    """
    both_moved = 24 * PIECE_MOVES[0].T[:, None].astype(np.int32) + PIECE_MOVES[1].T[None]
    # In another order of memory the kernel would be compiled again for it, which takes 10 s.
    moves = np.ascontiguousarray(both_moved.reshape(576, 18))
    every = np.arange(24)
    seen = np.arange(576, dtype=np.int32)[None]
    home = 24 * int(SOLVED_PLACES[0]) + int(SOLVED_PLACES[4])
    in_place = np.zeros(24, dtype=np.int64)
    anywhere = hands._replace(finish=np.zeros_like(hands.finish))
    both = [
        _solve(moves, seen, every, every, in_place, home, barred, *_prices(end)).T
        for barred, end in ((0, hands), (D_TURNS, anywhere))
    ]
    return np.ascontiguousarray(np.stack(both))  # for the same reason


def piece_seconds(
    moves: npt.NDArray[np.int32], hands: HandArrays, kind: int, *, still: bool
) -> npt.NDArray[np.uint8]:
    """Shape (4561920, KINDS): for the cross and slot 0's corner (0) or edge (1).

    Holdings are lumped into kinds. A turn costs the least of its prices over the holdings of a
    kind, the states of the hands, and the moves that lead to a holding of the other kind. So each
    way through holdings is one through kinds that costs no more, and the cheapest among kinds
    bounds it from below. ``still``: without turns of the cross layer. The end has a price: the
    least over the ends in ``left`` that may follow, each minus its entry in ``more``.
    """
    turn = np.full((KINDS, 18, KINDS), NEVER, dtype=np.int64)
    rotation = np.full((KINDS, KINDS), NEVER, dtype=np.int64)
    least = hands.seconds.min(axis=0)
    for holding in range(24):
        at, to = KIND[holding], KIND[hands.after[holding]]
        np.minimum.at(turn, (at, hands.turn_of[holding], to), least)
        np.minimum.at(rotation, (at, KIND), hands.rotation[holding])
    if still:
        turn[:, _D:] = NEVER
    left, more = left_over(hands)
    ends = range(5) if still else SECOND_AT
    end = np.min([_by_kind(left[one]) - more[one] for one in ends], axis=0)
    steps = np.array(
        [
            (t, behind, before, int(turn[before, t, behind]) // UNIT_MS)
            for t in range(18)
            for behind in range(KINDS)
            for before in range(KINDS)
            if turn[before, t, behind] < _MOST_MS
        ]
    )
    # The steps by a turn that lead to a kind stand together.
    first = np.searchsorted(steps[:, 0] * KINDS + steps[:, 1], np.arange(18 * KINDS + 1))
    home = SOLVED_CROSS * 24 + int(SOLVED_PLACES[4 * kind])
    rotation = np.minimum(rotation // UNIT_MS, _MOST_UNITS)
    cheapest = min(int(steps[:, 3].min()), int(rotation[~np.eye(KINDS, dtype=bool)].min()))
    return _solve_piece(  # type: ignore[no-any-return]
        moves, PIECE_MOVES[kind], home, steps, first, rotation,
        np.minimum(end // UNIT_MS, _MOST_UNITS - 1), max(cheapest, 1),
    )  # fmt: skip


def left_over(hands: HandArrays) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """The ``left`` and ``more`` of ``SecondsTables``: the least time after the end of a part."""
    left = np.empty((8, 24), dtype=np.int64)
    left[0] = hands.finish
    for k in (1, 2, 3):
        left[k] = _before_turns(hands, left[0], [_D + 3 - k])
        left[SECOND_AT[k]] = _before_part(hands, left[k], range(_D))
    back = _before_turns(hands, left[0], range(_D, _D + 3))
    left[4] = _before_turns(hands, _before_part(hands, back, range(18)), range(_D, _D + 3))
    more = left[:, list(UPRIGHT)].min(axis=1)
    ends = np.min([_by_kind(one) - extra for one, extra in zip(left[:4], more, strict=False)], 0)
    more[4] = (_by_kind(left[4]) - ends).min()  # so low that the table of the others serves
    return left, more


def _before_part(
    hands: HandArrays, then: npt.NDArray[np.int64], turns: Iterable[int]
) -> npt.NDArray[np.int64]:
    """Shape (24,): the least milliseconds of an insertion by some turns, and of ``then``."""
    turns = [*turns]
    # A side turn breaks the cross and is undone only after another turn: three at least.
    for _ in range(_FEWEST):
        then = _before_turns(hands, then, turns)
    for _ in range(24):  # any more moves may bring the cross down, too
        then = np.minimum(then, _before_turns(hands, then, turns))
    return then


def _before_turns(
    hands: HandArrays, then: npt.NDArray[np.int64], turns: Iterable[int]
) -> npt.NDArray[np.int64]:
    """Shape (24,): least milliseconds of one of the turns, and of ``then``.

    ``then`` is the time from the holding after it; a rotation may come before it.
    """
    least = hands.seconds.min(axis=0).astype(np.int64)
    move = SPELLED[:, list(turns)].reshape(24, -1)
    done = (least[move] + then[hands.after[np.arange(24)[:, None], move]]).min(axis=1)
    return np.asarray((hands.rotation + done).min(axis=1), dtype=np.int64)


def _by_kind(per_holding: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    """The least for each kind of holding."""
    return np.array([per_holding[kind == KIND].min() for kind in range(KINDS)])


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
            # The inverse of a move leads to its predecessor; rotations come afterwards.
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


@njit(cache=True, nogil=True)
def _solve_piece(moves, piece_moves, home, steps, first, rotation, end, width):  # type: ignore[no-untyped-def]
    """Dijkstra from the solved states, in units; the next states are found by scanning the table.

    Each price is rounded down by itself, so sums are never too high. States less than ``width``
    units apart (the cheapest step) do not lead to one another. So one scan handles ``width`` units,
    and it is quick because the kinds of a position are neighbours in memory.
    """
    kinds = end.shape[0]
    units = np.full((moves.shape[0] * 24, kinds), _MOST_UNITS, dtype=np.uint8)
    for kind in range(kinds):  # see the traps in livecube/search/README.md
        units[home, kind] = end[kind]
    here = np.empty(kinds, dtype=np.int64)
    for now in range(0, _MOST_UNITS, width):
        again = True
        while again:  # a price below a unit can lead to states that the scan has passed
            again = False
            for position in range(units.shape[0]):
                inside = False
                for kind in range(kinds):
                    here[kind] = units[position, kind]
                    if now <= here[kind] < min(now + width, _MOST_UNITS):
                        inside = True
                    else:
                        here[kind] = _MOST_UNITS
                if not inside:
                    continue
                for kind in range(kinds):
                    for before in range(kinds):
                        price = here[kind] + rotation[before, kind]
                        if price < units[position, before]:
                            units[position, before] = price
                            again |= price == now
                for turn in range(18):
                    back = 3 * (turn // 3) + 2 - turn % 3
                    other = np.int64(moves[position // 24, back]) * 24
                    other += piece_moves[back, position % 24]
                    for kind in range(kinds):
                        if here[kind] == _MOST_UNITS:
                            continue
                        for n in range(first[turn * kinds + kind], first[turn * kinds + kind + 1]):
                            before, price = steps[n, 2], here[kind] + steps[n, 3]
                            if price < units[other, before]:
                                units[other, before] = price
                                again |= price == now
    return units
