"""What a technique is compared with: the cross if need be, then plain pairs, fewest turns."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import permutations
from typing import TYPE_CHECKING

from livecube.cube.holding import hand_moves
from livecube.cube.position import apply_turns, htm
from livecube.search.situation import Situation, slot_bits
from livecube.search.task import LONGEST, Task
from livecube.techniques.plain import plain_task

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from livecube.advice.advisor import Advisor
    from livecube.cube.geometry import Array
    from livecube.cube.holding import Holding, Move
    from livecube.search.engine import Engine
    from livecube.techniques.base import Chance, Technique

__all__ = [
    "Step",
    "after",
    "composed",
    "plain_sequences",
    "plain_way",
    "two_plain_pairs",
    "written_steps",
]


@dataclass(frozen=True, slots=True)
class Step:
    """The cross or one plain pair."""

    slot: str | None
    """None: the cross."""
    moves: tuple[Move, ...]
    """In the hands, held as the step before ended."""
    turns_fixed: tuple[int, ...]


def plain_way(
    engine: Engine, situation: Situation, slots: Sequence[int]
) -> tuple[tuple[int, ...], ...]:
    """Down-frame turns of each step: a shortest cross, then plain pairs in the best order.

    With the cross whole, which must then be at offset 0, the pairs go into ``slots``;
    otherwise as many pairs follow the cross, into any slots. Each step is as short as it
    goes, and of all such ways one with the fewest turns is taken.
    """
    if situation.offset is not None:
        return _pairs(engine, situation, slots, len(slots))
    crosses = engine.solve(situation, [Task(goal=0)])[0]
    ends = {end.position.tobytes(): (c, end) for c in crosses for end in [after(situation, c)]}
    return min(
        ((c, *_pairs(engine, end, slot_bits(end.free), len(slots))) for c, end in ends.values()),
        key=_turns,
    )


def _pairs(
    engine: Engine, situation: Situation, choice: Sequence[int], count: int
) -> tuple[tuple[int, ...], ...]:
    """The best ``count`` plain pairs into slots of ``choice``; fewer, if no more are free."""
    free = [slot for slot in choice if situation.free >> slot & 1]
    if not count or not free:
        return ()
    ways = []
    for slot in free:
        sequences = plain_sequences(engine, situation, slot)
        for first in sequences if count > 1 else sequences[:1]:
            others = [other for other in free if other != slot]
            ways.append((first, *_pairs(engine, after(situation, first), others, count - 1)))
    return min(ways, key=_turns)


def _turns(way: Sequence[Sequence[int]]) -> int:
    return sum(map(len, way))


def written_steps(
    advisor: Advisor,
    position: Array,
    face: int,
    way: Sequence[Sequence[int]],
    holding: Holding,
) -> tuple[Step, ...]:
    """A way for the hands, each step from the holding in which the one before ended."""
    steps = []
    for number, turns in enumerate(way):
        situation = Situation.of(position, face)
        fixed = situation.fixed(turns)
        if situation.offset is None:
            step = Step(None, tuple(hand_moves(fixed, holding)), fixed)
        else:
            last = number == len(way) - 1
            step = _pair_step(advisor, position, face, fixed, holding, any_other=last)
        steps.append(step)
        position = apply_turns(position, step.turns_fixed)
        for move in step.moves:
            holding = holding.after(move)
    return tuple(steps)


def _pair_step(
    advisor: Advisor,
    position: Array,
    face: int,
    fixed: tuple[int, ...],
    holding: Holding,
    *,
    any_other: bool,
) -> Step:
    """A plain pair for the hands; behind the last one it may be any other that is as short."""
    plain = [
        row
        for row in advisor.advise(position, face, holding, plans=False).opportunities
        if row.traits.is_plain
    ]
    asked = next(row for row in plain if row.turns_fixed == fixed)
    alike = [row for row in plain if (row.slots, row.turns) == (asked.slots, asked.turns)]
    row = min(alike, key=lambda row: row.seconds) if any_other else asked
    return Step(row.slots[0], row.moves, row.turns_fixed)


# What takes more than one search: two plain pairs, and chances that go on.


def after(situation: Situation, turns: Sequence[int]) -> Situation:
    """The situation after down-frame turns."""
    return Situation.of_down(apply_turns(situation.position, turns), situation.face)


def plain_sequences(engine: Engine, situation: Situation, slot: int) -> list[tuple[int, ...]]:
    """The shortest plain sequences into a slot; one of no turns if it is solved."""
    free = situation.free >> slot & 1
    return engine.solve(situation, [plain_task(situation, slot)])[0] if free else [()]


def _plain_turns(engine: Engine, situation: Situation, slot: int) -> int:
    """Turns of the shortest plain sequence into a slot."""
    free = situation.free >> slot & 1
    return engine.shortest(situation, plain_task(situation, slot)) if free else 0


def two_plain_pairs(engine: Engine, situation: Situation, slots: Sequence[int]) -> int:
    """Turns of two plain pairs, the first of them as short as it goes, in the better order.

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
    """For each chance its shortest sequences, also of those that go on by another technique.

    Of such a chance all sequences are taken that are shortest as a whole, among those whose
    first part is as short as it goes. Those in which the last turn of the first part would
    merge with the first of the second are left out: nobody stops there to see what follows.
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
            break  # first parts come shorter ones first
        then = after(situation, first)
        tasks = [
            following.task
            for technique in techniques
            for following in technique.chances(then)
            if following.slots == chance.then_into
        ]
        for seconds in engine.solve(then, tasks) if tasks else ():
            wholes += [first + second for second in seconds if not _merge(first, second)]
    shortest = min(map(len, wholes), default=0)
    return [whole for whole in wholes if len(whole) == shortest <= LONGEST]


def _merge(first: tuple[int, ...], second: tuple[int, ...]) -> bool:
    """Whether turns of two parts count as one where they meet."""
    return htm(first + second) < len(first) + len(second)
