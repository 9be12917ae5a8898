"""How kernels are compiled, and the kernel that fills the pair table.

The kernels of the search have no memory of their own: arrays for what they remember come from
outside, so numba need not count references, which makes compiling a quarter shorter.
"""

from __future__ import annotations

from typing import Final

from numba import njit

from livecube.search.situation import CROSSES

__all__ = ["NOT_REACHED", "grow", "inner", "kernel"]

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
