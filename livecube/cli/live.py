"""``livecube live``: follow a cube while it is turned."""

from __future__ import annotations

import asyncio
import json
import secrets
import sys
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click
from rich.console import Console

from livecube.cli.options import level_option
from livecube.composition.assembly import find_decoder, load_advisor, set_level, sharpen
from livecube.composition.following import decoded, follow_cube
from livecube.composition.hub import Hub
from livecube.composition.pipeline import Pipeline
from livecube.composition.refining import Refiner
from livecube.edges.log_files import LogWriter
from livecube.edges.simulated_link import SimulatedLink
from livecube.edges.sinks import JsonSink, LineSink, LogSink, ScreenSink
from livecube.errors import UsageError
from livecube.logs.lines import Header
from livecube.stages.tracker import Tracker
from livecube.views.machine import end_json
from livecube.views.screen import Board

if TYPE_CHECKING:
    from livecube.edges.sink import Sink
    from livecube.virtual.session import VirtualSession

__all__ = ["live"]

_PROTOCOL = "turnwire"
_HEAD_START_S = 0.1
"""How long the link may have the interpreter for itself before the advisor is loaded."""
_SWITCH_S = 0.0005
"""How long one thread may keep the interpreter while another waits for it."""


@click.command()
@click.option("--simulated", is_flag=True, help="Follow a simulated cube, without any hardware.")
@click.option("--solves", default=1, show_default=True, type=click.IntRange(1, 1000))
@click.option("--seed", type=click.IntRange(0), help="Same seed, same solves.")
@click.option("--speed", default=1.0, show_default=True, type=click.FloatRange(0.1, 1000))
@click.option("--log", type=click.Path(path_type=Path), help="Record the turns in this new file.")
@level_option
@click.option("--no-hints", is_flag=True, help="Track and time only.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
def live(
    simulated: bool,
    solves: int,
    seed: int | None,
    speed: float,
    log: Path | None,
    level: str,
    no_hints: bool,
    as_json: bool,
) -> None:
    """Follow a cube: stages with their splits, and hints as they become possible."""
    if not simulated:
        raise UsageError("only a simulated cube can be followed so far; add --simulated")
    seed = secrets.randbelow(10_000) if seed is None else seed
    console = Console(highlight=False, markup=False)
    board = Board(f"simulated cube, seed {seed}")
    sinks: list[Sink] = []
    if log is not None:
        started = datetime.now(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
        sinks.append(LogSink(log, LogWriter(log, Header(started, _PROTOCOL, "cube"))))
    screen = ScreenSink(console, board) if console.is_terminal and not as_json else None
    sinks.append(screen or (JsonSink(sys.stdout) if as_json else LineSink(sys.stdout)))
    pipeline = Pipeline(Tracker(), time.perf_counter)
    try:
        asyncio.run(
            _follow(seed, solves, speed, pipeline, sinks, board, None if no_hints else level)
        )
    finally:
        if screen is not None:
            screen.restore()
    if as_json:
        end = end_json(pipeline.tracker.line, pipeline.solves, pipeline.advice_ms)
        click.echo(json.dumps(end))


async def _follow(
    seed: int,
    solves: int,
    speed: float,
    pipeline: Pipeline,
    sinks: list[Sink],
    board: Board,
    level: str | None,
) -> None:
    """Simulate and follow, while the advisor gets ready for a level (None: no advisor)."""
    # A thread that refines must not keep the turns waiting for the interpreter.
    sys.setswitchinterval(_SWITCH_S)
    async with Hub(sinks) as hub, asyncio.TaskGroup() as tasks:
        refiner = Refiner(pipeline, hub)
        helping = [tasks.create_task(refiner.run(), name="refiner")]
        session = await asyncio.to_thread(_session, seed, solves)
        if level is not None:
            ready = _get_ready(pipeline, refiner, board, level)
            helping.append(tasks.create_task(ready, name="advisor"))
        link = _simulated_link(session, speed)
        events = decoded(link, find_decoder(_PROTOCOL)())
        await follow_cube(events, pipeline, hub, refiner.look)
        for task in helping:
            task.cancel()
    for complaint in hub.complaints():
        click.echo(f"livecube: {complaint}", err=True)


async def _get_ready(pipeline: Pipeline, refiner: Refiner, board: Board, level: str) -> None:
    """Load the advisor beside the turning cube, once its link has said the first word."""
    board.notice = "Hints are being prepared …"
    await asyncio.sleep(_HEAD_START_S)
    advisor = await asyncio.to_thread(load_advisor)
    set_level(advisor, level)
    pipeline.advisor = advisor
    board.notice = ""
    await asyncio.to_thread(sharpen, advisor)
    refiner.advisor = advisor.twin()


def _session(seed: int, solves: int) -> VirtualSession:
    from livecube.virtual.session import session

    return session(seed, solves, on_cube=solves > 1)


def _simulated_link(session: VirtualSession, speed: float) -> SimulatedLink:
    from livecube.cube.position import SOLVED, apply_turns
    from livecube.virtual.cube import simulated_cube

    position = bytes(apply_turns(SOLVED, session.scramble).tolist())
    cube = simulated_cube(_PROTOCOL)(position)
    return SimulatedLink(cube, session, time.monotonic, speed)
