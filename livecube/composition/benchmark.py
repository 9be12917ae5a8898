"""Measuring what the documents promise, on the machine at hand."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from livecube.cube.position import SOLVED, apply_turns
from livecube.stages.progress import SolveOver
from livecube.stages.tracker import Tracker
from livecube.virtual.session import session

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

__all__ = ["Figure", "figure_json", "measure"]

_SEED = 11
_SOLVES = 60


@dataclass(frozen=True, slots=True)
class Figure:
    """One thing measured."""

    name: str
    value: float | dict[str, float]
    unit: str
    promise: str
    """What the documents say it should be, in words."""


def measure(step: Callable[[str], None] = lambda name: None) -> list[Figure]:
    """All figures; ``step`` is told what is measured next."""
    figures: list[Figure] = []
    with tempfile.TemporaryDirectory() as folder:
        cache = Path(folder) / "cache"
        for when, hints_s, event_s in (("first", "10", "10"), ("later", "1", "1")):
            step(f"{when} start, advice for one position")
            seconds, memory = _run(cache, "hints", "R U R' U'", "--json")
            figures.append(Figure(f"{when} start, advice shown", seconds, "s", f"≤ {hints_s} s"))
            figures.append(Figure(f"{when} start, peak memory", memory, "MB", "< 300 MB"))
            step(f"{when} start, a cube followed live")
            live = Path(folder) / f"live-{when}"
            seconds, memory = _run(
                live if when == "first" else cache,
                *("live", "--simulated", "--seed", "1", "--speed", "1000", "--json"),
            )
            figures.append(Figure(f"{when} start, first event", seconds, "s", f"≤ {event_s} s"))
            figures.append(Figure(f"{when} start live, peak memory", memory, "MB", "< 300 MB"))
    step("tracking and staging")
    figures.append(_tracking())
    step("advice, turn by turn")
    return [*figures, *_advice()]


def _run(cache: Path, *arguments: str) -> tuple[float, float]:
    """Seconds until a command's first output, and its peak memory in MB at the end."""
    began = time.perf_counter()
    with subprocess.Popen(
        [sys.executable, "-m", "livecube", *arguments],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        env={**os.environ, "LIVECUBE_CACHE": str(cache), "NUMBA_CACHE_DIR": str(cache)},
    ) as child:
        assert child.stdout is not None
        child.stdout.readline()
        seconds = time.perf_counter() - began
        child.stdout.read()
        _, status, usage = os.wait4(child.pid, 0)
        child.returncode = os.waitstatus_to_exitcode(status)
    return seconds, usage.ru_maxrss / 1024


def _tracking() -> Figure:
    done = session(_SEED, _SOLVES)
    events = done.events(marks=False)
    tracker = Tracker()
    solved = 0
    began = time.perf_counter()
    for event in events:
        solved += any(isinstance(p, SolveOver) for p in tracker.feed(event))
    seconds = time.perf_counter() - began
    assert solved == len(done.solves)
    return Figure("tracking and staging alone", len(events) / seconds, "turns/s", "≥ 50,000")


def _advice() -> list[Figure]:
    from livecube.composition.assembly import load_advisor, sharpen
    from livecube.search.situation import Situation

    advisor = load_advisor()
    sharpen(advisor)
    inside: list[float] = []
    inspection: list[float] = []
    for solve in session(_SEED, _SOLVES, on_cube=True).solves:
        turns = [turn.turn for turn in solve.turns]
        first = solve.start_turn - solve.first_line
        cross = solve.stages[0].end_turn - solve.first_line + 1 if solve.stages else len(turns)
        position = apply_turns(SOLVED, turns[:first])
        for number, turn in enumerate(turns[first:], start=first):
            position = apply_turns(position, [turn])
            if Situation.of(position, solve.cross).solved == 15:
                break
            inside_cross = number + 1 < cross
            began = time.perf_counter()
            advisor.advise(position, solve.cross, inspection=inside_cross, most=6)
            milliseconds = (time.perf_counter() - began) * 1000
            (inspection if inside_cross else inside).append(milliseconds)
    return [
        Figure("advice behind the cross", _spread(inside), "ms", "p99 ≤ 7.5 ms"),
        Figure("advice before the cross", _spread(inspection), "ms", "≤ 1,000 ms"),
    ]


def _spread(values: Sequence[float]) -> dict[str, float]:
    p50, p99, most = np.percentile(values, [50, 99, 100])
    return {"p50": float(p50), "p99": float(p99), "max": float(most), "count": float(len(values))}


def figure_json(figure: Figure) -> dict[str, Any]:
    """A figure for machine-readable output."""
    return {"name": figure.name, "value": figure.value, "unit": figure.unit}
