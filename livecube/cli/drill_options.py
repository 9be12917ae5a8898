"""Options of all drills: the cube, the person, the seed."""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import click

from livecube.cli.broker_options import publishing_options
from livecube.cli.cubes import check_source, tries_source
from livecube.cli.options import a_number, cube_options
from livecube.cli.whose import is_kept, keeper, own_of_name
from livecube.composition.again import TrierSource
from livecube.composition.run import Output, Run
from livecube.edges.saying import say
from livecube.history.folder import data_folder

if TYPE_CHECKING:
    from collections.abc import Callable
    from contextlib import ExitStack

    from livecube.cli.whose import Own
    from livecube.composition.again import TryPart
    from livecube.composition.choosing import Wanted
    from livecube.composition.publishing import Publishing
    from livecube.drills.keeping import DrillKeeper
    from livecube.edges.sinks import Board

__all__ = ["Drilling", "drilling_options"]

_NAMES: Final = (
    "simulated",
    "typed",
    "speed",
    "seed",
    "person",
    "no_history",
    "as_json",
    "publishing",
)


@dataclass(frozen=True, slots=True)
class Drilling:
    """The cube of a drill, its person, and whether it is kept."""

    simulated: bool
    typed: bool
    wanted: Wanted
    speed: float
    seed: int | None
    person: str
    is_kept: bool
    own: Own
    """What applies to the person who drills."""
    as_json: bool
    publishing: Publishing

    def keeper(self, stack: ExitStack) -> DrillKeeper | None:
        """The keeper of the person's drills, closed with the stack; None if nothing is kept."""
        if not self.is_kept:
            return None
        from livecube.drills.keeping import DrillKeeper

        keeper = DrillKeeper(data_folder(), self.person, _complain)
        stack.callback(keeper.close, _complain)
        return keeper

    def run(
        self,
        part: TryPart,
        board: Board[Any],
        keeper: DrillKeeper | None,
        tries: int,
        tempo: float | None = None,
    ) -> None:
        """Run a drill on the cube; ``tries`` and ``tempo`` are for a virtual solver."""
        virtual = None
        if self.simulated:
            virtual = TrierSource(tries, self.seed or 0, self.speed, tempo)
        source = tries_source(part, self.wanted, virtual, typed=self.typed, as_json=self.as_json)
        output = Output(board, as_json=self.as_json)
        if keeper is not None:
            keeper.complain = output.complain
        Run(source, output).go(part)


def _complain(sentence: str) -> None:
    say(f"livecube: {sentence}", err=True)


_OPTIONS: Final = (
    click.option("--seed", type=click.IntRange(0), help="Same seed, same drill."),
    click.option("--person", help="Who drills; a virtual solver's drills are kept only with it."),
    click.option("--no-history", is_flag=True, help="Keep nothing."),
    click.option("--simulated", is_flag=True, help="A virtual solver drills, without hardware."),
    click.option("--typed", is_flag=True, help="Type the turns on the keyboard."),
    cube_options,
    click.option(
        "--speed",
        default=1.0,
        type=click.FloatRange(0.1, 1000),
        callback=a_number,
        help="Speed factor for a virtual solver.",
    ),
    publishing_options,
    click.option("--json", "as_json", is_flag=True, help="One JSON object a line."),
)


def drilling_options(command: Callable[..., None]) -> Callable[..., None]:
    """The options of all drills; a command gets them together as ``drilling``."""

    @functools.wraps(command)
    def gathered(wanted: Wanted, **options: Any) -> None:
        named = {name: options.pop(name) for name in _NAMES}
        person, no_history = named.pop("person"), named.pop("no_history")
        keeps = is_kept(person, no_history=no_history, virtual=named["simulated"])
        name = keeper(person, wanted.cube) if keeps else ""
        own = own_of_name(name)
        drilling = Drilling(**named, wanted=wanted, person=name, is_kept=keeps, own=own)
        check_source(wanted, simulated=drilling.simulated, typed=drilling.typed)
        command(drilling=drilling, **options)

    for option in reversed(_OPTIONS):
        gathered = option(gathered)
    return gathered
