"""``livecube live``: follow a cube while it is turned."""

from __future__ import annotations

import asyncio
import secrets
import time
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from livecube.cli.broker_options import publishing_options
from livecube.cli.cubes import by_radio, typed_source
from livecube.cli.meeting import Meeting
from livecube.cli.options import (
    a_number,
    cube_options,
    front_option,
    hint_options,
    up_option,
)
from livecube.cli.whose import is_kept
from livecube.composition.live import LivePart
from livecube.composition.pipeline import Pipeline
from livecube.composition.run import Output, Run, echo_end
from livecube.composition.sources import SimulatedSource, Simulation
from livecube.cube.code import parse_position
from livecube.cube.holding import SCRAMBLE_HOLDING
from livecube.edges.sinks import Board
from livecube.errors import UsageError
from livecube.stages.tracker import Tracker
from livecube.views.live_screen import LiveScreen

if TYPE_CHECKING:
    from livecube.cli.options import HintsAsked
    from livecube.composition.choosing import Wanted
    from livecube.composition.publishing import Publishing
    from livecube.composition.sources import Source

__all__ = ["live"]


@dataclass(frozen=True, slots=True)
class _Kind:
    """The kind of cube; none of these: one by radio."""

    simulated: bool
    virtual_radio: bool
    typed: bool

    @property
    def is_virtual(self) -> bool:
        return self.simulated or self.virtual_radio

    def check(self, *, scramble: str | None, wanted: Wanted, capture: bool) -> None:
        """Refuse contradicting options."""
        if self.simulated + self.virtual_radio + self.typed > 1:
            raise UsageError("give one of --simulated, --virtual-radio and --typed")
        if scramble is not None and not self.typed:
            raise UsageError("--scramble goes with --typed; other cubes report their position")
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
    help="End after this many solves; a virtual solver does one by default.",
)
@click.option("--seed", type=click.IntRange(0), help="Same seed, same virtual solves.")
@click.option(
    "--speed",
    default=1.0,
    type=click.FloatRange(0.1, 1000),
    callback=a_number,
    help="Speed of a virtual solver.",
)
@click.option(
    "--scramble",
    metavar="POSITION",
    help="With --typed: the position at the start, by its code, 54 facelets, or a scramble.",
)
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
    hints: HintsAsked,
    publishing: Publishing,
    as_json: bool,
) -> None:
    """Follow a cube: stages with their splits, and hints as they become possible.

    The cube is connected by Bluetooth, unless --simulated, --typed or --virtual-radio is given. It
    is the cube that --cube names, else the last one followed, else the only one nearby.
    """
    kind = _Kind(simulated, virtual_radio, typed)
    kind.check(scramble=scramble, wanted=wanted, capture=capture)
    if capture and log is None:
        raise UsageError("--capture keeps packets in the log; give --log FILE too")
    keeps = is_kept(person, no_history=no_history, virtual=kind.is_virtual)
    meeting = Meeting(person, hints, (up, front), keeps=keeps, virtual=kind.is_virtual)
    followed = meeting.followed(solves, by_radio=not (kind.is_virtual or kind.typed))
    pipeline = Pipeline(Tracker(), time.perf_counter)
    begin = asyncio.Event()
    if kind.is_virtual:
        seed = secrets.randbelow(10_000) if seed is None else seed
        source = _virtual(kind, Simulation(solves or 1, seed, speed), capture, begin)
        followed = replace(followed, solves=None)  # the virtual solver ends by itself
    elif kind.typed:
        start, told = (None, None) if scramble is None else parse_position(scramble)
        source = typed_source(lambda: pipeline.tracker.holding, start)
        held = followed.solver.holding or told or SCRAMBLE_HOLDING
        followed = replace(followed, solver=replace(followed.solver, holding=held))
    else:
        source = by_radio(wanted, as_json, capture)
    run = Run(source, Output(Board(LiveScreen("")), as_json=as_json))
    run.go(LivePart(pipeline, publishing, followed, log=log, begin=begin))
    if as_json:
        echo_end(pipeline)


def _virtual(kind: _Kind, simulation: Simulation, capture: bool, begin: asyncio.Event) -> Source:
    if kind.simulated:
        return SimulatedSource(simulation, capture=capture, begin=begin)
    from livecube.composition.sources import VirtualRadioSource

    return VirtualRadioSource(simulation, capture=capture, begin=begin)
