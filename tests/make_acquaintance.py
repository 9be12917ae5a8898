"""Measures the numbers of ``livecube/holding/acquaintance.py``, and prints them.

``python tests/make_acquaintance.py`` takes some minutes. Strangers are virtual solvers whose
habits are drawn at random: what they know of the last layer is other than what was counted, and
most of them plan no grip. None of them is one that ``tests/holding_check.py`` tries.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from livecube.edges.cache import keep_compiled_code

keep_compiled_code()

from holding_truth import true_holdings, true_part, virtual_solves  # noqa: E402

from livecube.edges.holding_file import shipped_counts  # noqa: E402
from livecube.holding.acquaintance import SUREST, Acquaintance, surprise  # noqa: E402
from livecube.holding.adapting import adapted  # noqa: E402
from livecube.holding.counting import GROUPS  # noqa: E402
from livecube.holding.inference import HoldingModel, read_solve  # noqa: E402
from livecube.holding.observations import stage_name_numbers  # noqa: E402
from livecube.virtual.habits import LEFT_HANDED, RIGHT_HANDED, Habits  # noqa: E402

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.holding.arrays import Array
    from livecube.virtual.records import VirtualSolve

STRANGERS = 40
SOLVES = 30
KNOWN_SOLVES = 300
ADAPTED = 12
"""So many of the strangers are also read by what was learned from some of their solves."""
LEARNED_FROM = 20
LEAST_BETWEEN = 0.3
"""Two kinds of solvers were counted; more would differ more than these two."""


class Readings(NamedTuple):
    """Of one solver: a row a turn, and the surprise of each solve."""

    groups: Array
    odds: Array
    """Log odds of the likeliest holding, as the model believes."""
    right: Array
    surprises: Array


def stranger(seed: int) -> Habits:
    rng = np.random.default_rng(seed)

    def between(low: float, high: float) -> float:
        return float(rng.uniform(low, high))

    return replace(
        RIGHT_HANDED,
        name=f"stranger {seed}",
        backwards=True,
        left_handed=bool(rng.random() < 0.5),
        plans_grip=bool(rng.random() < 0.3),
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


def read(solves: Sequence[VirtualSolve], model: HoldingModel) -> Readings:
    groups, sure, right, surprises = list[int](), list[float](), list[bool](), list[float]()
    solver = Acquaintance(model)
    for done in solves:
        part = true_part(done)
        names, reading = stage_name_numbers(part.stages), read_solve(part, model, solver.kinds)
        solver.read(part)
        groups += [GROUPS[name] for name in names]
        sure += reading.held.max(axis=1).tolist()
        right += (reading.held.argmax(axis=1) == np.array(true_holdings(done))).tolist()
        if (surprising := surprise(reading, names)) is not None:
            surprises.append(surprising)
    believed = np.clip(sure, 1e-9, 1 - 1e-9)
    odds = np.minimum(np.log(believed / (1 - believed)), SUREST)
    return Readings(np.array(groups), odds, np.array(right), np.array(surprises))


def like(solvers: Sequence[Readings]) -> tuple[float, float, float]:
    means = [found.surprises.mean() for found in solvers]
    within = np.mean([found.surprises.std() for found in solvers])
    return float(np.mean(means)), max(LEAST_BETWEEN, float(np.std(means))), float(within)


def worth(solvers: Sequence[Readings]) -> list[tuple[float, float]]:
    """By group: a and b of the log odds a + b x that fit best (logistic regression)."""
    fitted = []
    for group in sorted(set(GROUPS)):
        odds = np.concatenate([found.odds[found.groups == group] for found in solvers])
        right = np.concatenate([found.right[found.groups == group] for found in solvers])
        columns, line = np.stack([np.ones(len(odds)), odds], axis=1), np.zeros(2)
        for _ in range(30):  # Newton's method
            share = 1 / (1 + np.exp(-(columns @ line)))
            curvature = (columns * (share * (1 - share))[:, None]).T @ columns
            line = line + np.linalg.solve(curvature, columns.T @ (right - share))
        fitted.append((round(float(line[0]), 2), round(float(line[1]), 2)))
    return fitted


def main() -> None:
    counts = shipped_counts()
    model = HoldingModel.of(counts)
    known = [
        read(list(virtual_solves(range(first, first + KNOWN_SOLVES), habits)), model)
        for first, habits in ((900_000, RIGHT_HANDED), (910_000, LEFT_HANDED))
    ]
    print(f"known: {like(known)}")
    strangers, adapted_to = [], []
    for number in range(STRANGERS):
        seeds = range(10_000 * number, 10_000 * number + SOLVES + LEARNED_FROM)
        solves = list(virtual_solves(seeds, stranger(1_000 + number)))
        strangers.append(read(solves[LEARNED_FROM:], model))
        if number < ADAPTED:
            parts = [true_part(done) for done in solves[:LEARNED_FROM]]
            own = HoldingModel.own(adapted(counts, parts, np.random.default_rng(0)))
            adapted_to.append(read(solves[LEARNED_FROM:], own))
    print(f"strangers: {like(strangers)}; adapted to: {like(adapted_to)}")
    print(f"worth: {worth(strangers)}; adapted to: {worth(adapted_to)}")


if __name__ == "__main__":
    main()
