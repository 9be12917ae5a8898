"""The worth of planning and techniques, in predicted seconds and turns.

Four pairs are solved in several ways from the same positions: the fastest cross after a random
scramble, then from the best front. The ways are compared with a solver who knows the usual
last-slot cases (``usual_cases.toml``) and always takes the quickest next pair. Seconds are those of
the usual hands and eyes. In brackets is the 95 % bootstrap interval of the mean difference.
"""

from __future__ import annotations

import argparse
import random
from collections import defaultdict
from typing import TYPE_CHECKING, Final, NamedTuple

import beside  # noqa: F401 - before helpers are imported
import numpy as np
from usual_cases import load_cases

from livecube.advice.plan import Beam
from livecube.composition.assembly import load_advisor
from livecube.cube.geometry import FACES
from livecube.cube.position import SOLVED, apply_turns, htm, inverse_turn, parse_turn
from livecube.search.hand_arrays import UPRIGHT
from livecube.search.situation import SLOT_SYMMETRY, TURN_SEEN, Situation, piece_places, slot_bits
from livecube.search.spelling import spelled
from livecube.search.task import Task
from livecube.techniques.base import traits
from livecube.techniques.registry import TECHNIQUES

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.advice.plan import Line
    from livecube.search.answers import Answers
    from livecube.search.task import Written
    from livecube.techniques.base import Technique

DOWN: Final = FACES.index("D")
KEYHOLES: Final = ("keyhole-corner", "keyhole-edge", "keyhole-flip", "keyhole-chain")


class Done(NamedTuple):
    """Four pairs."""

    seconds: float
    turns: int


class UsualSolver:
    """Takes the quickest next pair by the usual cases; pairs without a case are done plainly."""

    def __init__(self, answers: Answers, beam: Beam) -> None:
        self._answers = answers
        self._beam = beam
        self._known: dict[tuple[int, int], list[tuple[int, ...]]] = defaultdict(list)
        for case in load_cases():
            for text in case.in_use:
                turns = [parse_turn(turn) for turn in text.split()]
                for quarters in range(4):
                    self._add(([quarters - 1] if quarters else []) + turns)

    def _add(self, turns: list[int]) -> None:
        before = apply_turns(SOLVED, [inverse_turn(turn) for turn in reversed(turns)])
        places = piece_places(before.tolist())
        if len(turns) > 1 and turns[0] // 3 == turns[1] // 3:
            return
        self._known[places[0], places[4]].append(tuple(turns))

    def next_way(self, situation: Situation, starts: Sequence[int]) -> tuple[Written, int] | None:
        """The quickest usual sequence into any slot, and the milliseconds of looking."""
        best = None
        for slot in slot_bits(situation.free):
            seen = tuple(
                int(SLOT_SYMMETRY[slot, kind, situation.places[slot + 4 * kind]]) for kind in (0, 1)
            )
            given = np.argsort(TURN_SEEN[slot])
            known = self._known.get((seen[0], seen[1]), ())
            sequences = [tuple(int(given[turn]) for turn in turns) for turns in known]
            for way in spelled(self._answers.hands, sequences, starts):
                if best is None or way.ms < best.ms:
                    best = way
        return best and (best, 0)


def walk(solver: UsualSolver, beam: Beam, situation: Situation, *, looking: bool) -> Done | None:
    """The pairs of the solver who knows the usual cases."""
    hands = solver._answers.hands
    start: int | None = None
    moved = [False] * 8
    seconds, turns = 0.0, 0
    while situation.free:
        starts = [*UPRIGHT] if start is None else [start]
        lines = [
            line
            for line in [beam.quickest_next(situation, start, looking=looking, moved=moved)]
            if line is not None
        ]
        found = solver.next_way(situation, starts)
        if found is not None:
            way = found[0]
            look = looking_of(solver, situation, way, moved) if looking else 0
        elif lines:
            way, look = lines[0].steps[0].way, lines[0].steps[0].looking_ms
        else:
            return None
        seconds += (way.ms + look) / 1000
        turns += htm(way.turns)
        after = Situation.of_down(apply_turns(situation.position, way.turns), situation.face)
        moved = [bool(one) for one in after.places != situation.places]
        situation, start = after, UPRIGHT[int(hands.front[way.end])]
    return Done(seconds, turns)


def looking_of(
    solver: UsualSolver, situation: Situation, way: Written, moved: Sequence[bool]
) -> int:
    """Milliseconds of looking before a plain way."""
    after = Situation.of_down(apply_turns(situation.position, way.turns), situation.face)
    (slot,) = slot_bits(after.solved & ~situation.solved)[:1]
    eyes, front = solver._answers.automaton.looking, int(solver._answers.hands.front[way.start])
    corner = int(SLOT_SYMMETRY[front, 0, situation.places[slot]])
    edge = int(SLOT_SYMMETRY[front, 1, situation.places[slot + 4]])
    return int(
        eyes.base_ms
        + eyes.corner_ms[int(moved[slot]), corner]
        + eyes.edge_ms[int(moved[slot + 4]), edge]
    )


def done(line: Line | None) -> Done | None:
    """The figures of a plan."""
    if line is None:
        return None
    return Done(line.ms / 1000, sum(htm(step.way.turns) for step in line.steps))


def interval(differences: Sequence[float], rng: np.random.Generator) -> str:
    """Mean and its 95 % bootstrap interval."""
    values = np.array(differences)
    means = values[rng.integers(0, len(values), (2000, len(values)))].mean(axis=1)
    low, high = np.percentile(means, [2.5, 97.5])
    return f"{values.mean():+.3f} ({low:+.3f} to {high:+.3f})"


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--positions", type=int, default=300)
    parser.add_argument("--seed", type=int, default=11)
    chosen = parser.parse_args()
    advisor = load_advisor()
    answers = advisor.answers
    usual = [
        one
        for one in TECHNIQUES
        if not traits(one).in_inspection and one.id not in ("shortest", "keyhole-chain")
    ]
    sets: dict[str, list[Technique]] = {
        "plain": [one for one in usual if one.id == "plain"],
        "plain and made pairs": [one for one in usual if one.id in ("plain", "made-pair")],
        "and keyholes": [one for one in usual if one.id != "pseudo-pair"],
        "all": usual,
    }
    beams = {name: Beam(answers, techniques) for name, techniques in sets.items()}
    solver = UsualSolver(answers, beams["plain"])
    rng, draws = random.Random(chosen.seed), np.random.default_rng(chosen.seed)
    rows: dict[tuple[str, bool], list[Done]] = defaultdict(list)
    given: dict[bool, list[float]] = defaultdict(list)
    solved = 0
    while solved < chosen.positions:
        position = apply_turns(SOLVED, [rng.randrange(18) for _ in range(40)])
        scrambled = Situation.of_down(position, DOWN)
        crosses = answers.ways(scrambled, [Task(goal=0)], [*UPRIGHT])
        if not crosses:
            continue
        situation = Situation.of_down(apply_turns(position, crosses[0].turns), DOWN)
        one: dict[tuple[str, bool], Done] = {}
        for looking in (True, False):
            base = walk(solver, beams["plain"], situation, looking=looking)
            if base is None:
                break
            one["usual cases, quickest next", looking] = base
            for name, beam in beams.items():
                quick = done(beam.quickest_next(situation, looking=looking))
                lines = beam.lines(situation, looking=looking)
                plan = done(lines[0] if lines else None)
                if quick is None or plan is None:
                    break
                one[f"{name}, quickest next", looking] = quick
                one[f"{name}, planned", looking] = plan
        if len(one) < 2 * (1 + 2 * len(beams)):
            continue
        solved += 1
        for key, value in one.items():
            rows[key].append(value)
        waits = situation.corners ^ situation.edges
        if waits and situation.free.bit_count() > 1:
            for looking in (True, False):
                gain = (
                    one["and keyholes, planned", looking].seconds
                    - one["plain and made pairs, planned", looking].seconds
                )
                given[looking].append(gain)
    for looking in (True, False):
        print(f"{'with' if looking else 'without'} looking, {solved} positions")
        compared = rows["usual cases, quickest next", looking]
        for (name, looked), values in rows.items():
            if looked != looking:
                continue
            mean = np.mean([value.seconds for value in values])
            turns = np.mean([value.turns for value in values])
            difference = interval(
                [v.seconds - b.seconds for v, b in zip(values, compared, strict=True)], draws
            )
            print(f"  {name:<38} {mean:6.3f} s {turns:6.2f} turns   {difference}")
        if given[looking]:
            print(
                f"  where the cross solves one piece of a slot ({len(given[looking])} positions), "
                f"keyholes: {interval(given[looking], draws)}"
            )


if __name__ == "__main__":
    main()
