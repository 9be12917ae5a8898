"""How kernels are compiled, and those that fill tables: of the pair, and of bounds in seconds.

The kernels of the search have no memory of their own: arrays for what they remember come from
outside, so numba need not count references, which makes compiling a quarter shorter.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from numba import njit

from livecube.search.fastest_arrays import KINDS
from livecube.search.situation import CROSSES
from livecube.search.task import UNIT_MS

if TYPE_CHECKING:
    import numpy.typing as npt

__all__ = ["NOT_REACHED", "grow", "inner", "kernel", "packed", "solve_piece", "unpacked"]

kernel: Final = njit(  # type: ignore[call-overload]  # its stubs lack an option, here and below
    cache=True, nogil=True, _nrt=False
)
"""For what Python calls."""
inner: Final = njit(  # type: ignore[call-overload]
    nogil=True, no_cpython_wrapper=True, no_cfunc_wrapper=True, _nrt=False
)
"""For what only kernels call: without wrappers, and without a file, it is compiled much sooner."""

NOT_REACHED: Final = 14
"""Of a state whose distance is not known yet."""


@inner
def _get(table, index):  # type: ignore[no-untyped-def]
    return table[index >> 1] >> ((index & 1) << 2) & 15


@inner
def _put(table, index, value):  # type: ignore[no-untyped-def]
    shift = (index & 1) << 2
    table[index >> 1] = table[index >> 1] & ~(15 << shift) & 255 | value << shift


@kernel
def grow(table, moves, corner_moves, edge_moves, distance, forward):  # type: ignore[no-untyped-def]
    """Find the states one turn from those at ``distance``; returns how many.

    ``forward``: visit those at ``distance`` and look at their neighbours; else visit each state not
    reached yet, and look for a neighbour at ``distance``.
    """
    found = 0
    here, there = (distance, NOT_REACHED) if forward else (NOT_REACHED, distance)
    for cross in range(CROSSES):
        for corner in range(24):
            base = (cross * 24 + corner) * 24
            for edge in range(24):
                if _get(table, base + edge) != here:
                    continue
                for turn in range(18):
                    other = (
                        moves[cross, turn] * 24 + corner_moves[turn, corner]
                    ) * 24 + edge_moves[turn, edge]
                    if _get(table, other) == there:
                        _put(table, other if forward else base + edge, distance + 1)
                        found += 1
                        if not forward:
                            break
    return found


# Seconds of the cross with a piece: the units of all kinds of holding stand in one number.


_MOST_UNITS: Final = 255
_ROOM: Final = 12
"""Bits for the units of a kind: enough for the sum of two, and one on top that is free."""
_AT: Final = _ROOM * np.arange(KINDS)
_ONES: Final = int((1 << _AT).sum())
_TOPS: Final = _ONES << _ROOM - 1


def packed(ms: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    """Units of milliseconds for each kind (the last axis), side by side in one number."""
    units = np.minimum(ms // UNIT_MS, _MOST_UNITS) << _AT
    return np.asarray(units.sum(axis=-1), dtype=np.int64)


def unpacked(units: npt.NDArray[np.int64]) -> npt.NDArray[np.uint8]:
    """The units of each kind, shape (n, KINDS)."""
    result = np.empty((len(units), KINDS), dtype=np.uint8)
    for kind, at in enumerate(_AT):
        result[:, kind] = units >> at & _MOST_UNITS
    return result


@kernel
def solve_piece(moves, piece_moves, turns, rotations, width, units, due):  # type: ignore[no-untyped-def]
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
