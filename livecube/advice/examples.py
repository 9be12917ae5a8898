"""An example position for each technique, found by search.

Seeded setups are turned on the solved cube. Those in which the technique is possible are sorted:
few free slots and few turns first. The advisor judges them in this order. The example is the
quickest of the first equally ranked setups in which the technique is the best choice.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Final

from livecube.advice.best_choice import against_plain, best_row, deciding_slots, is_best_choice
from livecube.advice.plain_way import Step, quickest_plain_way
from livecube.cube.geometry import FACES
from livecube.cube.position import SOLVED, apply_turns, inverse_turn, make_turn
from livecube.search.situation import Situation
from livecube.techniques.base import traits
from livecube.techniques.plain import Plain

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from livecube.advice.advisor import Advisor
    from livecube.advice.rows import Opportunity
    from livecube.cube.geometry import Array
    from livecube.cube.holding import Holding
    from livecube.search.engine import Engine
    from livecube.techniques.base import Technique

__all__ = ["WHITE", "Example", "broken_pairs", "find_example", "random_turns", "setups"]

# Seeded setups: turns on the solved cube that leave a white cross and broken pairs.
#
# Each is made of small steps that keep the cross: a face turn that opens a slot, a turn of the
# upper layer, the face turn back; between two turns of the cross layer such a step breaks the
# edge of one slot and the corner of another. For inspection some turns follow that scatter the
# cross. The search finds out what can be done in a setup.


WHITE: Final = FACES.index("U")
"""The examples' cross colour, as its fixed face."""

_SETUPS: Final = 250
_IN_INSPECTION: Final = 16
"""Setups in inspection, which take longer to search."""


def setups(technique: Technique) -> Iterator[tuple[int, ...]]:
    """Fixed-frame turns of the setups for one technique, always the same ones."""
    rng = random.Random(technique.id)
    showing = traits(technique).showing
    scattered = showing.scattered
    down = Situation.of(SOLVED, WHITE)
    for _ in range(_IN_INSPECTION if scattered else _SETUPS):
        few = 4 if scattered else rng.randint(1, 2)
        turns = broken_pairs(rng, showing.broken or few)
        yield down.fixed([*turns, *random_turns(rng, scattered)])


def broken_pairs(rng: random.Random, slots: int, steps: int | None = None) -> list[int]:
    """Steps that break the pairs of ``slots`` slots (1 to 4), and a turn of the upper layer.

    ``steps``: how many steps; None: as many as slots, or up to two more.

    Down-frame turns on the solved cube; the cross stays whole and aligned.
    """
    open_slots = rng.sample(range(4), slots)
    turns: list[int] = []
    for _ in range(rng.randint(slots, slots + 2) if steps is None else steps):
        edge, corner = rng.choice(open_slots), rng.choice(open_slots)
        aside = edge - corner
        turns += [*_layer("D", aside), *rng.choice(_steps()[edge]), *_layer("D", -aside)]
    return turns + _layer("U", rng.randrange(4))


def random_turns(rng: random.Random, count: int) -> list[int]:
    """Random turns; consecutive turns are of neither equal nor opposite faces."""
    turns: list[int] = []
    axes: tuple[int, ...] = ()
    for _ in range(count):
        face = rng.choice([f for f in range(6) if f not in axes])
        axes = (face, FACES.index("DRBLFU"[face]))
        turns.append(make_turn(face, rng.randint(1, 3)))
    return turns


def _layer(face: str, quarters: int) -> list[int]:
    return [make_turn(FACES.index(face), quarters)] if quarters % 4 else []


@cache
def _steps() -> tuple[tuple[tuple[int, ...], ...], ...]:
    """For each slot the steps of three turns that open only this slot."""
    result: list[list[tuple[int, ...]]] = [[], [], [], []]
    for side in "FRBL":
        for quarters in (1, 3):
            opening = make_turn(FACES.index(side), quarters)
            for upper in _layer("U", 1) + _layer("U", 2) + _layer("U", 3):
                step = (opening, upper, inverse_turn(opening))
                opened = Situation.of_down(apply_turns(SOLVED, step), WHITE).free
                if opened.bit_count() == 1:
                    result[opened.bit_length() - 1].append(step)
    return tuple(map(tuple, result))


_JUDGED: Final = 24
"""The advisor judges at most this many candidates."""

_JUDGED_IN_INSPECTION: Final = 3
"""The same in inspection, where advice takes longer."""

_PLAIN: Final = Plain()


@dataclass(frozen=True, slots=True)
class Example:
    """A position in which a technique is worth using."""

    technique: str
    situation: Situation
    position: Array
    """In the fixed frame, as everywhere."""
    holding: Holding
    """How the cube is held for all the sequences."""
    slots: tuple[int, ...]
    sequences: tuple[Opportunity, ...]
    """The technique's quickest sequences for the hands; for the yardstick the shortest."""
    plainly: tuple[Step, ...]
    """The quickest plain way to as many pairs, for comparison."""


@dataclass(frozen=True, slots=True)
class _Candidate:
    """A position in which the technique is possible."""

    rank: tuple[int, int, int]
    """Free slots, turns, and turns above the plain way; less is better."""
    position: Array
    situation: Situation


def find_example(advisor: Advisor, technique: Technique) -> Example | None:
    """The example of a technique, always the same one; None if no setup offers the technique.

    If the technique is the best choice in none of the candidates, the first one is taken.
    """
    candidates = sorted(_candidates(advisor.engine, technique), key=lambda one: one.rank)
    fallback = best = None
    its = traits(technique)
    for candidate in candidates[: _most(candidates)]:
        if best and (candidate.rank > best[0].rank or candidate.situation.offset is None):
            break  # take the quickest among equals, except in inspection, which is slow
        position = candidate.position
        if not (its.is_yardstick or its.in_inspection):
            advice = against_plain(advisor, technique, position, WHITE)
            row = best_row(advice, technique.id)
            if row is not None and not is_best_choice(advice, row):
                fallback = fallback or (candidate, row)
                continue
            if best and row is not None and row.seconds >= best[1].seconds:
                continue  # whatever else is possible there
        slots = deciding_slots(technique, technique.chances(candidate.situation))
        advice = advisor.advise(position, WHITE, plans=False, slots=slots)
        if (row := best_row(advice, technique.id)) is None:
            continue
        fallback = fallback or (candidate, row)
        if is_best_choice(advice, row) and (best is None or row.seconds < best[1].seconds):
            best = candidate, row
    chosen = best or fallback
    return _example(advisor, *chosen) if chosen else None


def _most(candidates: Sequence[_Candidate]) -> int:
    in_inspection = bool(candidates) and candidates[0].situation.offset is None
    return _JUDGED_IN_INSPECTION if in_inspection else _JUDGED


def _candidates(engine: Engine, technique: Technique) -> list[_Candidate]:
    found = []
    showing = traits(technique).showing
    for setup in setups(technique):
        position = apply_turns(SOLVED, setup)
        situation = Situation.of(position, WHITE)
        lengths = _lengths(engine, technique, situation)
        if not lengths:
            continue
        plain = _lengths(engine, _PLAIN, situation)
        turns, over = min(
            (turns, turns - plain.get(slots, turns)) for slots, turns in lengths.items()
        )
        if turns >= showing.fewest_turns and -over >= showing.fewest_saved:
            rank = situation.free.bit_count(), turns, over
            found.append(_Candidate(rank, position, situation))
    return found


def _lengths(
    engine: Engine, technique: Technique, situation: Situation
) -> dict[tuple[int, ...], int]:
    """Turns of the technique's shortest sequence for the slots that it can fill."""
    chances = technique.chances(situation)
    if not chances:
        return {}
    found = engine.search(situation, [chance.task for chance in chances])
    lengths: dict[tuple[int, ...], int] = {}
    for number, turns in zip(found.tasks.tolist(), found.lengths.tolist(), strict=True):
        lengths.setdefault(chances[number].slots, turns)
    return lengths


def _example(advisor: Advisor, candidate: _Candidate, row: Opportunity) -> Example:
    """The example, computed again with the holding of the best sequence for all sequences."""
    situation, position = candidate.situation, candidate.position
    advice = advisor.advise(position, WHITE, row.holding, plans=False, slots=len(row.slots))
    sequences = [
        other
        for other in advice.opportunities
        if (other.technique, other.slots) == (row.technique, row.slots)
        and (other.fastest or (row.traits.is_yardstick and other.turns == row.turns))
    ]
    plainly = quickest_plain_way(advisor.only((_PLAIN,)), position, WHITE, row)
    slots = situation.slot_numbers(row.slots)
    return Example(
        row.technique, situation, position, row.holding, slots, tuple(sequences), plainly
    )
