"""``livecube live``: follow a cube while it is turned."""

from __future__ import annotations

import asyncio
import secrets
import sys
import time
from contextlib import ExitStack, aclosing, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from livecube.cli.broker_options import publishing_options
from livecube.cli.kept import begun_session, is_kept, person_named
from livecube.cli.options import (
    a_number,
    cube_options,
    front_option,
    hint_options,
    holding_option,
    up_option,
)
from livecube.cli.output import Ending, Output, run_in_order
from livecube.composition.assembly import load_advisor, load_holdings, quick_advisor, set_level
from livecube.composition.following import SWITCH_S, CubeFollower, Hub
from livecube.composition.keyboard import Keyboard, stating
from livecube.composition.pipeline import Pipeline
from livecube.composition.sources import SimulatedSource, Simulation
from livecube.cube.holding import SCRAMBLE_HOLDING
from livecube.edges.history.sink import FollowedSink
from livecube.edges.keys import Keys, keyboard, piped_keys
from livecube.edges.log_files import LogWriter, started_now
from livecube.edges.sinks import FirstHint, LogSink
from livecube.errors import UsageError
from livecube.logs.lines import Header
from livecube.stages.tracker import Tracker
from livecube.views.screen import PREPARING

if TYPE_CHECKING:
    from collections.abc import AsyncGenerator, Callable, Sequence

    from livecube.cli.broker_options import Publishing
    from livecube.cli.options import Wishes
    from livecube.composition.choosing import ChosenCube, Wanted
    from livecube.composition.sources import Source
    from livecube.cube.holding import Holding
    from livecube.dashboard.messages import Cube
    from livecube.edges.history.session import Session
    from livecube.edges.sink import Sink
    from livecube.events import CubeEvent

__all__ = ["by_radio", "live", "typed_source"]

_HEAD_START_S = 0.1
"""How long the link may have the interpreter for itself before the advisor is loaded."""
_FIRST_HINT_S = 10.0
"""How long a virtual solver waits at most for a hint that is being worked out."""
_TYPING = "Type moves: R U F … r M x, ' or 2 behind them; Backspace takes one back."


@dataclass(frozen=True, slots=True)
class _Kind:
    """Which kind of cube is followed; none of them: one by radio."""

    simulated: bool
    virtual_radio: bool
    typed: bool

    @property
    def is_virtual(self) -> bool:
        return self.simulated or self.virtual_radio

    def check(self, *, scramble: str | None, wanted: Wanted, capture: bool) -> None:
        """Refuse what does not go together."""
        if self.simulated + self.virtual_radio + self.typed > 1:
            raise UsageError("give one of --simulated, --virtual-radio and --typed")
        if scramble is not None and not self.typed:
            raise UsageError("--scramble goes with --typed; other cubes say how they stand")
        if (wanted.cube or wanted.decoder) and (self.is_virtual or self.typed):
            raise UsageError("--cube and --decoder are for a cube by radio")
        if capture and self.typed:
            raise UsageError("--capture keeps packets, and typed turns have none")


@click.command()
@click.option("--simulated", is_flag=True, help="Follow a simulated cube, without any hardware.")
@click.option("--typed", is_flag=True, help="Type the turns on the keyboard.")
@click.option(
    "--virtual-radio",
    is_flag=True,
    help="A simulated cube, by way of a real GATT exchange (needs livecube[virtual]).",
)
@cube_options
@click.option(
    "--solves",
    type=click.IntRange(1, 1000),
    help="End after so many solves; a virtual solver does one unless told otherwise.",
)
@click.option("--seed", type=click.IntRange(0), help="Same seed, same virtual solves.")
@click.option(
    "--speed",
    default=1.0,
    type=click.FloatRange(0.1, 1000),
    callback=a_number,
    help="Of a virtual solver.",
)
@click.option("--scramble", metavar="MOVES", help="With --typed: how the cube stands at first.")
@click.option("--person", help="Whose solves these are; a virtual solver's are kept only with it.")
@click.option("--no-history", is_flag=True, help="Keep nothing.")
@click.option("--log", type=click.Path(path_type=Path), help="Record the turns in this new file.")
@click.option("--capture", is_flag=True, help="Keep the raw packets in the log, too.")
@up_option
@front_option
@hint_options
@publishing_options
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
def live(
    simulated: bool,
    typed: bool,
    virtual_radio: bool,
    wanted: Wanted,
    solves: int | None,
    seed: int | None,
    speed: float,
    scramble: str | None,
    person: str | None,
    no_history: bool,
    log: Path | None,
    capture: bool,
    up: str | None,
    front: str | None,
    wishes: Wishes,
    publishing: Publishing,
    as_json: bool,
) -> None:
    """Follow a cube: stages with their splits, and hints as they become possible.

    Without --simulated, --typed or --virtual-radio it is a cube by Bluetooth: the one that
    --cube names, else the one of the last time, else the only one that is near.
    """
    kind = _Kind(simulated, virtual_radio, typed)
    kind.check(scramble=scramble, wanted=wanted, capture=capture)
    if capture and log is None:
        raise UsageError("--capture keeps packets in the log; give --log FILE too")
    holding = holding_option(up, front)
    pipeline = Pipeline(Tracker(), time.perf_counter, wishes.manner)
    begin = asyncio.Event()
    if kind.is_virtual:
        seed = secrets.randbelow(10_000) if seed is None else seed
        source = _virtual(kind, Simulation(solves or 1, seed, speed), capture, begin)
        solves = None  # the virtual solver ends by itself
    elif kind.typed:
        source = typed_source(pipeline, scramble)
        holding = holding or SCRAMBLE_HOLDING
    else:
        source = by_radio(wanted, as_json, capture)
    keeps = is_kept(person, no_history=no_history, virtual=kind.is_virtual)
    kept_for = person_named(person) if keeps else None
    run = _Live(source, pipeline, wishes, log, kept_for, publishing, solves, as_json, begin)
    run_in_order(run.follow(holding), run.close, run.ending)
    run.conclude()


def _virtual(kind: _Kind, simulation: Simulation, capture: bool, begin: asyncio.Event) -> Source:
    if kind.simulated:
        return SimulatedSource(simulation, capture=capture, begin=begin)
    from livecube.composition.sources import VirtualRadioSource

    return VirtualRadioSource(simulation, capture=capture, begin=begin)


def typed_source(pipeline: Pipeline, scramble: str | None) -> Source:
    """Turns that are typed, from a solved cube or from behind a scramble."""
    from livecube.composition.sources import TypedSource
    from livecube.cube.notation import parse_turns
    from livecube.cube.position import SOLVED, apply_turns

    position = None if scramble is None else apply_turns(SOLVED, parse_turns(scramble)).tobytes()
    return TypedSource(lambda: pipeline.tracker.holding, position)


def by_radio(wanted: Wanted, as_json: bool, capture: bool) -> Source:
    """A cube by Bluetooth; whoever sits at a terminal is asked if there are several."""
    from livecube.composition.sources import CubeSource
    from livecube.edges.bleak_radio import BleakRadio

    can_ask = sys.stdin is not None and sys.stdin.isatty() and not as_json
    click.echo("livecube: listening for cubes …", err=True)
    return CubeSource(BleakRadio(), wanted, _ask if can_ask else None, capture=capture)


def _ask(cubes: Sequence[ChosenCube]) -> ChosenCube:
    """Let the user choose among several cubes, the nearest one first."""
    for number, cube in enumerate(cubes, start=1):
        click.echo(f"{number:3d}  {cube.sighting.rssi:4d} dBm  {cube.sighting.title}", err=True)
    choice = click.prompt("Which cube", type=click.IntRange(1, len(cubes)), default=1, err=True)
    return cubes[choice - 1]


class _Live:
    """One run: a cube is followed while the advisor gets ready beside it."""

    def __init__(
        self,
        source: Source,
        pipeline: Pipeline,
        wishes: Wishes,
        log: Path | None,
        person: str | None,
        publishing: Publishing,
        solves: int | None,
        as_json: bool,
        begin: asyncio.Event,
    ) -> None:
        """``person``: whose solves these are; None: nothing is kept.

        ``begin``: set once the first hint is there, or none comes: a virtual solver begins.
        """
        self._begin = begin
        self._source = source
        self._pipeline = pipeline
        self._wishes = wishes
        self._log = log
        self._person = person
        self._session: Session | None = None
        self._keeping: FollowedSink | None = None
        self._publishing = publishing
        self._solves = solves
        self._as_json = as_json
        self.ending = Ending()
        self._output: Output | None = None
        self._hub: Hub | None = None

    async def follow(self, holding: Holding | None) -> None:
        """Follow the cube to its end, or to that of the solver's patience."""
        sys.setswitchinterval(SWITCH_S)
        await self._source.find()
        output, hub = self._open()
        keeping = self._keeping
        lead = keeping.lead if keeping is not None else lambda event: (event,)
        follower = CubeFollower(self._pipeline, hub, self._source.speed, lead)
        async with hub, asyncio.TaskGroup() as tasks:
            helping = [tasks.create_task(follower.refiner.run(), name="refiner")]
            events = await self._source.events()
            if self._wishes.level is None:
                self._begin.set()
            else:
                ready = self._get_ready(output, follower, self._wishes.level)
                helping.append(tasks.create_task(ready, name="advisor"))
            if holding is not None:
                follower.say(stating(holding))
            following = tasks.create_task(follower.follow(self._wanted(events)), name="cube")
            with self._keys(output, follower, following):
                await asyncio.wait([following])
            follower.finish()
            for task in helping:
                task.cancel()

    def _open(self) -> tuple[Output, Hub]:
        """The sinks; only now, since the cube has to be found before it can be called by name."""
        source, log = self._source, self._log
        header = Header(started_now(), source.name, source.clock, link=source.link)
        writer = None if log is None else LogWriter(log, header)
        output = Output(
            source.title, as_json=self._as_json, voice=self._wishes.voice, ending=self.ending
        )
        output.publish(self._publishing, self._cube, unasked=True)
        logs: list[Sink] = []
        if log is not None and writer is not None:
            logs.append(LogSink(log, writer, output.complain))
        if self._person is not None:
            logs += self._kept(self._person, header, output.complain)
        self._output, self._hub = output, Hub([*output.sinks, *logs, FirstHint(self._begin)])
        return output, self._hub

    def _kept(self, person: str, header: Header, say: Callable[[str], None]) -> list[Sink]:
        """What keeps the solves."""
        self._session = begun_session(person, header.started, header.source, say)
        self._keeping = FollowedSink(self._session, header, say)
        return [self._keeping]

    def _cube(self) -> Cube:
        from livecube.composition.dashboard import cube_of

        return cube_of(self._source)

    async def _wanted(
        self, events: AsyncGenerator[CubeEvent, None]
    ) -> AsyncGenerator[CubeEvent, None]:
        """The events up to the last solve that shall be followed."""
        async with aclosing(events):
            async for event in events:
                yield event
                if self._solves is not None and self._pipeline.solves >= self._solves:
                    return

    def _keys(
        self, output: Output, follower: CubeFollower, following: asyncio.Task[None]
    ) -> ExitStack:
        """Keys, if somebody can press them: for a typed cube, or with a screen that shows them."""
        stack = ExitStack()
        typed = self._source.typed
        fd = keyboard() if output.screen is not None or typed is not None else None
        if fd is not None:
            output.board.change(keys=True)
            actions = Keyboard(follower, self._pipeline, following.cancel, typed)
            stack.enter_context(Keys(fd, actions.press))
            if typed is not None:
                output.board.change(standing=_TYPING)
        elif typed is not None:
            stack.enter_context(piped_keys(typed.press, typed.end))
        return stack

    async def _get_ready(self, output: Output, follower: CubeFollower, level: str) -> None:
        """Load the advisor beside the turning cube, once its link has said the first word."""
        board = output.board
        board.change(preparing=PREPARING)
        await asyncio.sleep(_HEAD_START_S)
        self._pipeline.advisor = await asyncio.to_thread(quick_advisor, level, self._wishes.hands)
        advisor = await asyncio.to_thread(load_advisor, hands=self._wishes.hands)
        set_level(advisor, level)
        self._pipeline.advisor = advisor
        holdings = await asyncio.to_thread(load_holdings)
        self._pipeline.holdings = holdings
        if self._session is not None:
            self._session.hindsight = holdings.hindsight
        follower.refiner.begin(advisor.twin())
        board.change(preparing="")
        if self._pipeline.question is not None:
            with suppress(TimeoutError):
                await asyncio.wait_for(self._begin.wait(), _FIRST_HINT_S)
        self._begin.set()

    def close(self) -> None:
        """Give the terminal back; harmless when called again."""
        if self._output is not None:
            self._output.close()

    def conclude(self) -> None:
        """Say what is to be said when everything is over."""
        if self._output is not None and self._hub is not None:
            kept = [] if self._keeping is None else self._keeping.last_words
            self._output.conclude(self._pipeline, self._hub, kept)
