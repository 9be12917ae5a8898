"""Lower bounds for the search for the fastest ways.

They are the least milliseconds for the cross, for a pair by itself, and for the cross with one
piece of a slot: shortest paths over positions and holdings. Each move has its lowest price in any
state of the hands, a rotation its own price. Without turns of the cross layer the times are longer,
so such parts have tables of their own.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from livecube.hands.automaton import NEVER
from livecube.search.fastest_arrays import KINDS, SECOND_AT
from livecube.search.hand_arrays import CHOSEN, KIND, ORBIT, SPELLED, SPIN, UPRIGHT
from livecube.search.situation import (
    PIECE_MOVES,
    SOLVED_PLACES,
    cross_numbers,
    every_cross,
)
from livecube.search.table_kernels import inner, kernel
from livecube.search.tables import SOLVED_CROSS
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
_ROOM: Final = 12
"""Bits for the units of a kind: enough for the sum of two, and one on top that is free."""
_AT: Final = _ROOM * np.arange(KINDS)
_ONES: Final = int((1 << _AT).sum())
_TOPS: Final = _ONES << _ROOM - 1
_FEWEST: Final = 3
"""Turns that insert a piece, at least."""
_INVERSE: Final = np.array([3 * (move // 3) + 2 - move % 3 for move in range(36)])
_D: Final = 15
"""The turn D; D2 and D' follow."""


def cross_views(seen: npt.NDArray[np.int32]) -> npt.NDArray[np.int32]:
    """Shape (190080, 4, 4): crosses seen from offset k, for each slot.

    See ``SecondsTables.views``.
    """
    places = every_cross()
    # At offset k edge i stands in the home of the edge k places further on.
    aligned = [cross_numbers(np.roll(places, k, axis=0)) for k in range(4)]
    return np.ascontiguousarray(seen[:, aligned].transpose(2, 1, 0))


def cross_seconds(
    moves: npt.NDArray[np.int32], seen: npt.NDArray[np.int32], hands: HandArrays
) -> npt.NDArray[np.uint8]:
    """Shape (6, 190080): for one of each four holdings that differ by a turn about the vertical."""
    return _least_units(moves, seen, CHOSEN, ORBIT, SPIN, SOLVED_CROSS, hands)


def spread_cross_seconds(
    six: npt.NDArray[np.uint8], seen: npt.NDArray[np.int32]
) -> npt.NDArray[np.uint8]:
    """Shape (190080, 24): the same for every holding."""
    return np.stack([six[ORBIT[h], seen[SPIN[h]]] for h in range(24)], axis=1)


def pair_seconds(hands: HandArrays) -> npt.NDArray[np.uint8]:
    """Shape (2, 576, 24): for each place of slot 0's corner and edge, and each holding.

    Second: without turns of the cross layer, and without the time to bring the cross down.
    """
    both_moved = 24 * PIECE_MOVES[0].T[:, None].astype(np.int64) + PIECE_MOVES[1].T[None]
    moves = both_moved.reshape(576, 18).astype(np.int32)
    every, same = np.arange(24), np.arange(576, dtype=np.int32)[None]
    home = 24 * int(SOLVED_PLACES[0]) + int(SOLVED_PLACES[4])
    anywhere = hands._replace(finish=np.zeros_like(hands.finish))
    both = [
        _least_units(moves, same, every, every, np.zeros_like(every), home, end, barred).T
        for end, barred in ((hands, 0), (anywhere, D_TURNS))
    ]
    # In another order of memory the kernel would be compiled again for it, which takes 10 s.
    return np.ascontiguousarray(np.stack(both))


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
    home = SOLVED_CROSS * 24 + int(SOLVED_PLACES[4 * kind])
    apart = rotation[~np.eye(KINDS, dtype=bool)].min()
    cheapest = max(int(min(turn.min(), apart)) // UNIT_MS, 1)
    # The inverse of a turn leads to its predecessor.
    before = turn.transpose(1, 2, 0)[_INVERSE[:18]]
    units = np.full(moves.shape[0] * 24, _MOST_UNITS * _ONES, dtype=np.int64)
    units[home] = _packed(end := np.minimum(end, _MOST_MS - UNIT_MS))
    due = np.full(len(units), _MOST_UNITS, dtype=np.uint8)
    due[home] = end.min() // UNIT_MS
    _solve_piece(
        moves, PIECE_MOVES[kind], _packed(before), _packed(rotation.T), cheapest, units, due
    )
    result = np.empty((len(units), KINDS), dtype=np.uint8)
    for one, at in enumerate(_AT):
        result[:, one] = units >> at & _MOST_UNITS
    return result


def _packed(ms: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    """Units of milliseconds for each kind (the last axis), side by side in one number."""
    units = np.minimum(ms // UNIT_MS, _MOST_UNITS) << _AT
    return np.asarray(units.sum(axis=-1), dtype=np.int64)


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


def _least_units(
    moves: npt.NDArray[np.int32],
    seen: npt.NDArray[np.int32],
    chosen: npt.NDArray[np.int64],
    orbit: npt.NDArray[np.int64],
    spin: npt.NDArray[np.int64],
    home: int,
    hands: HandArrays,
    barred: int = 0,
) -> npt.NDArray[np.uint8]:
    """Shortest paths to ``home``, in each of the chosen holdings; the steps are taken all at once.

    ``barred``: turns that may not be made.
    """
    price = np.minimum(hands.seconds.min(axis=0), _MOST_MS).astype(np.int16)
    rotation = np.minimum(hands.rotation, _MOST_MS).astype(np.int16)
    steps = [(turn, moves[:, turn]) for turn in range(18) if not barred >> turn & 1]
    ms = np.full((len(chosen), len(moves)), _MOST_MS, dtype=np.int16)
    ms[:, home] = np.minimum(hands.finish[chosen], _MOST_MS)
    before = None
    while before is None or (before != ms).any():
        before = ms.copy()
        for kind, holding in enumerate(chosen):
            for to in range(24):
                onward = ms[orbit[to], seen[spin[to]]]
                np.minimum(ms[kind], onward + rotation[holding, to], out=ms[kind])
            for turn, moved in steps:
                for move in hands.spelled[holding, turn]:
                    to = hands.after[holding, move]
                    onward = ms[orbit[to], seen[spin[to]][moved]]
                    np.minimum(ms[kind], onward + price[move], out=ms[kind])
    return (ms // UNIT_MS).astype(np.uint8)


@kernel
def _solve_piece(moves, piece_moves, turns, rotations, width, units, due):  # type: ignore[no-untyped-def]
    """Shortest paths from the positions that are due; the next are found by scanning the table.

    The units of a position stand side by side in one number, so that all kinds are compared at
    once: ``turns[t, k]`` are those from each kind to kind k by the turn t backwards, ``rotations``
    the same without a turn. Each price is rounded down by itself, so sums are never too high. A
    position leads to others when its least new units are ``due``, and again if it is improved
    later. ``width``, the cheapest step, is how far a scan looks ahead.
    """
    for now in range(0, _MOST_UNITS, width):
        until = min(now + width, _MOST_UNITS)
        again = True
        while again:  # a price below a unit can lead to states that the scan has passed
            again = False
            for position in range(units.shape[0]):
                if due[position] >= until:
                    continue
                due[position] = _MOST_UNITS
                here = _lower(units[position], _stepped(units[position], rotations))
                units[position] = here
                for turn in range(18):
                    other = np.int64(moves[position // 24, turn]) * 24
                    other += piece_moves[turn, position % 24]
                    old = units[other]
                    new = _lower(old, _stepped(here, turns[turn]))
                    if new != old:
                        units[other] = new
                        least = _least_of(new, new ^ old)
                        due[other] = min(due[other], least)
                        again |= least < until


@inner
def _lower(one, other):  # type: ignore[no-untyped-def]
    """The lower units of two, for each kind."""
    is_lower = ((one | _TOPS) - other) & _TOPS  # a top is borrowed from where ``other`` is higher
    return one ^ ((one ^ other) & (is_lower - (is_lower >> _ROOM - 1)))


@inner
def _stepped(units, prices):  # type: ignore[no-untyped-def]
    """The least units for each kind by a step to any kind; ``prices``: of the steps to each."""
    best = (units & _MOST_UNITS) * _ONES + prices[0]
    for kind in range(1, KINDS):
        best = _lower(best, (units >> _AT[kind] & _MOST_UNITS) * _ONES + prices[kind])
    return best


@inner
def _least_of(units, changed):  # type: ignore[no-untyped-def]
    """The least units among the kinds in which ``changed`` is not 0."""
    least = _MOST_UNITS
    for kind in range(KINDS):
        if changed >> _AT[kind] & _MOST_UNITS:
            least = min(least, units >> _AT[kind] & _MOST_UNITS)
    return least
