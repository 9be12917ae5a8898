"""Measures the numbers of ``livecube/holding/acquaintance.py``, and prints them.

``python tests/checks/make_acquaintance.py`` takes some minutes. Strangers are virtual solvers with
random habits: they know other sequences for the last layer than the counted solvers, and most of
them plan no grip. The kinds that nobody counted are measured on everyday solvers
(``everyday_solver.py``). ``tests/checks/holding_check.py`` tries none of them.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple, TypeAlias

import beside  # noqa: F401 - before helpers are imported
import numpy as np

from livecube.edges.cache import keep_compiled_code

keep_compiled_code()

from everyday_solver import draw_person, everyday_solves  # noqa: E402
from holding_truth import true_holdings, true_part, virtual_solves  # noqa: E402

from livecube.edges.holding_file import shipped_counts  # noqa: E402
from livecube.holding.acquaintance import Acquaintance, Worth, log_odds, surprise  # noqa: E402
from livecube.holding.counts import COUNTED, GROUPS, USUAL_WAYS  # noqa: E402
from livecube.holding.follower import LiveHolding  # noqa: E402
from livecube.holding.inference import HoldingModel, adapted, read_solve  # noqa: E402
from livecube.holding.observations import stage_name_numbers  # noqa: E402
from livecube.virtual.habits import LEFT_HANDED, RIGHT_HANDED, UNPLANNED, Habits  # noqa: E402

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from livecube.holding.kernel import Array
    from livecube.holding.observations import SolvePart
    from livecube.virtual.records import VirtualSolve

KNOWN = {900_000: RIGHT_HANDED, 910_000: LEFT_HANDED, 920_000: UNPLANNED}
"""The counted solvers, and their first seeds."""
EVERYDAY = 10_000
"""The first everyday solver; ``holding_check.py`` tries others."""
MOST = (2.5, 3.0, 3.5, 4.0, 5.0, 6.0, 8.0, 10.0)
"""Bounds for log odds that are tried."""
LEAST_BETWEEN = 0.3
"""Few kinds of solvers were counted; more would differ more than these."""


Told: TypeAlias = "tuple[SolvePart, Sequence[int]]"
"""A solve as the cube tells it, and the true holding of each turn."""


class Readings(NamedTuple):
    """The readings of one solver: a row for each turn, and the surprise of each solve."""

    groups: Array
    odds: Array
    """Log odds of the likeliest holding, as the model believes."""
    right: Array
    surprises: Array
    grip: str
    """The most likely way in which this solver chooses a grip."""


def readings(
    groups: Sequence[int],
    sure: Sequence[float],
    right: Sequence[bool],
    surprises: Sequence[float],
    solver: Acquaintance,
) -> Readings:
    odds = log_odds(np.array(sure))
    return Readings(np.array(groups), odds, np.array(right), np.array(surprises), solver.grip)


def told(solves: Iterable[VirtualSolve]) -> list[Told]:
    return [(true_part(done), true_holdings(done)) for done in solves]


def stranger(seed: int) -> Habits:
    rng = np.random.default_rng(seed)

    def between(low: float, high: float) -> float:
        return float(rng.uniform(low, high))

    return replace(
        RIGHT_HANDED,
        name=f"stranger {seed}",
        backwards=True,
        left_handed=bool(rng.random() < 0.5),
        taste=seed,
        grip_ahead=99 if rng.random() < 0.3 else 0,
        p_wide_for_layer=between(0.0, 0.25),
        p_rotate_for_case=between(0.2, 0.8),
        p_longer_pair=between(0.2, 0.7),
        p_easiest_pair=between(0.5, 0.9),
        p_one_look_orient=between(0.2, 0.9),
        p_one_look_permute=between(0.3, 0.9),
        p_regrip_in_cross=between(0.0, 0.5),
        turn_s=between(0.13, 0.26),
        rotation_s=between(0.15, 0.35),
        pair_pause_s=between(0.3, 0.7),
    )


def read(solves: Sequence[Told], model: HoldingModel, met: Sequence[Told] = ()) -> Readings:
    """Readings of one solver's solves, after the solves in ``met``."""
    groups, sure, right, surprises = list[int](), list[float](), list[bool](), list[float]()
    solver = Acquaintance(model)
    for part, _ in met:
        solver.read(part)
    for part, truth in solves:
        names, reading = stage_name_numbers(part.stages), read_solve(part, model, solver.kinds)
        solver.read(part)
        groups += [GROUPS[name] for name in names]
        sure += reading.held.max(axis=1).tolist()
        right += (reading.held.argmax(axis=1) == np.array(truth)).tolist()
        if (surprising := surprise(reading, names)) is not None:
            surprises.append(surprising)
    return readings(groups, sure, right, surprises, solver)


def read_live(solves: Sequence[Told], model: HoldingModel, met: Sequence[Told]) -> Readings:
    """The same, turn by turn."""
    groups, sure, right = list[int](), list[float](), list[bool]()
    solver, follower = Acquaintance(model), LiveHolding(model)
    for part, _ in met:
        solver.read(part)
    for part, truths in solves:
        follower.kinds = solver.kinds
        follower.begin()
        rows = zip(part.turns, part.times, part.stages, truths, strict=True)
        for turn, t, stage, truth in rows:
            follower.turn(turn, t, stage, part.cross if stage else -1)
            held = follower.recent()[-1]
            sure.append(float(held.max()))
            right.append(bool(held.argmax() == truth))
        groups += [GROUPS[name] for name in stage_name_numbers(part.stages)]
        solver.read(part)
    return readings(groups, sure, right, [], solver)


def like(solvers: Sequence[Readings]) -> tuple[float, float, float]:
    means = [found.surprises.mean() for found in solvers]
    within = np.mean([found.surprises.std() for found in solvers])
    return float(np.mean(means)), max(LEAST_BETWEEN, float(np.std(means))), float(within)


def worth(solvers: Sequence[Readings]) -> list[Worth]:
    """By group: the line and the bound that fit best."""
    fitted = []
    for group in sorted(set(GROUPS)):
        odds = np.concatenate([found.odds[found.groups == group] for found in solvers])
        right = np.concatenate([found.right[found.groups == group] for found in solvers])
        tried = [(*_fit(np.minimum(odds, most), right), most) for most in MOST]
        a, b, _, most = max(tried, key=lambda one: one[2])
        fitted.append(Worth(round(a, 2), round(b, 2), most))
    return fitted


def _fit(odds: Array, right: Array) -> tuple[float, float, float]:
    """Logistic regression by Newton's method: a, b, and the likelihood of the outcomes.

    Where all odds lie beyond a bound, only the ridge makes the line definite.
    """
    columns, line = np.stack([np.ones(len(odds)), odds], axis=1), np.zeros(2)
    for _ in range(30):
        share = 1 / (1 + np.exp(-(columns @ line)))
        curvature = (columns * (share * (1 - share))[:, None]).T @ columns
        line = line + np.linalg.solve(curvature + 1e-3 * np.eye(2), columns.T @ (right - share))
    likely = np.where(right, share, 1 - share)
    return float(line[0]), float(line[1]), float(np.log(likely).sum())


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--strangers", type=int, default=40)
    parser.add_argument("--solves", type=int, default=30, help="of each stranger")
    parser.add_argument("--known", type=int, default=300, help="solves of each who is known")
    parser.add_argument(
        "--learned",
        type=int,
        default=20,
        help="solves of each before the judged ones",
    )
    parser.add_argument("--everyday", type=int, default=40, help="persons with the usual ways")
    asked = parser.parse_args()
    counts = shipped_counts()
    model = HoldingModel.of(counts)
    known = [
        read(told(virtual_solves(range(first, first + asked.known), habits)), model)
        for first, habits in KNOWN.items()
    ]
    print(f"known: {like(known)}")
    strangers, live, own = list[Readings](), list[Readings](), list[Readings]()
    for number in range(asked.strangers):
        seeds = range(10_000 * number, 10_000 * number + asked.solves + asked.learned)
        solves = told(virtual_solves(seeds, stranger(1_000 + number)))
        first, others = solves[: asked.learned], solves[asked.learned :]
        strangers.append(read(others, model, first))
        live.append(read_live(others, model, first))
        learned = adapted(counts, [part for part, _ in first], np.random.default_rng(0))
        own.append(read(others, HoldingModel.own(learned)))
    print(f"strangers: {like(strangers)}")
    for title, read_so in (("worth", [*strangers, *own]), ("worth live", live)):
        for grip in COUNTED:
            print(f"{title}, {grip}: {worth([its for its in read_so if its.grip == grip])}")
    usual(asked.everyday, asked.solves, model)


def usual(persons: int, solves: int, model: HoldingModel) -> None:
    """For people with the usual ways, from their first solve on: also a first reading is believed
    for what it is worth."""
    found, live = list[Readings](), list[Readings]()
    for number in range(EVERYDAY, EVERYDAY + persons):
        its = [(done.part, done.holdings) for done in everyday_solves(draw_person(number), solves)]
        found.append(read(its, model))
        live.append(read_live(its, model, ()))
    for title, read_so in (("worth", found), ("worth live", live)):
        chosen = [its for its in read_so if its.grip in USUAL_WAYS]
        print(f"{title}, usual ways, {len(chosen)} of {persons}: {worth(chosen)}")


if __name__ == "__main__":
    main()
