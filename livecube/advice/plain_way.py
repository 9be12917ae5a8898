"""What a technique is compared with: the cross if need be, then plain pairs, fewest turns."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from livecube.advice.two_steps import after, plain_sequences
from livecube.cube.holding import hand_moves
from livecube.cube.position import apply_turns
from livecube.search.situation import Situation, slot_bits
from livecube.search.task import Task

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.advice.advisor import Advisor
    from livecube.cube.geometry import Array
    from livecube.cube.holding import Holding, Move
    from livecube.search.engine import Engine

__all__ = ["Step", "plain_way", "written_steps"]


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
        if row.technique == "plain"
    ]
    asked = next(row for row in plain if row.turns_fixed == fixed)
    alike = [row for row in plain if (row.slots, row.turns) == (asked.slots, asked.turns)]
    row = min(alike, key=lambda row: row.seconds) if any_other else asked
    return Step(row.slots[0], row.moves, row.turns_fixed)
