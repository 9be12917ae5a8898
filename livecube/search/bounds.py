"""Lower bounds for the search for the fastest ways.

They are the least milliseconds for the cross, for a pair by itself, and for the cross with one
piece of a slot: shortest paths over positions and holdings. Each move has its lowest price in any
state of the hands, a rotation its own price. Without turns of the cross layer the times are longer,
so such parts have tables of their own.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, NamedTuple

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
    "near_piece_seconds",
    "pair_seconds",
    "piece_seconds",
    "spread_cross_seconds",
]

_MOST_MS: Final = 255 * UNIT_MS
_BEYOND: Final = 86
"""Units from which a position is not near."""
_NOT_DUE: Final = 255
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
    from livecube.search.table_kernels import packed, solve_piece, unpacked

    steps = _steps_back(hands, still=still)
    home = _home(kind)
    units = np.full(len(moves) * 24, packed(np.full(KINDS, _MOST_MS)))
    units[home] = packed(end := np.minimum(steps.end, _MOST_MS - UNIT_MS))
    due = np.full(len(units), _MOST_MS // UNIT_MS, dtype=np.uint8)
    due[home] = end.min() // UNIT_MS
    solve_piece(
        moves, PIECE_MOVES[kind], packed(steps.turns), packed(steps.rotations), steps.cheapest,
        units, due,
    )  # fmt: skip
    return unpacked(units)


def near_piece_seconds(
    moves: npt.NDArray[np.int32], hands: HandArrays, kind: int
) -> npt.NDArray[np.uint8]:
    """Like :func:`piece_seconds` for positions that are near; ``_BEYOND`` for the others.

    They are a seventh of all, so numpy finds them in less time than the kernel takes to be
    compiled.
    """
    steps = _steps_back(hands, still=False)
    turns, rotations = (np.minimum(ms // UNIT_MS, _BEYOND) for ms in steps[:2])
    units = np.full((len(moves) * 24, KINDS), _BEYOND, dtype=np.uint8)
    units[_home(kind)] = np.minimum(steps.end // UNIT_MS, _BEYOND)
    due = np.full(len(units), _NOT_DUE, dtype=np.uint8)
    due[_home(kind)] = now = units[_home(kind)].min()
    while now < _BEYOND:
        # No step is shorter, so what is due so far leads to nothing that is due as well.
        rows = np.flatnonzero(due < now + steps.cheapest)
        due[rows] = _NOT_DUE
        here = np.ascontiguousarray(units[rows].T)
        here = np.minimum(here, _stepped(here, rotations))
        units[rows] = here.T
        cross, place = np.divmod(rows, 24)
        for turn in range(18):
            new = _stepped(here, turns[turn]).T
            near = np.flatnonzero((new < _BEYOND).any(axis=1))
            onto = moves[cross[near], turn] * 24 + PIECE_MOVES[kind, turn, place[near]]
            new, old = new[near], units[onto]
            units[onto] = np.minimum(new, old)
            due[onto] = np.minimum(due[onto], np.where(new < old, new, _NOT_DUE).min(axis=1))
        now = due.min()
    return units


def _stepped(here: npt.NDArray[np.uint8], prices: npt.NDArray[np.int64]) -> npt.NDArray[np.uint8]:
    """Shape (KINDS, n): the least units by a step; ``prices``: from each kind to each."""
    best = np.full_like(here, _BEYOND)
    for kind, to in np.argwhere(prices < _BEYOND).tolist():
        np.minimum(best[to], here[kind] + np.uint8(prices[kind, to]), out=best[to])
    return best


class _Steps(NamedTuple):
    """Steps between kinds of holding, backwards, in milliseconds."""

    turns: npt.NDArray[np.int64]
    """Shape (18, KINDS, KINDS): of the turn from each kind to each."""
    rotations: npt.NDArray[np.int64]
    """Shape (KINDS, KINDS)."""
    end: npt.NDArray[np.int64]
    """Shape (KINDS,): what the end costs."""
    cheapest: int
    """Units of the cheapest step, at least 1."""


def _steps_back(hands: HandArrays, *, still: bool) -> _Steps:
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
    apart = rotation[~np.eye(KINDS, dtype=bool)].min()
    cheapest = max(int(min(turn.min(), apart)) // UNIT_MS, 1)
    # The inverse of a turn leads to its predecessor.
    return _Steps(turn.transpose(1, 2, 0)[_INVERSE[:18]], rotation.T, end, cheapest)


def _home(kind: int) -> int:
    """The position with cross and piece solved."""
    return SOLVED_CROSS * 24 + int(SOLVED_PLACES[4 * kind])


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
