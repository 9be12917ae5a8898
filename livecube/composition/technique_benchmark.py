"""Measuring each technique by itself: how often it is there, what it finds, how long it takes."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, TypeAlias

import numpy as np

from livecube.advice.advisor import Advisor
from livecube.advice.rules import Level
from livecube.advice.two_steps import composed
from livecube.cube.position import SOLVED, apply_turn, apply_turns
from livecube.edges.hands_file import default_hands
from livecube.search.situation import Situation
from livecube.stages.frame import ALL_SLOTS
from livecube.techniques.registry import TECHNIQUES
from livecube.views.table import table_lines
from livecube.virtual.session import session

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from livecube.cube.geometry import Array
    from livecube.search.engine import Engine
    from livecube.techniques.base import Technique
    from livecube.virtual.records import VirtualSolve

__all__ = [
    "Place",
    "Timing",
    "behind_cross",
    "measure_techniques",
    "timing_json",
    "timing_lines",
]

_BY_ID: Final = {technique.id: technique for technique in TECHNIQUES}
_HEADINGS: Final = ("", "positions", "of", "found", "p99", "ms p50", "ms p99", "ms max")
_LEGEND: Final = (
    "Positions of virtual solves, turn by turn. found: sequences a position, mean and",
    "p99 (for answers: their rows); ms: of the search for that technique alone.",
    "",
)
_PLACES: Final = (1, 0, 2, 2, 2)
"""Decimals of the last five columns."""


@dataclass(frozen=True, slots=True)
class Timing:
    """One kind of question, asked position by position."""

    name: str
    asked: int
    """Positions at which it was tried."""
    sequences: tuple[int, ...]
    """How many sequences each answer had; one entry a position at which it was possible."""
    ms: tuple[float, ...]
    """Milliseconds until each answer."""


@dataclass(frozen=True, slots=True)
class Place:
    """A position in the fixed frame, and how the solve's cross colour sees it."""

    position: Array
    situation: Situation


_Question: TypeAlias = Callable[[Place], Callable[[], int] | None]
"""Prepares what is timed: a call that says how many sequences it found; None: nothing to ask."""


def measure_techniques(
    engine: Engine,
    solves: int = 60,
    seed: int = 11,
    step: Callable[[float], None] = lambda part: None,
) -> list[Timing]:
    """All timings over the positions of virtual solves.

    Techniques for inspection are tried at the scrambled positions, the others after every turn
    from the cross until the four slots are solved. ``step`` is told what part (0 to 1) is done.
    """
    played = session(seed, solves).solves
    scrambled = [place for solve in played for place in _scrambled(solve)]
    behind = [place for solve in played for place in behind_cross(solve)]
    whole = [place for place in behind if place.situation.offset is not None]
    advisor = Advisor(engine, TECHNIQUES, default_hands(), Level.BOLD)
    jobs: list[tuple[str, list[Place], _Question]] = [
        *((t.id, behind, _search(engine, t)) for t in TECHNIQUES if not t.in_inspection),
        ("beginning", whole, _beginning(advisor)),
        *((t.id, scrambled, _search(engine, t)) for t in TECHNIQUES if t.in_inspection),
        ("inspection", scrambled, _inspection(advisor)),
    ]
    timings = []
    for number, (name, places, question) in enumerate(jobs):
        timings.append(_timed(name, places, question))
        step((number + 1) / len(jobs))
    return timings


def _scrambled(solve: VirtualSolve) -> Iterator[Place]:
    """The position of the inspection, if the cross is not whole in it."""
    turns = solve.turns[: solve.start_turn - solve.first_line]
    position = apply_turns(SOLVED, [turn.turn for turn in turns])
    situation = Situation.of(position, solve.cross)
    if situation.offset is None:
        yield Place(position, situation)


def behind_cross(solve: VirtualSolve) -> Iterator[Place]:
    """The positions from the end of the cross until the four slots are solved."""
    turns = [turn.turn for turn in solve.turns]
    cross = solve.stages[0].end_turn - solve.first_line + 1 if solve.stages else len(turns)
    position = apply_turns(SOLVED, turns[:cross])
    for turn in turns[cross:]:
        situation = Situation.of(position, solve.cross)
        if situation.solved == ALL_SLOTS:
            return
        yield Place(position, situation)
        position = apply_turn(position, turn)


def _search(engine: Engine, technique: Technique) -> _Question:
    """The search for one technique alone, with the second part of those that have one."""

    def prepare(place: Place) -> Callable[[], int] | None:
        situation = place.situation
        chances = technique.chances(situation)
        tasks = [chance.task for chance in chances]

        def answer() -> int:
            found = engine.search(situation, tasks)
            return len(composed(engine, situation, chances, found, _BY_ID).lengths)

        return answer if chances else None

    return prepare


def _beginning(advisor: Advisor) -> _Question:
    return lambda place: (
        lambda: len(advisor.at_beginning(place.position, place.situation.face).rows)
    )


def _inspection(advisor: Advisor) -> _Question:
    return lambda place: (
        lambda: len(advisor.advise(place.position, place.situation.face).opportunities)
    )


def _timed(name: str, places: Sequence[Place], question: _Question) -> Timing:
    """Ask at every place; only the answer is timed, not its preparation."""
    sequences, ms = [], []
    for place in places:
        if (answer := question(place)) is not None:
            began = time.perf_counter()
            sequences.append(answer())
            ms.append((time.perf_counter() - began) * 1000)
    return Timing(name, len(places), tuple(sequences), tuple(ms))


def timing_json(timing: Timing) -> dict[str, Any]:
    """A timing for machine-readable output; figures are null if it was never possible."""
    some = bool(timing.ms)
    p50, p99, most = np.percentile(timing.ms, [50, 99, 100]).tolist() if some else [None] * 3
    mean = float(np.mean(timing.sequences)) if some else None
    many = float(np.percentile(timing.sequences, 99)) if some else None
    return {
        "name": timing.name,
        "positions": len(timing.ms),
        "of": timing.asked,
        "sequences": {"mean": mean, "p99": many},
        "ms": {"p50": p50, "p99": p99, "max": most},
    }


def timing_lines(timings: Sequence[Timing]) -> list[str]:
    """The timings as a table of plain text."""
    return [*_LEGEND, *table_lines([_HEADINGS, *map(_cells, timings)])]


def _cells(timing: Timing) -> list[str]:
    figures = timing_json(timing)
    values = [*figures["sequences"].values(), *figures["ms"].values()]
    return [
        timing.name,
        f"{figures['positions']:,}",
        f"{figures['of']:,}",
        *("–" if v is None else f"{v:,.{n}f}" for v, n in zip(values, _PLACES, strict=True)),
    ]
