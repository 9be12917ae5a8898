"""How well a person's eyes are learned from the pauses before their pairs.

``python tests/checks/eyes_check.py`` draws persons whose true looking is known
(``tests/drawn_eyes.py``) and compares what is learned from some solves with the looks of the next
ones, hesitations set aside. *Error* and *excess* are as in ``person_check.py``. The price of the
first turn is taken as known to 30 ms.
"""

from __future__ import annotations

import argparse
import time
from collections import defaultdict
from itertools import islice
from typing import TYPE_CHECKING, NamedTuple

import beside  # noqa: F401 - before helpers are imported
import numpy as np
from drawn_eyes import draw_eyes, looks
from drawn_persons import solvers, walks

from livecube.edges.automaton_file import load_hands
from livecube.hands.own_eyes import learn_eyes

if TYPE_CHECKING:
    from collections.abc import Sequence

    from drawn_eyes import Seen

    from livecube.hands.automaton import Looking


class Row(NamedTuple):
    """One person after some solves: errors in milliseconds."""

    floor: float
    usual: float
    factor: float
    own: float
    used: float
    """Error of the table that is used: own or, until it is better, the usual one."""
    took: float
    """Milliseconds of learning."""


def row_of(usual: Looking, solves: Sequence[Sequence[Seen]], tests: Sequence[Seen]) -> Row:
    """Learn from solves, and judge by looks."""
    began = time.perf_counter()
    own = learn_eyes(usual, [[one.look for one in solve] for solve in solves])
    took = 1000 * (time.perf_counter() - began)
    nothing = learn_eyes(usual, [])
    measured = np.array([one.took_ms for one in tests])
    known = [one.look for solve in solves for one in solve]
    tempo = np.median([one.ms for one in known]) / np.median(nothing.expected_ms(known))
    by_usual = nothing.expected_ms([one.look for one in tests])
    floor, plain, factor, error = (
        float(np.abs(measured - predicted).mean())
        for predicted in (
            np.array([one.true_ms for one in tests]),
            by_usual,
            tempo * by_usual,
            own.expected_ms([one.look for one in tests]),
        )
    )
    return Row(floor, plain, factor, error, error if own.verdict.keeps else plain, took)


def told(title: str, rows: Sequence[Row]) -> None:
    """Print what some persons have in common."""
    floor, usual, factor, own, _, took = np.array(rows).mean(axis=0)
    excess = np.median([(row.own - row.floor) / (row.usual - row.floor) for row in rows])
    ratio = np.array([row.used / row.usual for row in rows])
    print(
        f"{title} ({len(rows)} persons): error {usual:.0f} ms usual, {factor:.0f} one factor, "
        f"{own:.0f} own, {floor:.0f} floor\n"
        f"   excess {(own - floor) / (usual - floor):.3f} of all together (median {excess:.3f}); "
        f"one factor {(factor - floor) / (usual - floor):.3f}\n"
        f"   used against usual {ratio.mean():.3f}; above 1.02: "
        f"{100 * (ratio > 1.02).mean():.1f} %; learned in {took:.0f} ms"
    )


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--persons", type=int, default=100)
    parser.add_argument("--near", type=int, default=50, help="persons with nearly the usual eyes")
    parser.add_argument("--after", type=int, nargs="+", default=[5, 50, 200], help="solves")
    parser.add_argument("--tests", type=int, default=60, help="next solves, to predict")
    parser.add_argument(
        "--solvers", type=int, default=12, help="virtual solvers who solve for them"
    )
    parser.add_argument("--seed", type=int, default=9)
    given = parser.parse_args()
    habits = list(islice(solvers(), given.solvers))
    tables = {left: load_hands("left" if left else "right") for left in (False, True)}
    rows: dict[tuple[str, int], list[Row]] = defaultdict(list)
    for number in range(given.persons + given.near):
        near = number >= given.persons
        rng = np.random.default_rng([given.seed, number])
        solver = habits[number % len(habits)]
        table = tables[solver.left_handed]
        eyes = draw_eyes(rng, table.looking, near=near)
        own_walks = walks(solver, table, max(given.after) + given.tests)
        solves = looks(eyes, table.looking, own_walks, rng)
        for count in given.after:
            tests = [one for solve in solves[count : count + given.tests] for one in solve]
            row = row_of(table.looking, solves[:count], tests)
            rows["nearly usual" if near else "drawn", count].append(row)
    for (who, count), those in rows.items():
        told(f"{who}, after {count} solves", those)


if __name__ == "__main__":
    main()
