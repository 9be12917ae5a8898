"""Counts of people whom nobody counted: what they know, weighed by how easy it is for the hands.

What is common to most people is known: the sequences in use for a pair and for the last layer, and
what each move costs the hands. A dearer way is less likely. Two kinds of people are laid out so:
those who bring a slot to the front, and those who turn it where it is.

``tests/checks/make_holding_counts.py`` makes the files of counts from it.
"""

from __future__ import annotations

from functools import cache
from math import exp, log
from statistics import NormalDist
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np
from known_sequences import ORIENT, PERMUTE

from livecube.cube.holding import HOLDINGS, Move, fixed_turns
from livecube.cube.notation import parse_moves
from livecube.hands.executions import cells_of, usual_ms
from livecube.holding.counts import GROUPS, LAST_LAYER, Counts, begin_context, longer
from livecube.holding.observations import TEMPOS
from livecube.holding.written import HAND_MOVES, HELD_AFTER, MIRRORED, ROTATED, hand_move
from livecube.virtual.usual_cases import carried_moves, usual_sequences

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from livecube.hands.automaton import Automaton
    from livecube.holding.kernel import Array

__all__ = ["MANNERS", "Manner", "usual_counts"]


class Manner(NamedTuple):
    """How people of one kind get at the slots. Common practice, no published source."""

    back_ms: float
    """Extra for a slot at the back, which is out of sight."""
    rotation: float
    """Factor of the price of a rotation."""


MANNERS: Final = {"front": Manner(500, 0.6), "back": Manner(100, 1.2)}
"""By the name of the kind (:data:`livecube.holding.counts.GRIPS`)."""

_WHIM_MS: Final = 150.0
"""A way that costs so much more is less likely by the factor e: a guess."""
_SPREAD: Final = 0.4
"""Standard deviation of the logarithm of a gap, people's differences included: a guess."""
_COUNTED: Final = 0.5
"""What virtual solves count beside the usual ways, which are not all that people do: a guess."""
_COUNTED_LATE: Final = 0.2
"""The same in the last layer, beside what they count elsewhere: a guess."""
_PAIRS, _SOLVES = 40_000.0, 10_000.0
"""Pairs and solves that the counts stand for."""
_OTHER_HAND: Final = 0.15
"""Weight of a last-layer sequence in the mirror, against the sequence as it is listed: a guess."""
_ROTATED_FOR_CASE: Final = 0.3
"""Share of last-layer cases that are brought into place by rotating the cube: a guess."""
_LEAST: Final = 0.01
"""Rarer ways are left out."""
_PAIR, _ORIENT, _PERMUTE = 1, 2, 3
_DOWN: Final = 5
_Y: Final = tuple(fixed_turns([Move("y", q)] if q else [])[1] for q in range(4))
_ROTATION: Final = [HOLDINGS.index(holding) for holding in _Y]
"""Number of each rotation about the vertical, by its quarters."""


class _Way(NamedTuple):
    stage: int
    rotated: int
    """Quarters of y before it."""
    moves: tuple[Move, ...]
    """As written, from the holding after that."""
    worth: float
    """How often it is counted."""


def usual_counts(kind: str, hands: Automaton, counted: Counts) -> Counts:
    """The counts of a kind of people; ``counted``: virtual solves, for all that has no price.

    These are the cross, the gaps, and whatever people do beside the usual ways.
    """
    gaps = _gaps(counted)
    pairs = counted.moves[(GROUPS[1],)].sum()
    others = counted.weakened(_COUNTED * 6 * _PAIRS / pairs)
    counts = Counts(kind)
    counts.first_tilted, counts.slices = others.first_tilted, others.slices
    counts.tempos, counts.rotations = others.tempos * 0.1, others.rotations
    for context, row in others.moves.items():
        counts.moves[context] += row * (_COUNTED_LATE if context[0] == LAST_LAYER else 1.0)
    ways = [*_pair_ways(MANNERS[kind], hands)]
    ways += [*_last_layer_ways(_ORIENT, ORIENT), *_last_layer_ways(_PERMUTE, PERMUTE)]
    for way in ways:
        _add(counts, gaps, way)
    _add_tempos(counts, hands, ways)
    return counts


def _add_tempos(counts: Counts, hands: Automaton, ways: Sequence[_Way]) -> None:
    """Gaps in proportion to the prices of moves after one another."""
    prices = usual_ms(hands)
    cells = [
        (hand_move(move), prices[cell], way.worth)
        for way in ways
        for move, cell in zip(way.moves, cells_of(hands, way.moves), strict=True)
        if cell >= 0
    ]
    usual = float(np.median([price for _, price, _ in cells]))
    for move, price, worth in cells:
        counts.tempos[move, 1:] += worth * _classes(round(float(price) / usual, 2))


@cache
def _classes(ratio: float) -> Array:
    """Shape (classes,): the shares of gaps of a move that takes so many usual gaps."""
    spread = NormalDist(log(ratio), _SPREAD)
    below = [0.0, *(spread.cdf(log(bound)) for bound in TEMPOS), 1.0]
    return np.diff(below)


def _gaps(counted: Counts) -> Array:
    """How likely a gap is, by stage, turns since it began, and whether the cube is rotated in it.

    Shape (5, 3, 2, classes).
    """
    seen = counted.rotations.sum(axis=2) + 0.01
    both = np.stack([seen[..., 0], seen[..., 1:].sum(axis=-1)], axis=2)
    shares: Array = both / both.sum(axis=-1, keepdims=True)
    return shares


def _add(counts: Counts, gaps: Array, way: _Way) -> None:
    stage, quarters, moves, worth = way
    held, rotation, since = 0, _ROTATION[quarters], 0
    context = begin_context(stage, quarters > 0)
    for written in moves:
        if written.is_rotation:
            rotation = HOLDINGS.index(HOLDINGS[rotation].after(written))
            continue
        tilted = int(HOLDINGS[held].faces[5] != _DOWN)
        shares = gaps[stage, since, int(rotation > 0)]
        counts.rotations[stage, since, tilted, :, rotation] += worth * shares
        if rotation:
            context, held = begin_context(stage, True), int(ROTATED[held, rotation])
        group, *last = context
        move = hand_move(written)
        for begin in range(len(last) + 1):
            counts.moves[(group, *last[begin:])][move] += worth
        context = longer(context, move)
        held, rotation, since = int(HELD_AFTER[held, move]), 0, min(2, since + 1)


def _pair_ways(manner: Manner, hands: Automaton) -> Iterator[_Way]:
    """The ways of all cases in all slots, after any turn of U and with any rotation before."""
    cases = usual_sequences()
    for (slot, _, _), known in cases.items():
        ways = []
        for held in range(4):
            # Carried by y, a slot goes from front left to front right, and so on.
            back = (slot + held) % 4 in (2, 3)
            spun = (0, 1, 1.45, 1)[held] * hands.single_rotation_ms["y"]
            extra = manner.back_ms * back + manner.rotation * spun
            for moves in known:
                its = carried_moves(moves, held)
                ways.append((held, its, exp(-(hands.sequence_ms(its) + extra) / _WHIM_MS)))
        whole = 4 * len(cases) * sum(weight for _, _, weight in ways)
        for held, its, weight in ways:
            worth = _PAIRS * weight / whole
            if worth > _LEAST:
                yield _Way(_PAIR, held, its, worth)
                for quarters in (1, 2, 3):
                    yield _Way(_PAIR, held, (Move("U", quarters), *its), worth)


def _last_layer_ways(stage: int, text: str) -> Iterator[_Way]:
    known = [tuple(parse_moves(line)) for line in text.splitlines() if line]
    for moves in known:
        for its, weight in ((moves, 1.0), (_other_hand(moves), _OTHER_HAND)):
            worth = _SOLVES * weight / (1 + _OTHER_HAND) / len(known) / 4
            yield _Way(stage, 0, its, worth)
            for quarters in (1, 2, 3):
                turned = (Move("U", quarters), *its)
                yield _Way(stage, 0, turned, worth * (1 - _ROTATED_FOR_CASE))
                yield _Way(stage, quarters, its, worth * _ROTATED_FOR_CASE)


def _other_hand(moves: Sequence[Move]) -> tuple[Move, ...]:
    return tuple(
        Move(m.symbol, m.quarters if m.symbol == "x" else 4 - m.quarters)
        if m.is_rotation
        else HAND_MOVES[MIRRORED[hand_move(m)]]
        for m in moves
    )
