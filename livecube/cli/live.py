"""``livecube live``: follow a cube while it is turned."""

from __future__ import annotations

import asyncio
import secrets
import sys
import time
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from livecube.cli.options import front_option, hint_options, holding_option, up_option
from livecube.cli.output import Output
from livecube.composition.assembly import find_decoder, load_advisor, set_level, sharpen
from livecube.composition.following import CubeFollower
from livecube.composition.hub import Hub
from livecube.composition.keyboard import Keyboard, stating
from livecube.composition.pipeline import Pipeline
from livecube.composition.reception import decoded
from livecube.edges.keys import Keys, keyboard
from livecube.edges.log_files import LogWriter
from livecube.edges.simulated_link import SimulatedLink
from livecube.edges.sinks import LogSink
from livecube.errors import UsageError
from livecube.logs.lines import Header
from livecube.stages.tracker import Tracker

if TYPE_CHECKING:
    from livecube.cli.options import Wishes
    from livecube.cube.holding import Holding
    from livecube.virtual.session import VirtualSession

__all__ = ["live"]

_PROTOCOL = "turnwire"
_HEAD_START_S = 0.1
"""How long the link may have the interpreter for itself before the advisor is loaded."""
_SWITCH_S = 0.0005
"""How long one thread may keep the interpreter while another waits for it."""


@dataclass(frozen=True, slots=True)
class _Simulation:
    solves: int
    seed: int
    speed: float


@click.command()
@click.option("--simulated", is_flag=True, help="Follow a simulated cube, without any hardware.")
@click.option("--solves", default=1, show_default=True, type=click.IntRange(1, 1000))
@click.option("--seed", type=click.IntRange(0), help="Same seed, same solves.")
@click.option("--speed", default=1.0, show_default=True, type=click.FloatRange(0.1, 1000))
@click.option("--log", type=click.Path(path_type=Path), help="Record the turns in this new file.")
@up_option
@front_option
@hint_options
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
def live(
    simulated: bool,
    solves: int,
    seed: int | None,
    speed: float,
    log: Path | None,
    up: str | None,
    front: str | None,
    wishes: Wishes,
    as_json: bool,
) -> None:
    """Follow a cube: stages with their splits, and hints as they become possible."""
    if not simulated:
        raise UsageError("only a simulated cube can be followed so far; add --simulated")
    holding = holding_option(up, front)
    seed = secrets.randbelow(10_000) if seed is None else seed
    log_sink = None if log is None else _log_sink(log)
    pipeline = Pipeline(Tracker(), time.perf_counter, wishes.manner)
    output = Output(f"simulated cube, seed {seed}", as_json=as_json, voice=wishes.voice)
    hub = Hub([*output.sinks, *([] if log_sink is None else [log_sink])])
    simulation = _Simulation(solves, seed, speed)
    output.run(_Live(simulation, pipeline, hub, output, wishes).follow(holding))
    output.conclude(pipeline, hub)


def _log_sink(log: Path) -> LogSink:
    started = datetime.now(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
    return LogSink(log, LogWriter(log, Header(started, _PROTOCOL, "cube")))


class _Live:
    """One run: a simulated cube is followed while the advisor gets ready beside it."""

    def __init__(
        self,
        simulation: _Simulation,
        pipeline: Pipeline,
        hub: Hub,
        output: Output,
        wishes: Wishes,
    ) -> None:
        self._simulation = simulation
        self._pipeline = pipeline
        self._hub = hub
        self._output = output
        self._wishes = wishes

    async def follow(self, holding: Holding | None) -> None:
        """Follow the cube to its end, or to that of the solver's patience."""
        # A thread that refines must not keep the turns waiting for the interpreter.
        sys.setswitchinterval(_SWITCH_S)
        simulation, follower = self._simulation, self._follower()
        async with self._hub, asyncio.TaskGroup() as tasks:
            helping = [tasks.create_task(follower.refiner.run(), name="refiner")]
            session = await asyncio.to_thread(_session, simulation)
            if self._wishes.level is not None:
                ready = self._get_ready(follower, self._wishes.level)
                helping.append(tasks.create_task(ready, name="advisor"))
            if holding is not None:
                follower.say(stating(holding))
            link = _simulated_link(session, simulation.speed)
            events = decoded(link, find_decoder(_PROTOCOL)())
            following = tasks.create_task(follower.follow(events), name="cube")
            with self._keys(follower, following):
                await asyncio.wait([following])
            follower.finish()
            for task in helping:
                task.cancel()

    def _follower(self) -> CubeFollower:
        return CubeFollower(self._pipeline, self._hub, self._simulation.speed)

    def _keys(self, follower: CubeFollower, following: asyncio.Task[None]) -> ExitStack:
        """Keys, if there is a screen that shows what they do and somebody who can press them."""
        stack = ExitStack()
        fd = keyboard() if self._output.screen is not None else None
        if fd is not None:
            self._output.board.keys = True
            actions = Keyboard(follower, self._pipeline, following.cancel)
            stack.enter_context(Keys(fd, actions.press))
        return stack

    async def _get_ready(self, follower: CubeFollower, level: str) -> None:
        """Load the advisor beside the turning cube, once its link has said the first word."""
        board = self._output.board
        board.notice = preparing = "Hints are being prepared …"
        await asyncio.sleep(_HEAD_START_S)
        advisor = await asyncio.to_thread(load_advisor, hands=self._wishes.hands)
        set_level(advisor, level)
        self._pipeline.advisor = advisor
        if board.notice == preparing:
            board.notice = ""
        await asyncio.to_thread(sharpen, advisor)
        follower.refiner.begin(advisor.twin())


def _session(simulation: _Simulation) -> VirtualSession:
    from livecube.virtual.session import session

    return session(simulation.seed, simulation.solves, on_cube=simulation.solves > 1)


def _simulated_link(session: VirtualSession, speed: float) -> SimulatedLink:
    from livecube.cube.position import SOLVED, apply_turns
    from livecube.virtual.cube import simulated_cube

    position = bytes(apply_turns(SOLVED, session.scramble).tolist())
    cube = simulated_cube(_PROTOCOL)(position)
    return SimulatedLink(cube, session, time.monotonic, speed)
