"""``livecube group``: follow several cubes at once, and see far desks."""

from __future__ import annotations

import asyncio
import secrets
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click
from rich.console import Console

from livecube.cli.broker_options import group_options
from livecube.cli.cubes import say_aside
from livecube.cli.meeting import Meeting
from livecube.cli.options import a_number, hint_options
from livecube.composition.group import MOST_DESKS, DeskPlan, GroupRun
from livecube.composition.sources import (
    CubeSource,
    LogSource,
    SimulatedSource,
    Simulation,
    VirtualPlace,
    VirtualRadioSource,
)
from livecube.cube.position import SOLVED_BYTES
from livecube.dashboard.topics import desk_part
from livecube.edges.configuration import read_configuration
from livecube.errors import UsageError

if TYPE_CHECKING:
    from livecube.cli.options import HintsAsked
    from livecube.composition.publishing import Publishing
    from livecube.composition.sources import Source
    from livecube.dashboard.sending import Plan

__all__ = ["group"]

_SIMULATED: Final = "simulated"
_VIRTUAL: Final = "virtual-radio"
_FORM: Final = "write NAME=CUBE"


@click.command()
@click.argument("desks", nargs=-1, metavar="[NAME=CUBE]…")
@click.option(
    "--solves",
    type=click.IntRange(1, 1000),
    help="Follow so many solves at each desk; a virtual solver does one by default.",
)
@click.option(
    "--speed",
    default=1.0,
    type=click.FloatRange(0.1, 1000),
    callback=a_number,
    help="Speed of virtual solvers and logs.",
)
@click.option("--keep", is_flag=True, help="Keep the solves of virtual solvers, too.")
@click.option("--no-history", is_flag=True, help="Keep nothing.")
@hint_options
@group_options
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
def group(
    desks: tuple[str, ...],
    solves: int | None,
    speed: float,
    keep: bool,
    no_history: bool,
    hints: HintsAsked,
    publishing: Publishing,
    listening: Plan | None,
    as_json: bool,
) -> None:
    """Follow up to eight cubes at once: a row for each, or one in full.

    NAME is the person at the cube, with their settings and solves. CUBE is its name or address as
    livecube scan lists it, or simulated, simulated:SEED, virtual-radio, or a log's file. Without
    desks, those of the configuration.
    """
    named = _named(desks or _configured())
    if not named and listening is None:
        raise UsageError(f"name a desk: {_FORM}, like ada='Ice cube' or bo=simulated; or --listen")
    making = _Making(Simulation(solves or 1, secrets.randbelow(10_000), speed))
    plans = [
        _plan(name, cube, making, hints, solves, keeps=not no_history, keeps_virtual=keep)
        for name, cube in named.items()
    ]
    far = None
    if listening is not None:
        from livecube.composition.far import FarDesks

        far = FarDesks(listening, [*named])
    console = Console(highlight=False, markup=False)
    GroupRun(plans, publishing, console, as_json=as_json, far=far).go()


def _configured() -> tuple[str, ...]:
    told = read_configuration().table("group")["desks"]
    return tuple(one.strip() for one in str(told or "").split(",") if one.strip())


def _named(desks: tuple[str, ...]) -> dict[str, str]:
    """Cubes by the names of their desks."""
    if len(desks) > MOST_DESKS:
        raise UsageError(f"a group has at most {MOST_DESKS} desks here, not {len(desks)}")
    named: dict[str, str] = {}
    for told in desks:
        name, sign, cube = (part.strip() for part in told.partition("="))
        if not (sign and name and cube):
            raise UsageError(f"{told!r} is no desk; {_FORM}, like ada=simulated")
        desk_part(name)
        if name in named:
            raise UsageError(f"two desks are called {name!r}; give each a name of its own")
        if cube in named.values() and not _is_virtual(cube):
            raise UsageError(f"two desks have the cube {cube!r}")
        named[name] = cube
    return named


def _is_virtual(cube: str) -> bool:
    return cube.partition(":")[0] in (_SIMULATED, _VIRTUAL)


class _Making:
    """Makes the sources of the desks, which share one radio of each kind."""

    def __init__(self, simulation: Simulation) -> None:
        self._simulation = simulation
        self._place = VirtualPlace()
        self._radio: object = None
        self._made = 0

    def source(self, cube: str, begin: asyncio.Event) -> Source:
        """The source of a desk."""
        kind, _, seed = cube.partition(":")
        if _is_virtual(cube):
            return self._virtual(kind, seed, begin)
        if Path(cube).suffix == ".jsonl":
            begin.set()
            return LogSource(Path(cube), self._simulation.speed)
        return self._by_radio(cube)

    def _virtual(self, kind: str, seed: str, begin: asyncio.Event) -> Source:
        if seed and not seed.isdecimal():
            raise UsageError(f"{seed!r} is no seed; write {kind}:7, or {kind}")
        self._made += 1
        number = int(seed) if seed else self._simulation.seed + self._made
        task = Simulation(self._simulation.solves, number, self._simulation.speed)
        if kind == _SIMULATED:
            return SimulatedSource(task, begin=begin)
        return VirtualRadioSource(task, begin=begin, place=self._place)

    def _by_radio(self, cube: str) -> Source:
        from livecube.composition.choosing import Wanted
        from livecube.composition.sharing import SharedRadio
        from livecube.edges.bleak_radio import BleakRadio

        if not isinstance(self._radio, SharedRadio):
            self._radio = SharedRadio(BleakRadio())
        return CubeSource(self._radio, Wanted(cube), None, complain=say_aside, remembers=False)


def _plan(
    name: str,
    cube: str,
    making: _Making,
    hints: HintsAsked,
    solves: int | None,
    *,
    keeps: bool,
    keeps_virtual: bool,
) -> DeskPlan:
    begin = asyncio.Event()
    source = making.source(cube, begin)
    is_log, is_virtual = isinstance(source, LogSource), _is_virtual(cube)
    kept = keeps and not is_log and (keeps_virtual or not is_virtual)
    meeting = Meeting(name, hints, (None, None), keeps=kept, virtual=is_virtual or is_log)
    followed = meeting.followed(None if is_virtual else solves, by_radio=False)
    quiet = replace(followed.solver.wishes, voice=False, calls=False)  # eight voices help nobody
    followed = replace(followed, solver=replace(followed.solver, wishes=quiet))
    start = source.header.position if isinstance(source, LogSource) else SOLVED_BYTES
    return DeskPlan(name, source, followed, begin, start)
