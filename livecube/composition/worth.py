"""What the techniques are worth: four pairs by the first row of the advice, or by plain pairs only.

Both ways start from the same positions, a shortest cross behind a random scramble, and take
what is best for the hands. The first pair is begun from the cheapest front, each later one
held as the one before it ended.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import numpy.typing as npt

from livecube.advice.advisor import Advisor
from livecube.advice.rules import Level
from livecube.cube.holding import parse_colour
from livecube.cube.position import SOLVED, apply_turns
from livecube.cube.turns import htm
from livecube.edges.hands_file import default_hands
from livecube.search.situation import Situation
from livecube.search.task import Task
from livecube.techniques.plain import Plain
from livecube.techniques.registry import TECHNIQUES
from livecube.views.table import table_lines
from livecube.virtual.solver import random_scramble

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from livecube.advice.opportunity import Opportunity
    from livecube.cube.geometry import Array
    from livecube.cube.holding import Holding
    from livecube.hands.model import Hands
    from livecube.search.engine import Engine

__all__ = ["Way", "Worth", "measure_worth", "slow_cross_layer", "worth_json", "worth_lines"]

_CROSS: Final = parse_colour("white")
"""Scrambles favour no colour, so one cross does for all."""
_SLOWER: Final = 1.5
_RESAMPLES: Final = 2_000
_FIRST_ROWS: Final = 6
"""Rows that look-ahead compares."""
_LEGEND: Final = (
    "From a solved cross (a shortest one, behind a random scramble) until the four",
    "pairs are in. free: the first row of the advice, whatever its technique; plain:",
    "plain pairs only; both by predicted seconds of the hands. slow D: these hands",
    "take half as long again for D, Dw and Uw. +next: ranked by this pair and the",
    "next together. 95 %: bootstrap interval of the mean difference.",
    "",
)


@dataclass(frozen=True, slots=True)
class Way:
    """How one way did, position by position."""

    turns: tuple[int, ...]
    """Half-turn metric, merged within each pair, for the pairs of a position together."""
    seconds: tuple[float, ...]
    """Predicted seconds of the pairs of a position together."""
    first_seconds: tuple[float, ...]
    """Predicted seconds of what was done first, one slot or two."""
    choices: tuple[str, ...]
    """Technique of everything that was done."""


@dataclass(frozen=True, slots=True)
class Worth:
    """Free choice against plain pairs, for one pair of hands."""

    hands: str
    look_ahead: bool
    """Whether the next pair counted in every choice."""
    free: Way
    plain: Way


def slow_cross_layer(hands: Hands) -> Hands:
    """Hands that take half as long again for the cross layer, which is down.

    So do the wide turns that move it: Dw with the fingers, Uw against the centres.
    """
    slow = {
        (symbol, quarters): seconds * (_SLOWER if symbol in ("D", "Dw", "Uw") else 1.0)
        for (symbol, quarters), seconds in hands.moves.items()
    }
    return replace(hands, moves=slow)


def measure_worth(
    engine: Engine,
    positions: int = 500,
    seed: int = 11,
    step: Callable[[float], None] = lambda part: None,
) -> list[Worth]:
    """The comparison for both models of the hands, without look-ahead and with it.

    ``step`` is told what part (0 to 1) is done; look-ahead, the second half, takes longer.
    """
    starts = _starts(engine, positions, seed)
    usual = default_hands()
    models = {"usual": usual, "slow D": slow_cross_layer(usual)}
    settings = [(name, look_ahead) for look_ahead in (False, True) for name in models]
    worth: list[Worth] = []
    for number, (name, look_ahead) in enumerate(settings):

        def part(of_setting: float, number: int = number) -> None:
            step((number + of_setting) / len(settings))

        free = Advisor(engine, TECHNIQUES, models[name], Level.BOLD)
        plain = Advisor(engine, (Plain(),), models[name], Level.BOLD)
        worth.append(_compared(name, look_ahead, starts, free, plain, part))
    return worth


def _starts(engine: Engine, positions: int, seed: int) -> list[Array]:
    """Random scrambles, each followed by one of its shortest crosses."""
    rng = np.random.default_rng(seed)
    starts = []
    for _ in range(positions):
        position = apply_turns(SOLVED, random_scramble(rng))
        situation = Situation.of(position, _CROSS)
        if situation.offset != 0:
            crosses = engine.solve(situation, [Task(goal=0)])[0]
            cross = crosses[int(rng.integers(len(crosses)))]
            position = apply_turns(position, situation.fixed(cross))
        starts.append(position)
    return starts


def _compared(
    hands: str,
    look_ahead: bool,
    starts: Sequence[Array],
    free: Advisor,
    plain: Advisor,
    step: Callable[[float], None],
) -> Worth:
    done: dict[Advisor, list[list[Opportunity]]] = {free: [], plain: []}
    for number, start in enumerate(starts, start=1):
        for advisor, solves in done.items():
            solves.append(list(_pairs(advisor, start, look_ahead=look_ahead)))
        step(number / len(starts))
    return Worth(hands, look_ahead, _way(done[free]), _way(done[plain]))


def _pairs(advisor: Advisor, position: Array, *, look_ahead: bool) -> Iterator[Opportunity]:
    """The advisor's first row, again and again until the four slots are solved."""
    holding: Holding | None = None
    situation = Situation.of(position, _CROSS)
    while situation.free:
        row = _first_row(advisor, position, holding, look_ahead=look_ahead)
        yield row
        position = apply_turns(position, row.turns_fixed)
        holding = row.ends
        situation = Situation.of(position, _CROSS)
        assert situation.offset == 0


def _first_row(
    advisor: Advisor, position: Array, holding: Holding | None, *, look_ahead: bool
) -> Opportunity:
    if look_ahead:
        refined = advisor.refine(position, _CROSS, holding, most=_FIRST_ROWS)
        assert refined is not None
        return refined.opportunities[0]
    advice = advisor.advise(position, _CROSS, holding, inspection=False, most=1)
    return advice.opportunities[0]


def _way(solves: Sequence[Sequence[Opportunity]]) -> Way:
    return Way(
        turns=tuple(sum(htm(row.turns_fixed) for row in rows) for rows in solves),
        seconds=tuple(sum(row.seconds for row in rows) for rows in solves),
        first_seconds=tuple(rows[0].seconds if rows else 0.0 for rows in solves),
        choices=tuple(row.technique for rows in solves for row in rows),
    )


def worth_json(worth: Worth, seed: int = 11) -> dict[str, Any]:
    """A comparison for machine-readable output.

    Differences are free minus plain; ``low`` and ``high`` bound the 95 % bootstrap interval
    of their mean, whose resampling ``seed`` fixes.
    """
    free, plain = worth.free, worth.plain
    chosen = Counter(free.choices)
    return {
        "hands": worth.hands,
        "look_ahead": worth.look_ahead,
        "positions": len(free.turns),
        "turns": _difference(free.turns, plain.turns, seed),
        "seconds": _difference(free.seconds, plain.seconds, seed),
        "choices": {t.id: chosen[t.id] for t in TECHNIQUES if not t.in_inspection},
    }


def _difference(free: Sequence[float], plain: Sequence[float], seed: int) -> dict[str, float]:
    one, other = np.asarray(free, dtype=float), np.asarray(plain, dtype=float)
    low, high = _interval(one - other, np.random.default_rng(seed))
    return {
        "free": float(one.mean()),
        "plain": float(other.mean()),
        "difference": float((one - other).mean()),
        "low": low,
        "high": high,
    }


def _interval(values: npt.NDArray[np.float64], rng: np.random.Generator) -> tuple[float, float]:
    """The 95 % percentile-bootstrap interval of the mean."""
    means = [rng.choice(values, len(values)).mean() for _ in range(_RESAMPLES)]
    low, high = np.percentile(means, [2.5, 97.5]).tolist()
    return low, high


def worth_lines(worth: Sequence[Worth], seed: int = 11) -> list[str]:
    """The comparisons as tables of plain text."""
    figures = [worth_json(one, seed) for one in worth]
    lines = [*_LEGEND]
    for what, unit in (("turns", "turns (HTM)"), ("seconds", "predicted seconds")):
        heading = (unit, "positions", "free", "plain", "free − plain", "95 %")
        lines += [*table_lines([heading, *(_cells(one, what) for one in figures)]), ""]
    settings = ("first choice, % of all", *(_setting(one) for one in figures))
    rows = [(name, *(_share(one, name) for one in figures)) for name in figures[0]["choices"]]
    return [*lines, *table_lines([settings, *rows])]


def _setting(figures: dict[str, Any]) -> str:
    return f"{figures['hands']} +next" if figures["look_ahead"] else str(figures["hands"])


def _cells(figures: dict[str, Any], what: str) -> tuple[str, ...]:
    f = figures[what]
    return (
        _setting(figures),
        f"{figures['positions']:,}",
        f"{f['free']:.2f}",
        f"{f['plain']:.2f}",
        f"{f['difference']:+.2f}",
        f"{f['low']:+.2f} to {f['high']:+.2f}",
    )


def _share(figures: dict[str, Any], technique: str) -> str:
    total = sum(figures["choices"].values())
    return f"{100 * figures['choices'][technique] / max(total, 1):.1f}"
