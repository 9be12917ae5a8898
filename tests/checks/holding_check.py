"""How well holdings are inferred: accuracy by stage, calibration, slices and wide turns, live and
in hindsight, on solves that were not learned from.

``python tests/checks/holding_check.py --solves 1000`` prints the tables; it takes some minutes.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import beside  # noqa: F401 - before helpers are imported
import numpy as np

from livecube.edges.cache import keep_compiled_code

keep_compiled_code()

from everyday_solver import draw_person, everyday_solves  # noqa: E402
from holding_truth import (  # noqa: E402 - behind the line above, as numba wants it
    true_counts,
    true_holdings,
    true_part,
    true_path,
    virtual_solves,
)

from livecube.edges.holding_file import shipped_counts  # noqa: E402
from livecube.holding.acquaintance import Acquaintance  # noqa: E402
from livecube.holding.counts import COUNTED  # noqa: E402
from livecube.holding.follower import LiveHolding  # noqa: E402
from livecube.holding.inference import HoldingModel, adapted, read_solve  # noqa: E402
from livecube.holding.observations import STAGES, stage_name_numbers  # noqa: E402
from livecube.virtual.habits import LEFT_HANDED, OTHERWISE, RIGHT_HANDED, SHORT_SIGHTED  # noqa: E402

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.holding.kernel import Array
    from livecube.holding.observations import Path
    from livecube.virtual.records import VirtualSolve

NAMED = np.array((0, 1, 1, 1, 1, 2, 3, 4))
JUDGED = 100
"""The first everyday solver; no number of livecube was chosen on these."""
BINS = np.arange(0.0, 1.0, 0.1)
KINDS = ("face", "wide", "slice")


@dataclass
class Tally:
    """Turns, whether each was right, and its confidence."""

    stages: list[int] = field(default_factory=list)
    right: list[bool] = field(default_factory=list)
    sure: list[float] = field(default_factory=list)

    def add(self, stages: Sequence[int], held: Array, truth: Sequence[int]) -> None:
        self.stages += NAMED[list(stages)].tolist()
        self.right += (held.argmax(axis=1) == np.array(truth)).tolist()
        self.sure += held.max(axis=1).tolist()

    def row(self) -> str:
        """Right in each stage, and right of those said with 80 to 90 %, percent."""
        stages, right, sure = np.array(self.stages), np.array(self.right), np.array(self.sure)
        shares = [100 * right[stages == i].mean() for i in range(len(STAGES))]
        within = (sure >= 0.8) & (sure < 0.9)
        told = [f"{100 * values[within].mean():.1f}" for values in (sure, right)]
        return "".join(f"{share:9.1f}" for share in shares) + f"   {told[0]}, {told[1]}"

    def print(self, title: str) -> None:
        stages, right, sure = np.array(self.stages), np.array(self.right), np.array(self.sure)
        shares = [f"{name} {100 * right[stages == i].mean():.1f}" for i, name in enumerate(STAGES)]
        after = right[stages > 0].mean()
        print(f"{title}: {100 * right.mean():.2f} % of {len(right)} turns, ", end="")
        print(f"after the cross {100 * after:.2f} %; {', '.join(shares)}")
        told = []
        for low in BINS:
            within = (sure >= low) & (sure < low + 0.1 + (low > 0.85))
            if within.sum():
                p, r = 100 * sure[within].mean(), 100 * right[within].mean()
                told.append(f"{p:.1f}→{r:.1f} ({within.sum()})")
        print("   confidence → right, %: " + "  ".join(told))


def everyday(persons: int, solves: int, models: dict[str, HoldingModel]) -> None:
    """Judge people whose habits are in no table, from their first solve on."""
    made = [list(everyday_solves(draw_person(n), solves)) for n in range(JUDGED, JUDGED + persons)]
    print(f"\n{persons} everyday solvers, {solves} solves each, in hindsight")
    print(f"{'':34}{''.join(f'{name:>9}' for name in STAGES)}   said 80 to 90 %, right")
    for title, model in models.items():
        tallies = {"all turns": Tally(), "first turns of stages": Tally()}
        for its in made:
            solver = Acquaintance(model)
            for done in its:
                stages, held = done.part.stages, solver.read(done.part).held
                first = [i for i, its in enumerate(stages) if not i or its != stages[i - 1]]
                truth = np.array(done.holdings)
                tallies["all turns"].add(stages, held, done.holdings)
                tallies["first turns of stages"].add(
                    [stages[i] for i in first], held[first], truth[first].tolist()
                )
        for which, tally in tallies.items():
            print(f"{title + ', ' + which:34}{tally.row()}")
        tallies["all turns"].print(title)


def by_itself(title: str, solves: Sequence[VirtualSolve], model: HoldingModel) -> None:
    """Judge each solve without the person's other solves."""
    tally = Tally()
    for done in solves:
        part = true_part(done)
        tally.add(part.stages, read_solve(part, model).held, true_holdings(done))
    tally.print(f"\n{title}, in hindsight, each by itself")


def hindsight(title: str, solves: Sequence[VirtualSolve], model: HoldingModel) -> None:
    """Judge the solves in order, as those of one person."""
    tally, kinds, solver = Tally(), np.zeros((3, 3), dtype=int), Acquaintance(model)
    began = time.perf_counter()
    for done in solves:
        part = true_part(done)
        reading = solver.read(part)
        tally.add(part.stages, reading.held, true_holdings(done))
        np.add.at(kinds, (_kinds(true_path(done)), _kinds(reading.path)), 1)
    print(f"\n{title}, in hindsight ({time.perf_counter() - began:.1f} s including the counting)")
    tally.print("holding")
    for i, name in enumerate(KINDS):
        row = ", ".join(f"{kinds[i, j]} as {KINDS[j]}" for j in range(3))
        print(f"   turns of {name} moves read: {row}")


def _kinds(path: Path) -> list[int]:
    return [(0, 1, 2)[(s.move >= 18) + (s.move >= 36)] for s in path for _ in range(s.reports)]


def live(title: str, solves: Sequence[VirtualSolve], model: HoldingModel) -> None:
    now, later, took = Tally(), Tally(), []
    follower, solver = LiveHolding(model), Acquaintance(model)
    for done in solves:
        part, truth = true_part(done), true_holdings(done)
        follower.kinds = solver.kinds
        follower.begin()
        for i, (turn, t, stage) in enumerate(zip(part.turns, part.times, part.stages, strict=True)):
            began = time.perf_counter()
            follower.turn(turn, t, stage, part.cross if stage else -1)
            _ = follower.held
            took.append(1000 * (time.perf_counter() - began))
            recent = follower.recent()
            recent = solver.believed(recent, stage_name_numbers([stage]) * len(recent), live=True)
            now.add([stage], recent[-1:], truth[i : i + 1])
            if i >= 2:
                later.add([part.stages[i - 2]], recent[:1], truth[i - 2 : i - 1])
        solver.read(part)
    p50, p99, most = np.percentile(took, [50, 99, 100])
    print(f"\n{title}, live: {p50:.3f} ms a turn, p99 {p99:.3f}, most {most:.2f}")
    now.print("at once")
    later.print("two turns later")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--solves", type=int, default=1000)
    parser.add_argument("--counted", type=int, default=20_000, help="for the true habits")
    parser.add_argument("--learned", type=int, default=20, help="solves that are adapted to")
    parser.add_argument("--others", type=int, default=3, help="kinds of other solvers")
    parser.add_argument("--persons", type=int, default=40, help="everyday solvers")
    parser.add_argument("--each", type=int, default=50, help="solves of each of them")
    given = parser.parse_args()
    learned = given.learned
    shipped = HoldingModel.of(shipped_counts())
    by_counts = HoldingModel.of(shipped_counts()[: len(COUNTED)])
    everyday(given.persons, given.each, {"by counts alone": by_counts, "as shipped": shipped})
    solves = list(virtual_solves(range(given.solves), RIGHT_HANDED))
    counted = range(2_000_000, 2_000_000 + given.counted)
    hindsight("right-handed", solves, shipped)
    true_habits = HoldingModel.of([true_counts(virtual_solves(counted, RIGHT_HANDED))])
    hindsight("right-handed, its true habits", solves, true_habits)
    live("right-handed", solves, shipped)
    live("right-handed, its true habits", solves, true_habits)
    began = time.perf_counter()
    for done in solves:
        read_solve(true_part(done), shipped)
    print(f"\nreading {len(solves)} solves: {time.perf_counter() - began:.1f} s")
    for habits in (LEFT_HANDED, OTHERWISE, SHORT_SIGHTED)[: given.others]:
        others = list(virtual_solves(range(given.solves), habits))
        mine = adapted(
            shipped_counts(), [true_part(s) for s in others[:learned]], np.random.default_rng(0)
        )
        by_itself(habits.name, others[learned:], shipped)
        hindsight(habits.name, others[learned:], shipped)
        live(habits.name, others[learned:], shipped)
        hindsight(
            f"{habits.name}, adapted to {learned} solves", others[learned:], HoldingModel.own(mine)
        )
        theirs = true_counts(virtual_solves(counted[: given.counted // 4], habits))
        hindsight(f"{habits.name}, its true habits", others[learned:], HoldingModel.own(theirs))


if __name__ == "__main__":
    main()
