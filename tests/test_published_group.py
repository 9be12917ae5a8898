"""The group that the turns generate, against SymPy (a general-purpose library)."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import pytest

from livecube.cube.geometry import FACES, HOME, PIECE_AT, TURNS, parse_piece
from livecube.cube.notation import parse_turns
from livecube.cube.position import SOLVED, apply_turns, compose, parse_turn, stickers

if TYPE_CHECKING:
    from sympy.combinatorics import Permutation

# SymPy is imported in functions: its import is slow, and every worker collects this file.

GROUP_ORDER: Final = 43252003274489856000  # (8! · 12! / 2) (2^12 / 2) (3^8 / 3)


def permutation(turns: str) -> Permutation:
    """The effect of a sequence on the 54 facelets."""
    from sympy.combinatorics import Permutation

    return Permutation(stickers(apply_turns(SOLVED, parse_turns(turns))).tolist())


@pytest.mark.thorough
def test_group_order() -> None:
    from sympy.combinatorics import PermutationGroup

    group = PermutationGroup([permutation(face) for face in FACES])
    assert group.order() == GROUP_ORDER


@pytest.mark.thorough
def test_group_order_of_sympys_own_turns() -> None:
    from sympy.combinatorics import PermutationGroup
    from sympy.combinatorics.generators import rubik_cube_generators

    assert PermutationGroup(rubik_cube_generators()).order() == GROUP_ORDER


def matching(ours: list[list[int]], theirs: list[list[int]], start: int, to: int) -> dict[int, int]:
    """The one relabelling of an orbit that takes ``start`` to ``to``; empty if there is none."""
    image, waiting = {start: to}, [start]
    while waiting:
        point = waiting.pop()
        for mine, other in zip(ours, theirs, strict=True):
            following = mine[point]
            if following not in image:
                image[following] = other[image[point]]
                waiting.append(following)
            elif image[following] != other[image[point]]:
                return {}
    return image


def test_turns_are_sympys_up_to_the_names_of_the_facelets() -> None:
    from sympy.combinatorics.generators import rubik_cube_generators

    named = dict(zip("ULFRBD", rubik_cube_generators(), strict=True))  # SymPy's own order
    theirs = [named[face].array_form for face in FACES]
    ours = [TURNS[parse_turn(face)].tolist() for face in FACES]
    image: dict[int, int] = {}
    for name in ("UFR", "UF"):  # a corner's facelet, an edge's
        start = int(HOME[parse_piece(name)])
        images = [matching(ours, theirs, start, to) for to in range(48)]
        whole = [found for found in images if len(found) == 24]
        assert len(whole) == len(name)  # twisting all corners alike changes no turn
        image |= whole[0]
    assert sorted(image) == [f for f in range(54) if PIECE_AT[f] != 255]
    assert sorted(image.values()) == list(range(48))


@pytest.mark.parametrize(
    ("turns", "order"),
    # Computed independently with SymPy, rubik_cube_generators().
    [("R U", 105), ("R U R' U'", 6), ("M2 U M2 U2 M2 U M2", 2), ("R", 4)],
)
def test_element_orders(turns: str, order: int) -> None:
    assert permutation(turns).order() == order
    once, position, count = apply_turns(SOLVED, parse_turns(turns)), SOLVED, 0
    while count == 0 or not np.array_equal(position, SOLVED):
        position, count = compose(position, once), count + 1
    assert count == order


def test_half_turns_generate_the_squares_group() -> None:
    from sympy.combinatorics import PermutationGroup

    # 663552: SymPy's own tests of PermutationGroup (squares of rubik_cube_generators()).
    assert PermutationGroup([permutation(face + "2") for face in FACES]).order() == 663552
