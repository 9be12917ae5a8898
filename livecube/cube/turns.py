"""Fixed-frame face turns: names, merging, counting.

A turn is an integer ``3 * face + quarters - 1`` (see :mod:`livecube.cube.geometry`).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, NamedTuple

from livecube.cube.geometry import FACES, OPPOSITE

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

__all__ = [
    "TURN_NAMES",
    "Merged",
    "htm",
    "inverse_turn",
    "inverse_turns",
    "make_turn",
    "merge",
    "parse_turn",
    "qtm",
    "turn_face",
    "turn_name",
    "turn_quarters",
    "turns_text",
]

TURN_NAMES: Final = tuple(face + suffix for face in FACES for suffix in ("", "2", "'"))
_BY_NAME: Final = {name: turn for turn, name in enumerate(TURN_NAMES)}


def turn_name(turn: int) -> str:
    """Name of a turn: ``R``, ``R2``, ``R'``."""
    return TURN_NAMES[turn]


def parse_turn(name: str) -> int:
    """Number of the turn with this name.

    Raises ``ValueError`` if it is none of the 18.
    """
    try:
        return _BY_NAME[name]
    except KeyError:
        raise ValueError(
            f"{name!r} is not a turn; one of the faces U L F R B D, then nothing, 2 or '"
        ) from None


def turn_face(turn: int) -> int:
    """The face that a turn turns."""
    return turn // 3


def turn_quarters(turn: int) -> int:
    """Clockwise quarter turns: 1, 2 or 3."""
    return turn % 3 + 1


def make_turn(face: int, quarters: int) -> int:
    """The turn of ``face`` by ``quarters`` clockwise, which must not be a multiple of 4."""
    if quarters % 4 == 0:
        raise ValueError("a turn by a multiple of four quarters is no turn")
    return 3 * face + quarters % 4 - 1


def inverse_turn(turn: int) -> int:
    """The turn that undoes this one."""
    return turn + 2 - 2 * (turn % 3)


def inverse_turns(turns: Sequence[int]) -> list[int]:
    """The turns that undo a sequence."""
    return [inverse_turn(turn) for turn in reversed(turns)]


class Merged(NamedTuple):
    """A turn as the half-turn metric counts it."""

    turn: int
    first: int
    """Index, in what was merged, of the first turn of this face."""
    last: int
    """Index of the last one."""


def merge(turns: Iterable[int]) -> list[Merged]:
    """The turns as counted: what belongs together is summed.

    Turns of one face that are separated at most by turns of the opposite face merge to
    their sum modulo four; a sum of 0 vanishes but still separates its neighbours. Opposite
    faces of one group are listed in the order U L F before R B D.
    """
    merged: list[Merged] = []
    group: dict[int, tuple[int, int, int]] = {}  # face: quarters, first, last
    for index, turn in enumerate(turns):
        face = turn // 3
        if group and face not in group and OPPOSITE[face] not in group:
            merged += _merged(group)
            group = {}
        quarters, first, _ = group.get(face, (0, index, index))
        group[face] = (quarters + turn % 3 + 1, first, index)
    return merged + _merged(group)


def _merged(group: dict[int, tuple[int, int, int]]) -> list[Merged]:
    """What is left of turns of one face, or of two opposite ones."""
    return [
        Merged(3 * face + quarters % 4 - 1, first, last)
        for face, (quarters, first, last) in sorted(group.items())
        if quarters % 4
    ]


def htm(turns: Iterable[int]) -> int:
    """Number of turns in the half-turn metric, merged as :func:`merge` says."""
    # The same as len(merge(turns)), without the list: every split asks for it.
    count = 0
    quarters = [0] * 7
    one, other = 6, 6  # the faces of the present group; 6 is none
    for turn in turns:
        face = turn // 3
        if face not in (one, other):
            count += (quarters[one] % 4 > 0) + (quarters[other] % 4 > 0)
            one, other = face, OPPOSITE[face]
            quarters[one] = quarters[other] = 0
        quarters[face] += turn % 3 + 1
    return count + (quarters[one] % 4 > 0) + (quarters[other] % 4 > 0)


def qtm(turns: Iterable[int]) -> int:
    """Number of quarter turns after merging: a half turn counts two."""
    return sum(2 if turn_quarters(m.turn) == 2 else 1 for m in merge(turns))


def turns_text(turns: Iterable[int]) -> str:
    """The turns as written, separated by blanks."""
    return " ".join(TURN_NAMES[turn] for turn in turns)
