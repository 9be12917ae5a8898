"""Counts of positions, crosses and last layers, against published numbers with their sources."""

from __future__ import annotations

from functools import cache
from itertools import islice
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import numpy.typing as npt
import pytest
from count_check import (
    ALL,
    HALF_TURNS,
    QUARTER_TURNS,
    QUARTERS,
    THREE,
    TWO_BY_TWO,
    corner_spheres,
    first_seen,
    spheres,
)
from examples import thorough

from livecube.cube.geometry import FACES, HOME, NEXT_STICKER, PIECES, TURNS, Array, parse_piece
from livecube.cube.notation import check_position, parse_turns
from livecube.cube.position import (
    SOLVED,
    apply_turn,
    apply_turns,
    compose,
    inverse,
    rotated,
    rotation_taking,
    stickers,
)
from livecube.search.situation import DOWN_ROTATIONS, Situation, cross_number, piece_places
from livecube.search.tables import cross_distances, cross_moves
from livecube.search.task import Task
from livecube.stages.cases import (
    ORIENTED,
    PERMUTATION_SEQUENCES,
    PERMUTED,
    orientation_case,
    permutation_case,
)

if TYPE_CHECKING:
    from livecube.search.engine import Engine
    from livecube.search.tables import Tables

UP, DOWN = FACES.index("U"), FACES.index("D")


# Counting positions.


def test_positions_at_each_distance_in_half_turns() -> None:
    assert spheres(ALL, 5) == list(HALF_TURNS[:6])


@pytest.mark.thorough
def test_positions_at_each_distance_in_quarter_turns() -> None:
    assert spheres(QUARTERS, 6) == list(QUARTER_TURNS[:7])


def test_two_by_two_cube() -> None:
    assert all(TURNS[turn][HOME[parse_piece("DBL")]] == HOME[parse_piece("DBL")] for turn in THREE)
    assert corner_spheres(7) == list(TWO_BY_TWO[:8])
    assert sum(TWO_BY_TWO) == 3674160


# Crosses, L. Vandenbergh, "Cross study", cubezone.be/crossstudy.html.

CROSSES_HTM: Final = [1, 15, 158, 1394, 9809, 46381, 97254, 34966, 102]
CROSSES_QTM: Final = [1, 10, 73, 500, 3078, 15528, 57180, 91654, 21849, 207]


@cache
def crosses(quarters: bool) -> npt.NDArray[np.uint8]:
    return cross_distances(cross_moves(), quarter_turns_only=quarters)


@pytest.mark.parametrize(
    ("quarters", "counts", "mean"),
    [(False, CROSSES_HTM, 5.812), thorough(True, CROSSES_QTM, 6.592)],
    ids=["half turns", "quarter turns"],
)
def test_crosses_of_one_colour(quarters: bool, counts: list[int], mean: float) -> None:
    distance = crosses(quarters)
    assert np.bincount(distance).tolist() == counts
    assert round(float(distance.mean()), 3) == mean


def odd(permutations: npt.NDArray[np.int64]) -> npt.NDArray[np.bool_]:
    """Whether each row is an odd permutation: it has an odd number of inversions."""
    first, second = np.triu_indices(permutations.shape[1], k=1)
    inversions = (permutations[:, first] > permutations[:, second]).sum(axis=1)
    return np.asarray(inversions % 2 == 1)


def random_positions(count: int, seed: int) -> Array:
    """Positions of equal probability among all that turns can reach."""
    rng = np.random.default_rng(seed)
    corners = rng.permuted(np.tile(np.arange(8), (count, 1)), axis=1)
    edges = rng.permuted(np.tile(np.arange(12), (count, 1)), axis=1)
    wrong = odd(corners) != odd(edges)
    edges[wrong, :2] = edges[wrong, 1::-1]
    twists, flips = rng.integers(3, size=(count, 8)), rng.integers(2, size=(count, 12))
    twists[:, 7] = -twists[:, :7].sum(axis=1) % 3
    flips[:, 11] = flips[:, :11].sum(axis=1) % 2
    positions = np.concatenate([HOME[corners], HOME[8 + edges]], axis=1)
    turned = np.concatenate([twists, flips], axis=1)
    for least in (1, 2):
        positions = np.where(turned >= least, NEXT_STICKER[positions], positions)
    return positions


def assert_mean(sample: npt.NDArray[np.integer[Any]], published: float) -> None:
    """The mean of a sample against one published to two decimals, within four standard errors."""
    error = 4 * float(sample.std()) / np.sqrt(len(sample)) + 0.005
    print(f"{sample.mean():.4f} ± {error:.4f} against {published}")
    assert error < 0.1  # a greater error would prove nothing
    assert abs(sample.mean() - published) < error


def test_random_positions_are_legal_and_even() -> None:
    sample = random_positions(4000, seed=1)
    for position in sample[:200]:
        check_position(position)
    homes, count = np.unique(sample[:, 0], return_counts=True)
    assert len(homes) == 24  # places of the corner UFR
    assert ((count - 4000 / 24) ** 2 / (4000 / 24)).sum() < 53.5  # χ², 23 degrees: p < 0.0003


@pytest.mark.parametrize(
    ("quarters", "published"),
    [(False, 5.39), thorough(True, 6.15)],
    ids=["half turns", "quarter turns"],
)
def test_better_of_two_opposite_crosses(quarters: bool, published: float) -> None:
    # The same study's mean over all positions; here over a sample.
    sample = random_positions(12_000, seed=2)
    turns = [
        crosses(quarters)[[cross_number(p) for p in rotated(sample, DOWN_ROTATIONS[face])]]
        for face in (UP, DOWN)
    ]
    assert_mean(np.minimum(*turns), published)


def test_every_slot_sees_the_cube_as_the_first_one_does(tables: Tables) -> None:
    sample = random_positions(300, seed=4)
    ring = [FACES.index(face) for face in "FRBL"]
    for slot in range(4):
        turned = rotated(sample, rotation_taking(DOWN, DOWN, ring[slot], ring[0]))
        for position, first in zip(sample, turned, strict=True):
            row, other = tables.rows[cross_number(position)], tables.rows[cross_number(first)]
            places, others = piece_places(position), piece_places(first)
            for corner_or_edge in (0, 4):
                here = row[24 * (corner_or_edge + slot) + places[corner_or_edge + slot]]
                assert here == other[24 * corner_or_edge + others[corner_or_edge]]


@pytest.mark.thorough
def test_cross_and_pair(engine: Engine) -> None:
    # L. Vandenbergh, cubezone.be/xcrossstudy.html: one fixed pair, and the best of the four. For
    # the latter 400,000 random positions gave 7.354 with a standard error of 0.001; whether the
    # study counted all positions or a sample is not known here.
    tasks = [Task(0b00010001 << slot, target=slot) for slot in range(4)]
    found = [
        [len(sequences[0]) for sequences in engine.solve(Situation.of(position, DOWN), tasks)]
        for position in random_positions(1_100, seed=3)
    ]
    turns = np.array(found)
    assert turns.max() <= 10  # the greatest of the same study
    assert_mean(turns[:, 0], 7.98)
    assert_mean(turns.min(axis=1), 7.34)


# The last layer: counts computed independently (by orbits, from the twists and permutations).


@cache
def last_layer() -> Array:
    """All positions that leave the first two layers solved."""
    texts = ["U", "R U R' U R U2 R'", "F R U R' U' F'", *islice(PERMUTATION_SEQUENCES.values(), 2)]
    changes = [apply_turns(SOLVED, parse_turns(text)) for text in texts]
    found = newest = SOLVED[None]
    while len(newest):
        reached = np.concatenate(
            [found, *(compose(newest, np.broadcast_to(change, newest.shape)) for change in changes)]
        )
        index = first_seen(reached)
        newest = reached[index[index >= len(found)]]
        found = np.concatenate([found, newest])
    return found


def least(choices: list[Array]) -> list[bytes]:
    """Row by row the least of several arrays."""
    rows = [[bytes(row) for row in choice.tolist()] for choice in choices]
    return [min(row) for row in zip(*rows, strict=True)]


def turned_layer(positions: Array) -> list[Array]:
    return [positions, *(apply_turn(positions, UP + quarters) for quarters in range(3))]


def test_last_layer_positions() -> None:
    assert len(last_layer()) == 62208
    others = [p for p in range(20) if "U" not in PIECES[p]]
    assert (last_layer()[:, others] == SOLVED[others]).all()


def test_orientation_cases_are_the_58_figures_of_one_colour() -> None:
    some = last_layer()[::7]  # all orientations are among them
    shown = [np.sort(stickers(turned)[:, :9]) for turned in turned_layer(some)]
    figures = least(shown)
    names = [orientation_case(bytes(position), DOWN) for position in some.tolist()]
    assert len({bytes(row) for row in shown[0].tolist()}) == 216
    assert len(set(figures)) == len(set(names)) == len(set(zip(figures, names, strict=True))) == 58
    assert names.count(ORIENTED) == (shown[0] < 9).all(axis=1).sum() > 0


def test_permutation_cases_are_the_22_arrangements() -> None:
    oriented = last_layer()[(stickers(last_layer())[:, :9] < 9).all(axis=1)]
    undone = turned_layer(inverse(oriented))
    both = [t for one in undone for t in turned_layer(inverse(one))]
    names = [permutation_case(bytes(position), DOWN) for position in oriented.tolist()]
    arrangements = least(both)
    assert len(oriented) == 288
    assert len(set(arrangements)) == len(set(names)) == 22
    assert len(set(zip(arrangements, names, strict=True))) == 22
    assert names.count(PERMUTED) * 72 == 288
