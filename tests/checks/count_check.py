"""Positions at each distance from solved, counted, against published numbers.

``python tests/checks/count_check.py`` counts some millions of them, one distance farther than the
suite does, and all those of the corners alone.
"""

from __future__ import annotations

import argparse
import sys
from functools import partial
from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt

from livecube.cube.geometry import FACES
from livecube.cube.position import SOLVED, apply_turn

if TYPE_CHECKING:
    from collections.abc import Iterable

    from livecube.cube.geometry import Array

__all__ = [
    "ALL",
    "HALF_TURNS",
    "QUARTERS",
    "QUARTER_TURNS",
    "THREE",
    "TWO_BY_TWO",
    "corner_spheres",
    "first_seen",
    "spheres",
]

ALL: Final = range(18)
QUARTERS: Final = [turn for turn in ALL if turn % 3 != 1]
HALF_TURNS: Final = (1, 18, 243, 3240, 43239, 574908, 7618438)
"""OEIS A080601."""
QUARTER_TURNS: Final = (1, 12, 114, 1068, 10011, 93840, 878880, 8221632)
"""OEIS A080602."""
THREE: Final = [turn for turn in ALL if FACES[turn // 3] in "URF"]
"""They hold the corner DBL still, and bring the other corners everywhere."""
TWO_BY_TWO: Final = (
    *(1, 9, 54, 321, 1847, 9992, 50136),
    *(227536, 870072, 1887748, 623800, 2644),
)
"""Of the corners alone by these turns, which is a cube of 2×2×2: OEIS A079761."""


def keys(positions: Array) -> tuple[npt.NDArray[np.uint64], npt.NDArray[np.uint64]]:
    """Two numbers that distinguish positions: the eight corners, and eleven of the edges.

    The twelfth edge follows from the others, since the number of flips is even.
    """
    edges = np.zeros(len(positions), dtype=np.uint64)
    for piece in range(8, 19):
        edges = edges * np.uint64(54) + positions[:, piece]
    return np.ascontiguousarray(positions[:, :8]).view(np.uint64).ravel(), edges


def first_seen(positions: Array) -> npt.NDArray[np.intp]:
    """Index of the first appearance of each different position."""
    corners, edges = keys(positions)
    order = np.lexsort((edges, corners))  # stable, so the first of equal ones leads
    corners, edges = corners[order], edges[order]
    leads = np.ones(len(order), dtype=bool)
    leads[1:] = (corners[1:] != corners[:-1]) | (edges[1:] != edges[:-1])
    return order[leads]


def spheres(turns: Iterable[int], depth: int) -> list[int]:
    """Number of positions at each distance from solved up to ``depth``."""
    turns = list(turns)
    levels = [SOLVED[None][:0], SOLVED[None]]
    while len(levels) < depth + 2:
        known = np.concatenate(levels[-2:])  # a turn changes the distance by at most one
        reached = np.concatenate([known, *(apply_turn(levels[-1], turn) for turn in turns)])
        found = first_seen(reached)
        levels.append(reached[found[found >= len(known)]])
    return [len(level) for level in levels[1:]]


def corner_spheres(depth: int) -> list[int]:
    """Number of positions of the corners at each distance up to ``depth``, by three faces."""
    levels = [np.empty(0, dtype=np.uint64), SOLVED[:8].copy().view(np.uint64)]
    while len(levels) < depth + 2:
        corners = levels[-1].view(np.uint8).reshape(-1, 8)
        reached = np.concatenate([apply_turn(corners, turn).view(np.uint64) for turn in THREE])
        known, found = np.sort(np.concatenate(levels[-2:])), np.sort(reached, axis=None)
        found = found[np.append(True, found[1:] != found[:-1])]
        at = np.minimum(np.searchsorted(known, found), len(known) - 1)
        levels.append(found[known[at] != found])
    return [len(level) for level in levels[1:]]


def main() -> None:
    """Count, print, and end with status 1 if a number differs."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--fewer", type=int, default=0, help="distances that are left out")
    fewer = parser.parse_args().fewer
    wrong = False
    for name, count, published in (
        ("half turns", partial(spheres, ALL), HALF_TURNS),
        ("quarter turns", partial(spheres, QUARTERS), QUARTER_TURNS),
        ("corners alone", corner_spheres, TWO_BY_TWO),
    ):
        expected = list(published[: len(published) - fewer])
        found = count(len(expected) - 1)
        print(f"{name}: {found}{'' if found == expected else f', published: {expected}'}")
        wrong |= found != expected
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
