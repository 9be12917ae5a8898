"""Positions that happen by luck, as turns from solved in the cross frame."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from livecube.cube.notation import parse_turns
from livecube.cube.position import inverse_turns, make_turn
from livecube.virtual.pairs import carried, trigger_out
from livecube.virtual.sequences import ORIENT, PERMUTE, mirrored, read_sequence

if TYPE_CHECKING:
    from collections.abc import Collection
    from typing import Literal

    import numpy as np

__all__ = ["cross_and_slots", "last_layer_state", "out_while_in", "two_at_once"]

_SEQUENCES: Final = {
    "orient": ORIENT.strip().splitlines(),
    "permute": PERMUTE.strip().splitlines(),
}
_UPPER: Final = ("U", "U2", "U'")
_ROUNDS: Final = 12
"""Number of triggers that mix the pieces of the free slots well with those of the last layer."""


def _layer(rng: np.random.Generator) -> list[int]:
    """A random turn of the upper layer, or none."""
    quarters = int(rng.integers(4))
    return [make_turn(0, quarters)] if quarters else []


def cross_and_slots(slots: Collection[int], rng: np.random.Generator) -> list[int]:
    """The cross and these slots solved, the other slots and the last layer at random."""
    turns: list[int] = []
    others = [slot for slot in range(4) if slot not in slots]
    for _ in range(_ROUNDS):
        turns += [*trigger_out(int(rng.choice(others)), rng), *_layer(rng)]
    return turns


def two_at_once(rng: np.random.Generator) -> tuple[list[int], list[int]]:
    """A position with the cross, and the turns that then solve two slots on one turn."""
    a, b, c = (_UPPER[int(rng.integers(3))] for _ in range(3))
    # While R has taken its slot up, L' works on the other one.
    return _in_place(f"R {a} L' {b} L {c} R'", rng)


def out_while_in(rng: np.random.Generator) -> tuple[list[int], list[int]]:
    """A position with the cross and a slot solved, and the turns that solve another slot.

    On the way the solved pair is out at turns where the cross is whole; it comes back on the
    same turn on which the other goes in.
    """
    a = _UPPER[int(rng.integers(3))]
    start = ("L' U' L U", "L' U2 L U2")[int(rng.integers(2))]
    return _in_place(f"{start} R U' L' U L {a} R'", rng)


def _in_place(answer: str, rng: np.random.Generator) -> tuple[list[int], list[int]]:
    """An answer for the two front slots carried anywhere, and a position that it fits."""
    side = int(rng.integers(4))
    others = [(2 + slot + side) % 4 for slot in range(2)]
    turns = carried(tuple(parse_turns(answer)), side)
    kept = [slot for slot in range(4) if slot not in others]
    return [*cross_and_slots(kept, rng), *inverse_turns(turns)], list(turns)


def last_layer_state(
    rng: np.random.Generator, left: Literal["orient", "permute"], *, mirror: bool
) -> list[int]:
    """First two layers solved, and one known sequence (with turns of U) from solved."""
    texts = _SEQUENCES[left]
    text = texts[int(rng.integers(len(texts)))]
    sequence = read_sequence(mirrored(text) if mirror else text)
    return [*_layer(rng), *inverse_turns(sequence.turns), *_layer(rng)]
