"""Measures the figures that the documents promise, on this machine."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import tempfile
import time
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from livecube.cube.position import SOLVED, apply_turns
from livecube.edges.cache import cache_folder
from livecube.stages.progress import SolveOver
from livecube.stages.tracker import Tracker
from livecube.virtual.session import session

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from livecube.advice.advisor import Advisor

__all__ = ["Figure", "figure_json", "measure"]

_SEED = 11
_SOLVES = 200
_STARTS = (("first", "10", "10"), ("later", "1", "1"))
"""Kind of start, and the promised seconds until a hint and until the first event."""
_BEGINNING = "R U R' U'"
_SCRAMBLE = "R D L2 R F U' L R2 D' R B' U' L U2 B2 U D2 L' F U'"
_BRIEFLY = 2
"""Positions, scrambles or solves."""
_EARLY = 1000
_LATER = 5000
"""Number of positions with advice."""
_INSPECTIONS = 200
_WITHOUT_BOOK = 40


@dataclass(frozen=True, slots=True)
class Figure:
    """One thing measured."""

    name: str
    value: float | dict[str, float]
    unit: str
    promise: str
    """The promise of the documents, in words."""


def measure(
    step: Callable[[str], None] = lambda name: None, *, brief: bool = False
) -> list[Figure]:
    """All figures; ``step`` gets the name of the next measurement.

    ``brief``: from a few positions, with little meaning, and without first starts.
    """
    figures: list[Figure] = []
    with tempfile.TemporaryDirectory() as folder:
        cache = cache_folder() if brief else Path(folder) / "cache"
        for when, hints_s, event_s in _STARTS[brief:]:
            step(f"{when} start, advice for one position")
            seconds, memory = _run(cache, "hints", _BEGINNING, "--json")
            figures.append(Figure(f"{when} start, advice shown", seconds, "s", f"≤ {hints_s} s"))
            figures.append(Figure(f"{when} start, peak memory", memory, "MB", "< 300 MB"))
            if brief:
                break  # the other starts are measured in the same way
            if when == "first":
                step("first start, X-crosses of a scrambled cube")
                seconds, memory = _run(cache, "hints", _SCRAMBLE, "--json")
                figures.append(Figure("first start, X-crosses shown", seconds, "s", "≤ 10 s"))
                figures.append(Figure("first start, X-crosses, memory", memory, "MB", "< 300 MB"))
            step(f"{when} start, a cube followed live")
            live = Path(folder) / f"live-{when}"
            seconds, memory = _run(
                live if when == "first" else cache,
                *("live", "--simulated", "--seed", "1", "--speed", "1000", "--json"),
            )
            figures.append(Figure(f"{when} start, first event", seconds, "s", f"≤ {event_s} s"))
            figures.append(Figure(f"{when} start live, peak memory", memory, "MB", "< 300 MB"))
    step("tracking and staging")
    figures.append(_tracking(_BRIEFLY if brief else _SOLVES))
    return [*figures, *_advice(step, brief)]


def _run(cache: Path, *arguments: str) -> tuple[float, float]:
    """Seconds until a command's first output, and its peak memory in MB at the end."""
    began = time.perf_counter()
    with subprocess.Popen(
        [sys.executable, "-m", "livecube", *arguments],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        env={**_without_compiled_code(), "LIVECUBE_CACHE": str(cache)},
        start_new_session=True,
    ) as child:
        try:
            assert child.stdout is not None
            child.stdout.readline()
            seconds = time.perf_counter() - began
            child.stdout.read()
            _, status, usage = os.wait4(child.pid, 0)
            child.returncode = os.waitstatus_to_exitcode(status)
        finally:
            # What it left at work, such as a compiler, must not slow the next measurement.
            with suppress(ProcessLookupError):
                os.killpg(child.pid, signal.SIGKILL)
    return seconds, usage.ru_maxrss / 1024


def _without_compiled_code() -> dict[str, str]:
    """The environment without this process's folder of compiled kernels."""
    return {name: value for name, value in os.environ.items() if name != "NUMBA_CACHE_DIR"}


def _tracking(solves: int) -> Figure:
    done = session(_SEED, solves)
    events = done.events(marks=False)
    tracker = Tracker()
    solved = 0
    began = time.perf_counter()
    for event in events:
        told = tracker.feed(event)
        solved += len(told) > 1 and isinstance(told[-1], SolveOver)
    seconds = time.perf_counter() - began
    assert solved == len(done.solves)
    return Figure("tracking and staging alone", len(events) / seconds, "turns/s", "≥ 50,000")


def _advice(step: Callable[[str], None], brief: bool) -> list[Figure]:
    from livecube.composition.assembly import load_advisor, quick_advisor, set_level
    from livecube.composition.live_benchmark import (
        book_answers,
        live_answers,
        times_longer_without_book,
    )

    quick = quick_advisor("bold")
    advisor = load_advisor()
    set_level(advisor, "bold")
    figures = []
    if quick is not None:
        step("all ways that the book has at a beginning")
        looked_up = book_answers(quick, _BRIEFLY if brief else _EARLY)
        figures.append(Figure("ways from the book", _spread(looked_up), "ms", "p99 ≤ 1 ms"))
        step("a beginning while the screen draws, first seconds")
        early = live_answers(quick, _BRIEFLY if brief else _EARLY)
        figures.append(Figure("a beginning, first seconds", _spread(early), "ms", "≤ 1,000 ms"))
    step("a beginning while the screen draws")
    later = live_answers(advisor, _BRIEFLY if brief else _LATER)
    step("a beginning without the book")
    count, most_free = (1, 1) if brief else (_WITHOUT_BOOK, 4)
    longer = times_longer_without_book(advisor, count, most_free=most_free)
    step("inspection")
    inspections = _inspections(advisor, _BRIEFLY if brief else _INSPECTIONS)
    return [
        *figures,
        Figure("a beginning", _spread(later), "ms", "p50 ≤ 30 ms, p99 ≤ 100 ms"),
        Figure("longer without the book", _spread(longer), "times", "told, not promised"),
        Figure("inspection", _spread(inspections), "ms", "≤ 1,000 ms"),
    ]


def _inspections(advisor: Advisor, scrambles: int) -> list[float]:
    from livecube.advice.inspection import inspect_cross

    milliseconds = []
    for solve in session(_SEED, scrambles, on_cube=True).solves:
        turns = [turn.turn for turn in solve.turns]
        position = apply_turns(SOLVED, turns[: solve.start_turn - solve.first_line])
        began = time.perf_counter()
        inspect_cross(advisor, position, solve.cross)
        milliseconds.append((time.perf_counter() - began) * 1000)
    return milliseconds


def _spread(values: Sequence[float]) -> dict[str, float]:
    p50, p99, most = np.percentile(values, [50, 99, 100])
    return {"p50": float(p50), "p99": float(p99), "max": float(most), "count": float(len(values))}


def figure_json(figure: Figure) -> dict[str, Any]:
    """A figure for machine-readable output."""
    return {"name": figure.name, "value": figure.value, "unit": figure.unit}
