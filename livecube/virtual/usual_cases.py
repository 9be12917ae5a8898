"""The usual cases of a slot: sequences in common use when corner and edge are above it or in it.

``usual_cases.toml`` lists sequences in common use, written for the slot at the front right with
the cross down. Each also gives its mirror image (in the plane through the slot) and serves every
slot. The case that it settles is found by undoing it on a solved cube.
"""

from __future__ import annotations

import tomllib
from functools import cache
from importlib.resources import files
from typing import Final, NamedTuple

from livecube.cube.holding import Move, fixed_turns
from livecube.cube.notation import moves_text, parse_moves
from livecube.cube.position import SOLVED, TURN_BYTES, inverse_turns, make_turn
from livecube.virtual.pairs import CORNER, EDGE

__all__ = [
    "Answer",
    "Known",
    "carried_moves",
    "known_answers",
    "known_habits",
    "settled_case",
    "usual_sequences",
]

_MIRRORED: Final = {"R": "F", "F": "R", "L": "B", "B": "L", "U": "U", "D": "D"}
_Y_CYCLE: Final = {"F": "L", "L": "B", "B": "R", "R": "F", "U": "U", "D": "D"}
_KEPT: Final = (*range(4, 8), *range(12, 20))
_UP: Final = 0


class Known(NamedTuple):
    """A sequence that a person may know by heart."""

    habit: str
    """Equal for a sequence, its mirror image, and all slots."""
    moves: tuple[Move, ...]
    """Moves named in the cross frame, without the turn of U before them."""


class Answer(NamedTuple):
    """Turn the upper layer by ``quarters``, then do the sequence."""

    quarters: int
    known: Known


def _renamed(moves: tuple[Move, ...], faces: dict[str, str], *, back: bool) -> tuple[Move, ...]:
    return tuple(
        Move(faces[m.symbol[0]] + m.symbol[1:], 4 - m.quarters if back else m.quarters)
        for m in moves
    )


def carried_moves(moves: tuple[Move, ...], quarters: int) -> tuple[Move, ...]:
    """The same moves named from a holding that is this many quarters of y away."""
    for _ in range(quarters % 4):
        moves = _renamed(moves, _Y_CYCLE, back=False)
    return moves


def settled_case(moves: tuple[Move, ...], slot: int) -> tuple[int, int, int]:
    """The case that these moves settle: slot, facelets of its corner and its edge.

    Raises ``ValueError`` if they change another slot or the cross.
    """
    position = SOLVED.tobytes()
    for turn in inverse_turns(fixed_turns(moves)[0]):
        position = position.translate(TURN_BYTES[turn])
    own = (CORNER + slot, EDGE + slot)
    if any(position[piece] != SOLVED[piece] for piece in _KEPT if piece not in own):
        raise ValueError(f"{moves_text(moves)} opens more than one slot; mend or remove it")
    return slot, position[own[0]], position[own[1]]


@cache
def _book() -> dict[tuple[int, int, int], tuple[Known, ...]]:
    text = (files("livecube.virtual") / "usual_cases.toml").read_text(encoding="utf-8")
    found: dict[tuple[int, int, int], dict[str, Known]] = {}
    for written in (text for case in tomllib.loads(text)["case"] for text in case["sequences"]):
        moves = tuple(parse_moves(written))
        if moves[0].symbol == "U":
            moves = moves[1:]
        mirror = _renamed(moves, _MIRRORED, back=True)
        habit = min(moves_text(moves), moves_text(mirror))
        for slot in range(4):
            for each in (carried_moves(moves, slot), carried_moves(mirror, slot)):
                known = found.setdefault(settled_case(each, slot), {})
                known.setdefault(moves_text(each), Known(habit, each))
    return {case: tuple(known.values()) for case, known in found.items()}


def known_answers(corner: int, edge: int, slot: int) -> list[Answer]:
    """The sequences in use for a slot with corner and edge at these facelets (cross frame).

    Empty if a piece is in another slot or both are home.
    """
    answers = []
    for quarters in range(4):
        case = (slot, corner, edge)
        if quarters:
            table = TURN_BYTES[make_turn(_UP, quarters)]
            case = (slot, table[corner], table[edge])
        answers += [Answer(quarters, known) for known in _book().get(case, ())]
    return answers


def usual_sequences() -> dict[tuple[int, int, int], tuple[tuple[Move, ...], ...]]:
    """By slot, and facelets of corner and edge up to a turn of U: the sequences, cross frame."""
    return {case: tuple(known.moves for known in its) for case, its in _book().items()}


@cache
def known_habits() -> tuple[str, ...]:
    """The names of all sequences that can be known by heart, in order."""
    return tuple(sorted({known.habit for case in _book().values() for known in case}))
