"""Simulated persons with hands of their own, and the times at which they turn.

Nothing here uses what learns hands from turns. The moves are those of the virtual solver; a
person's true prices are the usual ones, changed at random for each person:

- a factor of 0.6 to 1.6 overall, evenly on a logarithmic scale;
- a log-normal factor for each face and amount (0.25), for each rotation (0.25), and for each pair
  of neighbouring moves (0.15);
- one hand slower by 0 to 40 %;
- a third of the persons do what no table of prices can express: some have practised triggers, whose
  turns run into each other, others tire during a session and a solve.

Each time has noise with mean 1, an insertion and a solve have a tempo of their own, and now and
then the hands wait. All sizes of these are drawn for each person. Common practice, no published
source.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from math import log
from typing import TYPE_CHECKING, Any, Final, Literal, TypeAlias

import numpy as np
import numpy.typing as npt

from livecube.cube.holding import HOLDINGS
from livecube.hands.automaton import MOVES, NEVER, Automaton
from livecube.hands.executions import Execution, Part
from livecube.holding.observations import SolvePart
from livecube.virtual.habits import LEFT_HANDED, RIGHT_HANDED, Habits
from livecube.virtual.solver import solve

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from livecube.cube.holding import Move
    from livecube.virtual.records import VirtualSolve

Array: TypeAlias = npt.NDArray[Any]
Kind: TypeAlias = Literal["ordinary", "triggers", "fatigue", "near"]

NUMBER: Final = {str(move): number for number, move in enumerate(MOVES)}
ROTATIONS: Final = tuple(axis + amount for axis in "xyz" for amount in ("", "2", "'"))
RIGHT: Final = frozenset("R R2 R' Rw Rw2 Rw' U U2 F F2 D'".split())
LEFT: Final = frozenset("L L2 L' Lw Lw2 Lw' U' F' D D2".split())
TRIGGERS: Final = tuple(
    text.split()
    for text in (
        "R U R'", "R U' R'", "R U2 R'", "L' U' L", "L' U L", "L' U2 L",
        "R' F R F'", "R' U' R", "R' U R", "L U L'", "L U' L'", "F' U' F", "F U F'",
    )
)  # fmt: skip
_PARTS: Final = {"cross": Part.CROSS, "pair": Part.PAIRS}
WAITED_S: Final = 0.6
"""A gap of the virtual solver that is longer was a pause."""
SLICE_MS: Final = 150.0


@dataclass(frozen=True, slots=True, eq=False)
class Walk:
    """The moves of one virtual solve as numbers; arrays have one entry a move."""

    of: VirtualSolve
    moves: tuple[Move, ...]
    price: Array
    """Number of the move's price: of a turn in its state, of a rotation, of a slice."""
    paused_s: Array
    """Seconds that the virtual solver waited before it."""
    stage: Array
    """Number of the stage, 0 to 8; moves after the last stage have the next number."""
    stages: tuple[tuple[int, int, Part], ...]
    """Stages that are executions: the first move, the end, and the part of the solve."""


@dataclass(frozen=True, slots=True)
class Hands:
    """A person: the true prices, and what makes the times of a person differ from them."""

    kind: Kind
    price: Array
    """Milliseconds of each turn in each state, then of nine rotations, then of a slice."""
    spread: float
    tempo_insertion: float
    tempo_solve: float
    p_wait: float
    wait_ms: float
    triggers: tuple[tuple[str, ...], ...] = ()
    trigger_factor: float = 1.0
    tires_session: float = 0.0
    tires_solve: float = 0.0

    def table(self, automaton: Automaton) -> Array:
        """The true prices, shape (states, 36)."""
        return self.price[: automaton.seconds_ms.size].reshape(automaton.seconds_ms.shape)


@dataclass(frozen=True, slots=True)
class Timed:
    """A walk with a person's times."""

    walk: Walk
    at_ms: Array
    """When each move was complete, whole milliseconds."""
    waited: Array
    """Milliseconds of waiting before each move."""


def draw_hands(rng: np.random.Generator, automaton: Automaton, kind: Kind) -> Hands:
    """A person's true hands. ``near``: those of the automaton but for 3 % of tempo."""
    names = automaton.state_names
    usual = automaton.seconds_ms.astype(float)
    near = kind == "near"
    factor = float(np.exp(rng.uniform(-0.03, 0.03) if near else rng.uniform(log(0.6), log(1.6))))
    one = np.exp(rng.normal(0, 0.0 if near else 0.25, (6, 3))).ravel()
    two = np.exp(rng.normal(0, 0.0 if near else 0.15, (len(names), len(MOVES))))
    last = [name.split()[-1] for name in names]
    pair = two[[last.index(name) for name in last]]
    slow = 1.0 if near else 1 + float(rng.uniform(0, 0.4))
    hand = (RIGHT, LEFT)[int(rng.integers(2))]
    by_hand = np.array([slow if str(move) in hand else 1.0 for move in MOVES])
    price = usual * factor * np.tile(one, 2) * pair * by_hand
    spun = [automaton.single_rotation_ms[name] for name in ROTATIONS]
    rotations = np.array(spun) * factor * np.exp(rng.normal(0, 0.0 if near else 0.25, 9))
    price[automaton.seconds_ms >= NEVER] = NEVER
    hands = Hands(
        kind,
        np.concatenate([price.ravel(), rotations, [SLICE_MS * factor]]),
        spread=float(rng.uniform(0.15, 0.3)),
        tempo_insertion=float(rng.uniform(0.03, 0.1)),
        tempo_solve=float(rng.uniform(0.02, 0.08)),
        p_wait=float(rng.uniform(0.01, 0.05)),
        wait_ms=float(rng.uniform(250, 600)),
    )
    if kind == "triggers":
        chosen = rng.choice(len(TRIGGERS), 4, replace=False)
        triggers = tuple(tuple(TRIGGERS[i]) for i in chosen)
        factor = float(rng.uniform(0.65, 0.85))
        return replace(hands, triggers=triggers, trigger_factor=factor)
    if kind == "fatigue":
        session, within = (float(rng.uniform(0.05, 0.2)) for _ in range(2))
        return replace(hands, tires_session=session, tires_solve=within)
    return hands


def walk_of(done: VirtualSolve, automaton: Automaton) -> Walk:
    """The moves of a solve, numbered."""
    ends = [0, *(stage.end_turn for stage in done.stages)]
    stage_of_move = np.full(len(done.moves), len(done.stages))
    for turn in reversed(list(enumerate(done.turns, start=done.first_line))):
        line, report = turn
        stage_of_move[report.move_index] = sum(end < line for end in ends[1:])
    stages = [int(stage) for stage in stage_of_move]
    moves = tuple(done_move.move for done_move in done.moves)
    for i in reversed(range(len(moves))):  # a rotation belongs to the move after it
        if moves[i].is_rotation and i + 1 < len(moves):
            stages[i] = stages[i + 1]
    price, state = [], automaton.start
    size = automaton.seconds_ms.size
    for i, move in enumerate(moves):
        if i and stages[i] != stages[i - 1]:
            state = automaton.start
        if move.is_rotation:
            price.append(size + ROTATIONS.index(str(move)))
            state = automaton.rotated
        elif str(move) in NUMBER:
            number = NUMBER[str(move)]
            if automaton.seconds_ms[state, number] >= NEVER:
                state = automaton.start
            price.append(state * len(MOVES) + number)
            state = int(automaton.next[state, number])
        else:
            price.append(size + len(ROTATIONS))
            state = automaton.start
    at = np.array([move.t for move in done.moves])
    gaps = np.diff(at, prepend=0.0)
    paused = np.where(gaps > WAITED_S, gaps - 0.2, 0.0)
    executed = []
    for number, stage in enumerate(done.stages):
        own = [i for i, of in enumerate(stages) if of == number]
        if not (stage.stage == "pair" and stage.shared) and len(own) > 1:
            executed.append((own[0], own[-1] + 1, _PARTS.get(stage.stage, Part.LAST_LAYER)))
    return Walk(done, moves, np.array(price), paused, np.array(stages), tuple(executed))


@cache
def _walk(seed: int, habits: Habits, automaton: Automaton) -> Walk | None:
    done = solve(np.random.default_rng([22, seed]), habits=habits)
    return walk_of(done, automaton) if done.solved else None


def solvers() -> Iterator[Habits]:
    """Virtual solvers who differ in taste and hand, without end."""
    taste = 0
    while True:
        taste += 1
        yield replace(RIGHT_HANDED, name=f"right {taste}", taste=taste)
        yield replace(RIGHT_HANDED, name=f"unplanned {taste}", taste=100 + taste, grip_ahead=0)
        yield replace(RIGHT_HANDED, name=f"three {taste}", taste=200 + taste, grip_ahead=3)
        yield replace(LEFT_HANDED, name=f"left {taste}", taste=300 + taste)


def walks(habits: Habits, automaton: Automaton, count: int, first: int = 0) -> list[Walk]:
    """So many solves of a solver, always the same."""
    found: list[Walk] = []
    seed = first
    while len(found) < count:
        walk = _walk(seed, habits, automaton)
        found += [walk] if walk else []
        seed += 1
    return found


def timed(hands: Hands, solves: Sequence[Walk], rng: np.random.Generator) -> list[Timed]:
    """The walks, one after the other in sessions, with this person's times."""
    made, left, session = [], 0, 1
    for walk in solves:
        if not left:
            left = session = int(rng.integers(8, 25))
        tired = hands.tires_session * (0.5 - left / session)
        left -= 1
        made.append(_timed(hands, walk, rng, tired))
    return made


def _timed(hands: Hands, walk: Walk, rng: np.random.Generator, tired: float) -> Timed:
    count = len(walk.moves)
    took = hands.price[walk.price].copy()
    for trigger in hands.triggers:
        for i in range(count - len(trigger) + 1):
            if all(str(walk.moves[i + j]) == name for j, name in enumerate(trigger)):
                took[i + 1 : i + len(trigger)] *= hands.trigger_factor
    tired_here = tired + hands.tires_solve * (np.linspace(0, 1, count) - 0.5)
    by_stage = rng.normal(0, hands.tempo_insertion, int(walk.stage.max()) + 1)
    tempo = by_stage[walk.stage] + float(rng.normal(0, hands.tempo_solve)) + tired_here
    noise = rng.normal(-(hands.spread**2) / 2, hands.spread, count)
    took *= np.exp(tempo + noise)
    waits = rng.random(count) < hands.p_wait
    waited = np.where(waits, hands.wait_ms * np.exp(rng.normal(0, 0.6, count)), 0.0)
    waited += 1000 * walk.paused_s
    return Timed(walk, np.round(np.cumsum(took + waited)), waited)


def without_waits(one: Timed) -> Timed:
    """The same hands, had they never waited."""
    return Timed(one.walk, one.at_ms - np.cumsum(one.waited), np.zeros(len(one.waited)))


def stated(one: Timed) -> list[Execution]:
    """The stages of a solve as they were turned."""
    told = []
    for first, end, part in one.walk.stages:
        at = one.at_ms[first:end].tolist()
        pause = at[0] - one.at_ms[first - 1] if first else None
        told.append(Execution(one.walk.moves[first:end], tuple(at), part=part, pause_ms=pause))
    return told


def insertions(one: Timed) -> list[Execution]:
    """The pairs among them."""
    return [execution for execution in stated(one) if execution.part == Part.PAIRS]


def part_of(one: Timed) -> SolvePart:
    """What the sensors of the cube tell of it, and the true stages."""
    done = one.walk.of
    ends = [stage.end_turn for stage in done.stages]
    last = {report.move_index: report.t for report in done.solving}
    took = np.diff(one.at_ms, prepend=0.0) - one.waited
    times, stages = [], []
    for line, report in enumerate(done.solving, start=done.start_turn):
        number = report.move_index
        earlier = min(1000 * (last[number] - report.t), 0.5 * float(took[number]))
        times.append((float(one.at_ms[number]) - max(round(earlier), 0)) / 1000)
        stages.append(min(7, sum(end < line for end in ends)))
    return SolvePart([report.turn for report in done.solving], times, stages, done.cross)


def true_automaton(hands: Hands, usual: Automaton, *, with_triggers: bool = True) -> Automaton:
    """A person's true prices, in whole milliseconds.

    What a trigger saves is taken off its last turn, of which at least 1 ms is left, since only then
    it is one. Where the states of the usual hands do not tell the turns before apart, there are
    more states.
    """
    never = usual.seconds_ms >= NEVER
    table = np.where(never, NEVER, np.maximum(np.rint(hands.table(usual)), 1)).astype(np.int32)
    spun = hands.price[usual.seconds_ms.size :].tolist()
    rotations = {
        name: max(1, round(spun[ROTATIONS.index(name)])) for name in usual.single_rotation_ms
    }
    true = usual.priced(table, rotations, usual.looking)
    for trigger in hands.triggers if with_triggers else ():
        true = _practised(true, trigger, hands.trigger_factor)
    return true


def _practised(hands: Automaton, trigger: tuple[str, ...], factor: float) -> Automaton:
    seconds, following, names = hands.seconds_ms.copy(), hands.next.copy(), [*hands.state_names]
    state, paid = names.index(trigger[0]), 0
    for made, name in enumerate(trigger[1:-1], start=2):
        number = NUMBER[name]
        paid += int(seconds[state, number])
        then, told = int(following[state, number]), " ".join(trigger[:made])
        if names[then] != told:
            following[state, number] = len(names)
            seconds = np.vstack([seconds, seconds[then]])
            following = np.vstack([following, following[then]])
            then, names = len(names), [*names, told]
        state = then
    last = NUMBER[trigger[-1]]
    whole = factor * (paid + int(seconds[state, last]))
    seconds[state, last] = max(1, round(whole - paid))
    return replace(hands, seconds_ms=seconds, next=following, state_names=tuple(names))


def true_cells(hands: Hands, automaton: Automaton) -> Array:
    """The true price of every turn in every state, then of every rotation with a turn after it."""
    table = hands.table(automaton)
    spun = dict(zip(ROTATIONS, hands.price[automaton.seconds_ms.size :], strict=False))
    rotations = np.array(
        [
            sum(float(spun[str(move)]) for move in automaton.rotation_moves[0][holding])
            for holding in range(len(HOLDINGS))
        ]
    )
    behind = rotations[:, None] + table[automaton.rotated][None, :]
    return np.concatenate([table.ravel(), behind.ravel()])
