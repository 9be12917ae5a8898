"""An example position for each technique, found by trying, never typed in.

Seeded setups are turned on the solved cube (:mod:`livecube.advice.setups`); those in which
the technique is possible are sorted, few free slots and few turns first, and the advisor
judges them: the first one in which it ranks the technique best is the example.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from livecube.advice.best_choice import best_row, is_best_choice
from livecube.advice.plain_way import Step, plain_way, written_steps
from livecube.advice.setups import WHITE, setups
from livecube.cube.position import SOLVED, apply_turns
from livecube.search.situation import Situation
from livecube.techniques.plain import Plain

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.advice.advisor import Advisor
    from livecube.advice.opportunity import Opportunity
    from livecube.cube.geometry import Array
    from livecube.cube.holding import Holding
    from livecube.search.engine import Engine
    from livecube.techniques.base import Technique

__all__ = ["Example", "find_example"]

_JUDGED: Final = 24
"""At most so many candidates are shown to the advisor."""

_JUDGED_IN_INSPECTION: Final = 3
"""Advice for a cross that is not whole takes longer."""

_LEAST: Final = {"plain": 7, "x-cross": 4}
"""Fewest turns of an example that shows something: shorter ones solve themselves."""

_LEAST_SAVED: Final = {"shortest": 2}
"""By how many turns an example must beat the plain insertion of the same slot."""

_PLAIN: Final = Plain()


@dataclass(frozen=True, slots=True)
class Example:
    """A position in which a technique is the thing to do."""

    technique: str
    situation: Situation
    position: Array
    """In the fixed frame, as everywhere."""
    holding: Holding
    """How the cube is held for all the sequences."""
    slots: tuple[int, ...]
    sequences: tuple[Opportunity, ...]
    """The shortest ones of the technique, the quickest first."""
    plainly: tuple[Step, ...]
    """The shortest plain way to as many pairs, for comparison."""


@dataclass(frozen=True, slots=True)
class _Candidate:
    """A position in which the technique is possible."""

    rank: tuple[int, int, int]
    """Free slots, turns, turns more than plain: less is better."""
    position: Array
    situation: Situation


def find_example(advisor: Advisor, technique: Technique) -> Example | None:
    """The example of a technique, always the same one; None if no setup offers the technique.

    If the advisor ranks the technique best in none of the candidates, the first of them is it.
    """
    candidates = sorted(_candidates(advisor.engine, technique), key=lambda one: one.rank)
    fallback = best = None
    for candidate in candidates[: _most(candidates)]:
        if best and (candidate.rank > best[0].rank or candidate.situation.offset is None):
            break  # among equals the quickest is taken, but not in inspection, which is slow
        advice = advisor.advise(candidate.position, WHITE, plans=False)
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
    for setup in setups(technique.id):
        position = apply_turns(SOLVED, setup)
        situation = Situation.of(position, WHITE)
        lengths = _lengths(engine, technique, situation)
        if not lengths:
            continue
        plain = _lengths(engine, _PLAIN, situation)
        turns, over = min(
            (turns, turns - plain.get(slots, turns)) for slots, turns in lengths.items()
        )
        if turns >= _LEAST.get(technique.id, 0) and -over >= _LEAST_SAVED.get(technique.id, 0):
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
    """Everything again, from the one holding in which the best sequence is made."""
    situation, position = candidate.situation, candidate.position
    advice = advisor.advise(position, WHITE, row.holding, plans=False)
    sequences = [
        other
        for other in advice.opportunities
        if (other.technique, other.slots, other.turns) == (row.technique, row.slots, row.turns)
    ]
    slots = situation.slot_numbers(row.slots)
    way = plain_way(advisor.engine, situation, slots)
    plainly = written_steps(advisor, position, WHITE, way, row.holding)
    return Example(
        row.technique, situation, position, row.holding, slots, tuple(sequences), plainly
    )
