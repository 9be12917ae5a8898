"""The plain way, with which techniques are compared: the cross if needed, then plain pairs."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import permutations
from typing import TYPE_CHECKING

from livecube.cube.position import apply_turns, htm
from livecube.search.situation import Situation
from livecube.search.task import AT_DOORS, LONGEST
from livecube.techniques.plain import plain_task

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from livecube.advice.advisor import Advisor
    from livecube.advice.rows import Opportunity
    from livecube.cube.geometry import Array
    from livecube.cube.holding import Holding, Move
    from livecube.search.engine import Engine
    from livecube.techniques.base import Chance, Technique

__all__ = [
    "Step",
    "after",
    "composed",
    "plain_sequences",
    "quickest_plain_way",
    "two_plain_pairs",
]


@dataclass(frozen=True, slots=True)
class Step:
    """The cross or one plain pair."""

    slot: str | None
    """None: the cross."""
    moves: tuple[Move, ...]
    """In the hands; the cube is held as the step before left it."""
    turns_fixed: tuple[int, ...]
    seconds: float
    """Predicted for turning."""


def quickest_plain_way(
    advisor: Advisor, position: Array, face: int, row: Opportunity
) -> tuple[Step, ...]:
    """The quickest plain way for these hands, in the best order, to as many pairs as a row fills.

    ``advisor`` knows the plain technique only. If the cross is not whole, the quickest cross
    comes first, and the pairs may go into any slots.
    """
    begun: list[Opportunity] = []
    if Situation.of(position, face).offset is None:
        begun = [*advisor.crosses(position, face, row.holding)[:1]]
    choice = None if begun else row.slots
    ways = _plain_pairs(advisor, position, face, row.holding, begun, choice, len(row.slots))
    best = min(ways, key=lambda way: sum(step.seconds for step in way))
    return tuple(
        Step(step.slots[0] if step.slots else None, step.moves, step.turns_fixed, step.seconds)
        for step in best
    )


def _plain_pairs(
    advisor: Advisor,
    position: Array,
    face: int,
    holding: Holding,
    made: list[Opportunity],
    choice: Sequence[str] | None,
    left: int,
) -> Iterator[list[Opportunity]]:
    """All orders of the quickest pairs: ``left`` pairs after ``made``, into slots of ``choice``.

    ``choice``: None: any slots. Each pair begins with the holding in which the one before ended.
    """
    if made:
        position, holding = apply_turns(position, made[-1].turns_fixed), made[-1].ends
    quickest: dict[str, Opportunity] = {}
    if left:
        found = advisor.advise(position, face, holding, shortest=False, plans=False)
        for row in sorted(found.opportunities, key=lambda row: row.seconds):
            if choice is None or row.slots[0] in choice:
                quickest.setdefault(row.slots[0], row)
    if not quickest:
        yield made
    for slot, row in quickest.items():
        others = None if choice is None else [one for one in choice if one != slot]
        yield from _plain_pairs(advisor, position, face, holding, [*made, row], others, left - 1)


# Sequences of several searches: two plain pairs, and chances with a second part.


def after(situation: Situation, turns: Sequence[int]) -> Situation:
    """The situation after down-frame turns."""
    return Situation.of_down(apply_turns(situation.position, turns), situation.face)


def plain_sequences(engine: Engine, situation: Situation, slot: int) -> list[tuple[int, ...]]:
    """The shortest plain sequences into a slot; one empty sequence if it is solved."""
    free = situation.free >> slot & 1
    return engine.solve(situation, [plain_task(situation, slot)])[0] if free else [()]


def _plain_turns(engine: Engine, situation: Situation, slot: int) -> int:
    """Turns of the shortest plain sequence into a slot."""
    free = situation.free >> slot & 1
    return engine.shortest(situation, plain_task(situation, slot)) if free else 0


def two_plain_pairs(engine: Engine, situation: Situation, slots: Sequence[int]) -> int:
    """Turns of two plain pairs in the better order; the first pair is a shortest one.

    The cross must be whole at offset 0.
    """
    best = LONGEST * 2
    for first_slot, second_slot in permutations(slots):
        for first in plain_sequences(engine, situation, first_slot):
            if len(first) < best:
                second = _plain_turns(engine, after(situation, first), second_slot)
                best = min(best, len(first) + second)
    return best


def composed(
    engine: Engine,
    situation: Situation,
    chances: Sequence[Chance],
    techniques: Mapping[str, Technique],
) -> list[list[tuple[int, ...]]]:
    """For each chance its shortest sequences, including chances that continue by another technique.

    For such a chance, the first part is one of the fewest turns, and of the whole sequences the
    shortest are returned. Sequences in which the last turn of the first part merges with the
    first turn of the second are left out: nobody stops there to look for the second part.
    """
    answers = engine.solve(situation, [chance.task for chance in chances])
    for number, chance in enumerate(chances):
        if chance.then:
            seconds = [techniques[name] for name in chance.then]
            answers[number] = _carried_on(engine, situation, chance, answers[number], seconds)
    return answers


def _carried_on(
    engine: Engine,
    situation: Situation,
    chance: Chance,
    firsts: Sequence[tuple[int, ...]],
    techniques: Sequence[Technique],
) -> list[tuple[int, ...]]:
    wholes: list[tuple[int, ...]] = []
    for first in firsts:
        if len(first) > len(firsts[0]):
            break  # shorter first parts come first
        then = after(situation, first)
        tasks = [
            following.task
            for technique in techniques
            for following in technique.chances(then)
            if following.slots == chance.then_into
        ]
        if chance.second is not None and chance.second.prefix == AT_DOORS:
            # The layer is turned on in between.
            turned = [task._replace(prefix=task.prefix & ~1) for task in tasks]
            tasks = [task for task in turned if task.prefix]
        for seconds in engine.solve(then, tasks):
            wholes += [first + second for second in seconds if not _merge(first, second)]
    shortest = min(map(len, wholes), default=LONGEST)
    return [whole for whole in wholes if len(whole) == shortest <= LONGEST]


def _merge(first: tuple[int, ...], second: tuple[int, ...]) -> bool:
    """Whether turns merge where the two parts meet."""
    return htm(first + second) < len(first) + len(second)
