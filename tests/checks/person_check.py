"""How well a person's hands are learned from the times of their turns.

``python tests/checks/person_check.py`` draws persons whose true prices are known
(``tests/drawn_persons.py``), lets them solve, and compares what is learned from some solves with
the times of other solves. *Error* is the mean absolute difference between the predicted and the
measured time of an insertion after its first turn, hesitations set aside. *Excess* is (error −
floor) / (usual − floor): the floor is the error of the true prices, usual that of the usual ones.
"""

from __future__ import annotations

import argparse
import time
from collections import defaultdict
from itertools import islice
from typing import TYPE_CHECKING, Any, Final, NamedTuple

import beside  # noqa: F401 - before helpers are imported
import numpy as np

from livecube.edges.cache import keep_compiled_code

keep_compiled_code()

from drawn_persons import (  # noqa: E402 - behind the line above, as numba wants it
    draw_hands,
    insertions,
    part_of,
    solvers,
    stated,
    timed,
    true_cells,
    walks,
    without_waits,
)

from livecube.edges.automaton_file import load_hands  # noqa: E402
from livecube.edges.holding_file import shipped_counts  # noqa: E402
from livecube.hands.executions import gaps_of  # noqa: E402
from livecube.hands.kinship import Kinship  # noqa: E402
from livecube.hands.own_hands import OwnHands, learn_hands  # noqa: E402
from livecube.holding.acquaintance import Acquaintance  # noqa: E402
from livecube.holding.executions import executions_read  # noqa: E402
from livecube.holding.inference import HoldingModel  # noqa: E402

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from drawn_persons import Array, Hands, Timed

    from livecube.hands.executions import Execution

KINDS: Final = ("ordinary", "ordinary", "triggers", "ordinary", "ordinary", "fatigue")
PAST_S: Final = 1.02


class Trial(NamedTuple):
    """Insertions that nothing is learned from; arrays have one entry a gap."""

    cell: Array
    ms: Array
    insertion: Array
    moves: tuple[tuple[Any, ...], ...]

    def errors(self, prices: Array) -> Array:
        """Milliseconds by which each insertion takes longer than predicted."""
        return np.bincount(self.insertion, self.ms - prices[self.cell])

    def error(self, prices: Array) -> float:
        return float(np.abs(self.errors(prices)).mean())


class Row(NamedTuple):
    """One person after some solves; errors in milliseconds."""

    kind: str
    floor: float
    usual: float
    factor: float
    own: float
    used: float
    """Error of the prices that are used: own or, until they are better, the usual ones."""
    covered: int
    """Insertions whose time is in the 95 % interval."""
    insertions: int

    @property
    def excess(self) -> float:
        return (self.own - self.floor) / (self.usual - self.floor)

    @property
    def factor_excess(self) -> float:
        return (self.factor - self.floor) / (self.usual - self.floor)

    @property
    def ratio(self) -> float:
        return self.used / self.usual


def trial_of(kin: Kinship, tests: Sequence[Timed]) -> Trial:
    """The insertions of solves, without what the hands waited."""
    pairs = [one for test in tests for one in insertions(without_waits(test))]
    gaps = gaps_of(kin.usual, [pairs])
    measured, number = np.unique(gaps.execution, return_inverse=True)
    moves = tuple(pairs[execution].moves for execution in measured)
    return Trial(gaps.cell, gaps.ms, number, moves)


def reader() -> Callable[[Timed], list[Execution]]:
    """Reads the solves of a new person, one after the other, from the turns of the cube alone."""
    solver = Acquaintance(HoldingModel.of(shipped_counts()))

    def read(one: Timed) -> list[Execution]:
        part = part_of(one)
        return executions_read(part, solver.read(part))

    return read


def one_factor(kin: Kinship, solves: Sequence[Sequence[Execution]]) -> float:
    """The factor for the usual prices with the least absolute error, long gaps set aside."""
    gaps = gaps_of(kin.usual, solves)
    usual = kin.usual_ms[gaps.cell]
    ratio = gaps.ms / usual
    kept = ratio < 2.5 * np.median(ratio)
    ms = np.bincount(gaps.execution[kept], gaps.ms[kept])
    whole = np.bincount(gaps.execution[kept], usual[kept])
    ms, whole = ms[whole > 0], whole[whole > 0]
    order = np.argsort(ms / whole)
    middle = np.searchsorted(np.cumsum(whole[order]), whole.sum() / 2)
    return float((ms / whole)[order][middle])


def row_of(
    hands: Hands, kin: Kinship, trial: Trial, solves: Sequence[Sequence[Execution]], own: OwnHands
) -> Row:
    usual = trial.error(kin.usual_ms)
    error = trial.error(own.price_ms)
    spans = [own.predicted(moves) for moves in trial.moves]
    took = np.bincount(trial.insertion, trial.ms)
    return Row(
        hands.kind,
        trial.error(true_cells(hands, kin.usual)),
        usual,
        trial.error(kin.usual_ms * one_factor(kin, solves)),
        error,
        error if own.verdict.keeps else usual,
        sum(
            span is not None and span.low <= ms <= span.high
            for span, ms in zip(spans, took, strict=True)
        ),
        len(took),
    )


def told(title: str, rows: Sequence[Row]) -> None:
    """Print what some persons have in common."""
    excess = np.array([row.excess for row in rows])
    factor = np.array([row.factor_excess for row in rows])
    ratio = np.array([row.ratio for row in rows])
    all_of = {name: sum(getattr(row, name) for row in rows) for name in Row._fields[1:]}
    together = (all_of["own"] - all_of["floor"]) / (all_of["usual"] - all_of["floor"])
    print(
        f"{title} ({len(rows)} persons): error {all_of['usual'] / len(rows):.0f} ms usual, "
        f"{all_of['factor'] / len(rows):.0f} one factor, {all_of['own'] / len(rows):.0f} own, "
        f"{all_of['floor'] / len(rows):.0f} floor\n"
        f"   excess {excess.mean():.3f} (median {np.median(excess):.3f}, of all together "
        f"{together:.3f}); one factor {factor.mean():.3f}; own leaves "
        f"{excess.mean() / factor.mean():.2f} of it\n"
        f"   used against usual {ratio.mean():.3f}; above {PAST_S}: "
        f"{100 * (ratio > PAST_S).mean():.1f} %; "
        f"95 % intervals cover {100 * all_of['covered'] / all_of['insertions']:.1f} % of "
        f"{all_of['insertions']}"
    )


def speed(kin: Kinship, solves: Sequence[Sequence[Execution]], many: int) -> None:
    """How long it takes to learn from many solves, and from one more."""
    repeated = [solves[number % len(solves)] for number in range(many)]
    began = time.perf_counter()
    own = learn_hands(kin, repeated)
    took = time.perf_counter() - began
    updates = []
    for solve in solves[:20]:
        began = time.perf_counter()
        own = own.after(solve)
        updates.append(1000 * (time.perf_counter() - began))
    print(
        f"learning from {many} solves ({len(own.fit.means.cell)} different prices): {took:.1f} s; "
        f"one more: {np.median(updates):.0f} ms, at most {max(updates):.0f}"
    )


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--persons", type=int, default=100)
    parser.add_argument("--near", type=int, default=50, help="persons with nearly the usual hands")
    parser.add_argument("--read", type=int, default=30, help="persons whose holdings are read")
    parser.add_argument("--after", type=int, nargs="+", default=[5, 50, 200], help="solves")
    parser.add_argument("--tests", type=int, default=60, help="solves to predict")
    parser.add_argument(
        "--solvers", type=int, default=12, help="virtual solvers who solve for them"
    )
    parser.add_argument("--many", type=int, default=10_000, help="solves to time the learning with")
    parser.add_argument("--seed", type=int, default=7)
    given = parser.parse_args()
    most = max(given.after)
    habits = list(islice(solvers(), given.solvers))
    kins = {left: Kinship(load_hands("left" if left else "right")) for left in (False, True)}
    rows: dict[tuple[str, int], list[Row]] = defaultdict(list)
    for number in range(given.persons + given.near):
        near = number >= given.persons
        rng = np.random.default_rng([given.seed, number])
        solver = habits[number % len(habits)]
        kin = kins[solver.left_handed]
        hands = draw_hands(rng, kin.usual, "near" if near else KINDS[number % len(KINDS)])
        solves = timed(hands, walks(solver, kin.usual, most + given.tests), rng)
        trial = trial_of(kin, solves[most:])
        ways = {"near" if near else "stated": [stated(one) for one in solves[:most]]}
        if number < min(given.read, given.persons):
            ways["as read"] = list(map(reader(), solves[:most]))
        for way, executions in ways.items():
            for count in given.after:
                own = learn_hands(kin, executions[:count])
                rows[way, count].append(row_of(hands, kin, trial, executions[:count], own))
    for (way, count), those in rows.items():
        told(f"{way}, after {count} solves", those)
        plain = [row for row in those if row.kind == "ordinary"]
        if plain and len(plain) < len(those):
            told("   ordinary ones among them", plain)
    every = [walk for one in habits for walk in walks(one, kins[one.left_handed].usual, most)]
    person = draw_hands(np.random.default_rng(1), kins[False].usual, "ordinary")
    speed(
        kins[False],
        [stated(one) for one in timed(person, every, np.random.default_rng(2))],
        given.many,
    )


if __name__ == "__main__":
    main()
