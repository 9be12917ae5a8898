"""Recognising last-layer cases from the position alone.

The last layer is looked at with its layer up (the cross down). Orientation cases are the
patterns of twists and flips up to a turn of the layer: 58 classes, 57 and the oriented one.
Permutation cases are the arrangements of an oriented layer up to turns of the layer before
and after: 22 classes, 21 and the solved one.

Permutations carry the trade's letters, by the sequence that solves each (common practice,
from memory, no published source; that each sequence belongs to a class of its own is
checked when the table is made). Orientations are described in words of our own and the
trade: which edges are oriented, the figure of the corners, and where that figure points
when the oriented edges are held in their usual place (a bend at the back and left, a line
from left to right).
"""

from __future__ import annotations

from collections import defaultdict
from functools import cache, lru_cache
from itertools import product
from typing import Final

import numpy as np

from livecube.cube.geometry import OPPOSITE, PIECE_AT, TWIST_AT, Array, parse_piece
from livecube.cube.notation import parse_turns
from livecube.cube.position import SOLVED, apply_turns, inverse, rotated, rotation_taking

__all__ = [
    "ORIENTED",
    "PERMUTATION_SEQUENCES",
    "PERMUTED",
    "orientation_case",
    "orientation_classes",
    "permutation_case",
    "permutation_classes",
]

ORIENTED: Final = "oriented"
PERMUTED: Final = "permuted"

# Places of the last layer, clockwise as seen from above, from the back left and the back.
_CORNERS: Final = tuple(parse_piece(n) for n in ("UBL", "UBR", "UFR", "UFL"))
_EDGES: Final = tuple(parse_piece(n) for n in ("UB", "UR", "UF", "UL"))

Pattern = tuple[int, ...]

PERMUTATION_SEQUENCES: Final = {
    "Aa": "x R' U R' D2 R U' R' D2 R2 x'",
    "Ab": "x R2 D2 R U R' D2 R U' R x'",
    "E": "x' R U' R' D R U R' D' R U R' D R U' R' D' x",
    "F": "R' U' F' R U R' U' R' F R2 U' R' U' R U R' U R",
    "Ga": "R2 U R' U R' U' R U' R2 D U' R' U R D'",
    "Gb": "R' U' R U D' R2 U R' U R U' R U' R2 D",
    "Gc": "R2 U' R U' R U R' U R2 D' U R U' R' D",
    "Gd": "R U R' U' D R2 U' R U' R' U R' U R2 D'",
    "H": "M2 U M2 U2 M2 U M2",
    "Ja": "L' U' L F L' U' L U L F' L2 U L",
    "Jb": "R U R' F' R U R' U' R' F R2 U' R'",
    "Na": "R U R' U R U R' F' R U R' U' R' F R2 U' R' U2 R U' R'",
    "Nb": "R' U R U' R' F' U' F R U R' F R' F' R U' R",
    "Ra": "R U' R' U' R U R D R' U' R D' R' U2 R'",
    "Rb": "R' U2 R U2 R' F R U R' U' R' F' R2",
    "T": "R U R' U' R' F R2 U' R' U' R U R' F'",
    "Ua": "M2 U M U2 M' U M2",
    "Ub": "M2 U' M U2 M' U' M2",
    "V": "R' U R' U' y R' F' R2 U' R' U R' F R F y'",
    "Y": "F R U' R' U' R U R' F' R U R' U' R' F R F'",
    "Z": "M' U M2 U M2 U M' U2 M2",
}
"""One sequence for each permutation case, as known by memory (common practice)."""


def _last_layer_up(position: bytes, cross_face: int) -> Array:
    """The position rotated so that the cross is down."""
    up = OPPOSITE[cross_face]
    beside = next(f for f in range(6) if f not in (up, cross_face))
    spun = rotation_taking(up, 0, beside, 2)
    return rotated(np.frombuffer(position, dtype=np.uint8), spun)


def _orientation_pattern(position: Array) -> Pattern:
    """Twists at the corner places, then flips at the edge places, clockwise from the back left."""
    twist = {int(PIECE_AT[p]): int(TWIST_AT[p]) for p in position.tolist()}
    return tuple(twist[place] for place in _CORNERS + _EDGES)


def _permutation_pattern(position: Array) -> Pattern:
    """Which of the four corners, then which of the four edges, stands at each place."""
    piece_at = {int(PIECE_AT[p]): piece for piece, p in enumerate(position.tolist())}
    corners = [_CORNERS.index(piece_at[place]) for place in _CORNERS]
    edges = [_EDGES.index(piece_at[place]) for place in _EDGES]
    return (*corners, *edges)


def _turned(pattern: Pattern, quarters: int) -> Pattern:
    """The pattern after clockwise turns of the layer."""
    q = quarters % 4
    corners, edges = pattern[:4], pattern[4:]
    return corners[4 - q :] + corners[: 4 - q] + edges[4 - q :] + edges[: 4 - q]


def _relabelled(pattern: Pattern, quarters: int) -> Pattern:
    """The permutation pattern with the pieces' homes moved on by turns of the layer."""
    return tuple((piece + quarters) % 4 for piece in pattern)


# Orientation.

_CORNER_FIGURES: Final = {
    # Twists clockwise from the back left, with the figure pointing to the front.
    "plain corners": (0, 0, 0, 0),
    "Sune": (2, 2, 2, 0),
    "Antisune": (1, 1, 1, 0),
    "H": (1, 2, 1, 2),
    "Pi": (1, 2, 2, 1),
    "headlights": (0, 0, 2, 1),
    "ears": (0, 0, 1, 2),
    "bowtie": (1, 0, 2, 0),
}
_EDGE_FIGURES: Final = {
    # 0: oriented; clockwise from the back.
    "cross": (0, 0, 0, 0),
    "line": (1, 0, 1, 0),
    "bend": (0, 1, 1, 0),
    "dot": (1, 1, 1, 1),
}
_WAYS: Final = ("front", "left", "back", "right")  # after 0, 1, 2, 3 clockwise turns
_EDGE_NAMES: Final[dict[Pattern, str]] = {figure: name for name, figure in _EDGE_FIGURES.items()}


@cache
def _corner_names() -> dict[Pattern, list[tuple[int, str]]]:
    """For the twists of the corners each figure that they show, and its turns from the front."""
    names = defaultdict[Pattern, list[tuple[int, str]]](list)
    for name, figure in _CORNER_FIGURES.items():
        for way in range(4):
            names[_turned(figure, way)].append((way, name))
    return names


def _orientation_name(pattern: Pattern) -> str:
    """The name of a pattern: the first that fits, over turns of the layer."""
    names = []
    for q in range(4):
        stood = _turned(pattern, q)
        if (edges := _EDGE_NAMES.get(stood[4:])) is not None:
            names += [(way, edges, name) for way, name in _corner_names()[stood[:4]]]
    way, edges, corners = min(names)
    if corners == "plain corners":
        return ORIENTED if edges == "cross" else f"{edges}, corners oriented"
    return f"{edges}, {corners}" + ("" if edges in ("cross", "dot") else f" to the {_WAYS[way]}")


@cache
def orientation_classes() -> dict[str, frozenset[Pattern]]:
    """All 58 orientation classes: name → patterns; 216 patterns in all."""
    classes: dict[str, set[Pattern]] = {}
    for twists, flips in product(product(range(3), repeat=3), product(range(2), repeat=3)):
        pattern = (*twists, -sum(twists) % 3, *flips, sum(flips) % 2)
        classes.setdefault(_orientation_name(pattern), set()).add(pattern)
    return {name: frozenset(patterns) for name, patterns in classes.items()}


@cache
def _orientation_names() -> dict[Pattern, str]:
    return {p: name for name, patterns in orientation_classes().items() for p in patterns}


@lru_cache(maxsize=64)
def orientation_case(position: bytes, cross_face: int) -> str:
    """Name of the orientation case; the first two layers must be solved."""
    return _orientation_names()[_orientation_pattern(_last_layer_up(position, cross_face))]


# Permutation.


def _permutation_class(pattern: Pattern) -> frozenset[Pattern]:
    return frozenset(
        _relabelled(_turned(pattern, before), after) for before in range(4) for after in range(4)
    )


@cache
def permutation_classes() -> dict[str, frozenset[Pattern]]:
    """All 22 permutation classes: letter → patterns; 288 patterns in all."""
    classes = {PERMUTED: _permutation_class(_permutation_pattern(SOLVED))}
    for letter, text in PERMUTATION_SEQUENCES.items():
        solved_by_it = inverse(apply_turns(SOLVED, parse_turns(text)))
        classes[letter] = _permutation_class(_permutation_pattern(solved_by_it))
    return classes


@cache
def _permutation_names() -> dict[Pattern, str]:
    return {p: name for name, patterns in permutation_classes().items() for p in patterns}


@lru_cache(maxsize=64)
def permutation_case(position: bytes, cross_face: int) -> str:
    """Letter of the permutation case; all but the last layer's permutation must be solved."""
    return _permutation_names()[_permutation_pattern(_last_layer_up(position, cross_face))]
