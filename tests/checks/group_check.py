"""Several cubes in one process: nothing is lost or mixed up, and advice is hardly later than alone.

``python tests/checks/group_check.py`` follows one simulated cube, then eight at once, then one
again, each at 15 turns a second; then four virtual cubes through real GATT. Every desk has a
person, a history and hints. It takes a quarter of an hour. Every solve is compared with one that
was followed alone, and with the rows of its person in the history; advice is timed from the arrival
of its turn.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from contextlib import redirect_stdout
from dataclasses import asdict, dataclass, field
from functools import cache
from io import StringIO
from pathlib import Path
from typing import TYPE_CHECKING, Any
from unittest.mock import patch

import beside  # noqa: F401 - before helpers are imported
import numpy as np
from rich.console import Console
from stage_check import found

from livecube.advice.speaker import Manner
from livecube.composition.group import DeskPlan, GroupRun
from livecube.composition.live import Followed, Solver
from livecube.composition.pipeline import Pipeline
from livecube.composition.publishing import Publishing
from livecube.composition.run import Wishes
from livecube.composition.sources import (
    SimulatedSource,
    Simulation,
    VirtualPlace,
    VirtualRadioSource,
)
from livecube.events import Turn
from livecube.history.folder import data_folder
from livecube.history.store import History
from livecube.solves.records import Wanted
from livecube.stages.progress import SolveOver
from livecube.stages.tracker import Tracker
from livecube.virtual.session import session

if TYPE_CHECKING:
    from collections.abc import Iterator

    from livecube.composition.sources import Source
    from livecube.events import CubeEvent
    from livecube.stages.solve import Solve
    from livecube.virtual.session import VirtualSession

_LEVELS = ("calm", "keen", "bold")


@dataclass
class Heard:
    """What the pipelines of a run did."""

    solves: dict[Pipeline, list[Solve]] = field(default_factory=dict)
    advice_ms: list[float] = field(default_factory=list)
    """From the arrival of a turn to its advice."""
    turn_ms: list[float] = field(default_factory=list)
    """The same for every turn: until all that it brings is passed on."""

    def watch(self) -> Any:
        """While this context lasts, note what every pipeline does."""
        feed, heard = Pipeline.feed, self

        def noted(pipeline: Pipeline, event: CubeEvent) -> list[Any]:
            advised = len(pipeline.advice_ms)
            told = feed(pipeline, event)
            solves = heard.solves.setdefault(pipeline, [])
            solves += [one.solve for one in told if isinstance(one, SolveOver)]
            if isinstance(event, Turn) and event.host is not None:
                ms = (time.monotonic() - event.host) * 1000
                heard.turn_ms.append(ms)
                if len(pipeline.advice_ms) > advised:
                    heard.advice_ms.append(ms)
            return told

        return patch.object(Pipeline, "feed", noted)


@cache
def _session(seed: int, solves: int) -> VirtualSession:
    return session(seed, solves, on_cube=solves > 1)


def alone(seed: int, solves: int) -> list[Solve]:
    """The solves of a cube that is followed alone, without a link."""
    done = _session(seed, solves)
    tracker = Tracker() if solves > 1 else _scrambled(done)
    told = [one for event in done.events(marks=False) for one in tracker.feed(event)]
    told += tracker.finish()
    return [one.solve for one in told if isinstance(one, SolveOver)]


def _scrambled(done: VirtualSession) -> Tracker:
    from stage_check import position_after

    return Tracker(position_after(done.scramble))


def figures_of(solve: Solve) -> tuple[object, ...]:
    """What must be the same of a solve."""
    return solve.cross, solve.start_turn, solve.turns, solve.solved, found(solve)


def follow(seeds: list[int], solves: int, rate: float, *, radio: bool) -> tuple[Heard, list[str]]:
    """Follow the cubes with these seeds at once; returns the figures, and what was wrong."""
    place, plans = VirtualPlace(), []
    for number, seed in enumerate(seeds):
        done = _session(seed, solves)
        speed = rate / (len(done.turns) / done.turns[-1].t)
        begin, task = asyncio.Event(), Simulation(solves, seed, speed)
        source: Source
        if radio:
            source = VirtualRadioSource(task, begin=begin, place=place)
        else:
            source = SimulatedSource(task, begin=begin)
        wishes = Wishes(_LEVELS[number % 3], None, Manner(), voice=False)
        followed = Followed(Solver(f"person {seed}", wishes), None)
        plans.append(DeskPlan(f"desk {seed}", source, followed, begin))
    heard = Heard()
    off = Publishing(None, None, plain=False, off=True)
    with heard.watch(), redirect_stdout(StringIO()):
        run = GroupRun(plans, off, Console(file=StringIO()), as_json=False)
        run.go()
    wrong = [word for desk in run.desks for word in desk.last_words()]
    for desk, seed in zip(run.desks, seeds, strict=True):
        wrong += _compared(seed, solves, desk.pipeline, heard)
    return heard, wrong


def _compared(seed: int, solves: int, pipeline: Pipeline | None, heard: Heard) -> Iterator[str]:
    """What is wrong with the solves of a desk and its person's rows."""
    assert pipeline is not None
    wanted, done = alone(seed, solves), _session(seed, solves)
    got = heard.solves.get(pipeline, [])
    if pipeline.tracker.line != len(done.turns):
        yield f"desk {seed}: {pipeline.tracker.line} turns, not {len(done.turns)}"
    if [*map(figures_of, got)] != [*map(figures_of, wanted)]:
        yield f"desk {seed}: {len(got)} solves differ from {len(wanted)}"
    if any(abs(a.seconds - b.seconds) > 0.002 for a, b in zip(got, wanted, strict=False)):
        yield f"desk {seed}: other times"
    with History(data_folder(), reading=True) as history:
        rows = history.list(Wanted(person=f"person {seed}"))
    kept = sorted((row.cross or "", row.ms) for row in rows)
    if kept != sorted((one.cross or "", round(one.seconds * 1000)) for one in got):
        yield f"desk {seed}: {len(kept)} rows of its person differ from {len(got)} solves"


def _spread(values: list[float]) -> str:
    half, late, most = np.percentile(values, [50, 99, 100])
    return f"p50 {half:6.2f}  p99 {late:6.2f}  most {most:6.2f} ms of {len(values):,}"


def _memory_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


@dataclass(frozen=True)
class Part:
    """One run of the check."""

    name: str
    first: int
    """The seed of the first desk."""
    desks: int
    solves: int
    """At each desk."""
    rate: float
    radio: bool = False


def measured(part: Part) -> dict[str, Any]:
    """Follow the cubes of a part in this process; the figures, for another process."""
    seeds = [*range(part.first, part.first + part.desks)]
    with (
        tempfile.TemporaryDirectory() as folder,
        patch.dict(os.environ, {"LIVECUBE_DATA": str(Path(folder) / "data")}),
    ):
        began = time.monotonic()
        heard, wrong = follow(seeds, part.solves, part.rate, radio=part.radio)
    return {
        "solves": sum(map(len, heard.solves.values())),
        "seconds": time.monotonic() - began,
        "memory_mb": _memory_mb(),
        "advice_ms": heard.advice_ms,
        "turn_ms": heard.turn_ms,
        "wrong": wrong,
    }


def _apart(part: Part) -> dict[str, Any]:
    """The same in a process of its own, so that the memory is that of this part."""
    command = [sys.executable, __file__, "--part", json.dumps(asdict(part))]
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    done = subprocess.run(command, env=environment, stdout=subprocess.PIPE, text=True, check=True)
    found: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return found


def _parts(given: argparse.Namespace) -> list[Part]:
    each = max(1, given.solves // given.desks)
    parts = [
        Part("one", 1, 1, each, given.rate),
        Part("all", 2, given.desks, each, given.rate),
        Part("one", 2 + given.desks, 1, each, given.rate),
    ]
    if given.radio_desks:
        of_radio = max(1, given.solves // given.radio_desks)
        first = 3 + given.desks
        parts.append(Part("radio", first, given.radio_desks, of_radio, given.rate, radio=True))
    return parts


def main() -> None:
    """Measure and print."""
    arguments = argparse.ArgumentParser()
    arguments.add_argument("--desks", type=int, default=8)
    arguments.add_argument("--radio-desks", type=int, default=4)
    arguments.add_argument("--solves", type=int, default=200, help="of all desks together")
    arguments.add_argument("--rate", type=float, default=15.0, help="turns a second at each desk")
    arguments.add_argument("--here", action="store_true", help="all in one process")
    arguments.add_argument("--part")
    given = arguments.parse_args()
    if given.part:
        print(json.dumps(measured(Part(**json.loads(given.part)))))
        return
    wrong: list[str] = []
    late: dict[str, list[float]] = {"one": [], "all": [], "radio": []}
    for part in _parts(given):
        told = measured(part) if given.here else _apart(part)
        wrong += told["wrong"]
        late[part.name] += told["advice_ms"]
        print(
            f"{part.desks} {'virtual by GATT' if part.radio else 'simulated'}: {told['solves']}"
            f" solves, {len(told['turn_ms']):,} turns in {told['seconds']:.0f} s,"
            f" {told['memory_mb']:.0f} MB"
        )
        print(f"  advice {_spread(told['advice_ms'])}")
        print(f"  turns  {_spread(told['turn_ms'])}", flush=True)
    one, many = (float(np.percentile(late[name], 99)) for name in ("one", "all"))
    print(f"advice at the 99th percentile: {many / one:.2f} times that of one cube")
    print(f"wrong: {len(wrong)}")
    for fault in wrong[:20]:
        print(f"  {fault}")
    if wrong:
        raise SystemExit(1)


if __name__ == "__main__":
    main()
