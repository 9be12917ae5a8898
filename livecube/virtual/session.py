"""Several solves in one log, scrambled on the cube itself or given as start position."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from livecube.cube.position import inverse_turns, merge
from livecube.events import CubeEvent, SolveMark, Turn
from livecube.virtual.habits import RIGHT_HANDED
from livecube.virtual.hands import CrossFrame, Hands
from livecube.virtual.solver import solve

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from livecube.virtual.habits import Habits
    from livecube.virtual.records import HandMove, Kind, VirtualSolve, VirtualTurn

__all__ = ["VirtualSession", "session"]


@dataclass(frozen=True, slots=True)
class VirtualSession:
    """The solves of one log on one cube, with one clock."""

    solves: list[VirtualSolve]
    scramble: list[int]
    """Fixed-frame turns from solved to the position at t = 0; empty if the log holds them all."""

    @property
    def turns(self) -> list[VirtualTurn]:
        """All reported turns; the log's turn lines in order."""
        return [turn for one in self.solves for turn in one.turns]

    def events(self, *, marks: bool = True) -> list[CubeEvent]:
        """The events as recorded: turns and, if wanted, marks of the solves' phases."""
        events: list[CubeEvent] = []
        for number, one in enumerate(self.solves, start=1):
            events += _events(one, number) if marks else [Turn(v.t, v.turn) for v in one.turns]
        return events


def _events(one: VirtualSolve, number: int) -> list[CubeEvent]:
    scrambling = one.turns[: one.start_turn - one.first_line]
    events: list[CubeEvent] = []
    if scrambling:
        events.append(SolveMark(scrambling[0].t, number, "scramble"))
        events += [Turn(v.t, v.turn) for v in scrambling]
        events.append(SolveMark(scrambling[-1].t, number, "inspect"))
    if one.solving:
        events.append(SolveMark(one.solving[0].t, number, "start"))
        events += [Turn(v.t, v.turn) for v in one.solving]
        end = one.solving[-1].t
        events.append(SolveMark(end, number, "end" if one.solved else "abandon"))
    return events


def session(
    seed: int | np.random.Generator,
    solves: int | Sequence[Collection[Kind]],
    habits: Habits = RIGHT_HANDED,
    *,
    cross: int | None = None,
    on_cube: bool = True,
) -> VirtualSession:
    """Solves one after the other: scramble, inspection, solve, rest.

    ``solves`` is their number, or the kinds of each. With ``on_cube`` every scramble is turned on
    the cube and reported, starting from the solved cube. Otherwise the log starts with the first
    solve scrambled, and only the later scrambles are turned.
    """
    rng = np.random.default_rng(seed)
    wishes: Sequence[Collection[Kind]] = [()] * solves if isinstance(solves, int) else solves
    done: list[VirtualSolve] = []
    standing: list[int] = []
    t, line = 0.0, 1
    for number, kinds in enumerate(wishes):
        one = solve(rng, None, habits, cross=cross, kinds=kinds)
        left = [] if one.solved else [*one.scramble, *(turn.turn for turn in one.turns)]
        if number or on_cube:
            # Takes the turns of an abandoned solve back.
            scramble = [m.turn for m in merge([*inverse_turns(standing), *one.scramble])]
            hands = _scrambling(scramble, habits, rng, t)
            one = _placed(one, line, hands.t, scramble, hands)
        done.append(one)
        standing = left
        line = one.first_line + len(one.turns)
        t = one.moves[-1].t + habits.rest_s * float(rng.uniform(0.6, 1.6))
    start = [] if on_cube or not done else done[0].scramble
    return VirtualSession(done, start)


def _scrambling(
    scramble: Sequence[int], habits: Habits, rng: np.random.Generator, t: float
) -> Hands:
    # The frame does not matter here: nothing is planned.
    hands = Hands(CrossFrame(5), habits, rng, t)
    hands.scramble(scramble)
    return hands


def _placed(
    one: VirtualSolve, line: int, t: float, scramble: list[int], hands: Hands
) -> VirtualSolve:
    """The solve after its scramble, at its place in the log and on the clock."""
    before = line - 1 + len(hands.reports)
    turns = [
        replace(turn, t=round(turn.t + t, 3), move_index=turn.move_index + len(hands.moves))
        for turn in one.turns
    ]
    moves: list[HandMove] = [replace(move, t=round(move.t + t, 3)) for move in one.moves]
    return replace(
        one,
        scramble=scramble,
        turns=hands.reports + turns,
        moves=hands.moves + moves,
        first_line=line,
        start_turn=before + 1,
        stages=[replace(stage, end_turn=stage.end_turn + before) for stage in one.stages],
        reopened=[(slot, at + before) for slot, at in one.reopened],
    )
