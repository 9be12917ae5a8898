"""``livecube again`` and ``bring``: a moment or a handed-on position on the cube, to be tried."""

from __future__ import annotations

import functools
from dataclasses import dataclass
from itertools import repeat
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from livecube.cli.cubes import check_source, tries_source
from livecube.cli.options import (
    a_number,
    advisor_with_progress,
    cube_options,
    front_option,
    hands_option,
    holdings_with_progress,
    level_option,
    likely_cross_option,
    person_option,
    position_given,
    up_option,
)
from livecube.cli.review import kept_solve, reviewed, solves_of
from livecube.cli.scramble import scrambler_with_progress
from livecube.cli.whose import own_for, own_of_solve
from livecube.composition.again import TrierSource, TryPart
from livecube.composition.run import Output, Run
from livecube.cube.holding import COLOURS
from livecube.edges.sinks import Board
from livecube.errors import UsageError
from livecube.review.again_screen import AgainScreen, BringScreen
from livecube.review.again_text import moment_sentence
from livecube.review.moment import brought, missed_moment
from livecube.review.trying import Trying

if TYPE_CHECKING:
    from collections.abc import Callable

    from livecube.composition.choosing import Wanted
    from livecube.hands.automaton import Automaton
    from livecube.review.moment import Moment
    from livecube.review.trying import Place

__all__ = ["Tries", "again", "bring"]

_SIMULATED_TRIES: Final = 2
"""Tries of a virtual solver, which learns nothing from more."""
_COUNT: Final = 8
"""Missed chances that come one after the other."""


@dataclass(frozen=True, slots=True)
class Tries:
    """On which cube positions are tried, and how often."""

    tries: int | None
    simulated: bool
    typed: bool
    wanted: Wanted
    seed: int
    speed: float
    as_json: bool

    def run(self, place: Place, screen: AgainScreen) -> None:
        """Try one position again and again."""
        part = TryPart(
            lambda scrambler: Trying(repeat(place), scrambler.short),
            self.tries or (_SIMULATED_TRIES if self.simulated else None),
            lambda: scrambler_with_progress(None),
        )
        virtual = None
        if self.simulated:
            virtual = TrierSource(self.tries or _SIMULATED_TRIES, self.seed, self.speed)
        source = tries_source(part, self.wanted, virtual, typed=self.typed, as_json=self.as_json)
        Run(source, Output(Board(screen), as_json=self.as_json)).go(part)


_NAMES: Final = ("tries", "simulated", "typed", "seed", "speed", "as_json")
_OPTIONS: Final = (
    click.option("--tries", type=click.IntRange(1, 1000), help="End after this many tries."),
    click.option("--simulated", is_flag=True, help="A virtual solver tries, without hardware."),
    click.option("--typed", is_flag=True, help="Type the turns on the keyboard."),
    cube_options,
    click.option("--seed", default=0, type=click.IntRange(0), help="Seed of a virtual solver."),
    click.option(
        "--speed",
        default=1.0,
        type=click.FloatRange(0.1, 1000),
        callback=a_number,
        help="Speed of a virtual solver.",
    ),
    level_option,
    hands_option,
    click.option("--json", "as_json", is_flag=True, help="One JSON object a line."),
)


def _trying_options(command: Callable[..., None]) -> Callable[..., None]:
    """The options of both commands; those about the cube come together as ``on``."""

    @functools.wraps(command)
    def gathered(wanted: Wanted, **options: Any) -> None:
        on = Tries(**{name: options.pop(name) for name in _NAMES}, wanted=wanted)
        check_source(wanted, simulated=on.simulated, typed=on.typed)
        command(on=on, **options)

    for option in reversed(_OPTIONS):
        gathered = option(gathered)
    return gathered


@click.command()
@click.argument("number", type=click.IntRange(1), required=False)
@click.option("--pair", type=click.IntRange(1, 4), help="This pair, not the costliest one.")
@click.option(
    "--log", type=click.Path(path_type=Path), help="NUMBER is that of a solve in this log."
)
@click.option(
    "--technique",
    "techniques",
    multiple=True,
    metavar="TECHNIQUE",
    help="Instead of NUMBER: all missed chances of this technique that are due. keyhole: all "
    "keyholes. May be given several times.",
)
@click.option("--person", metavar="NAME", help="With --technique: whose missed chances.")
@click.option(
    "--count",
    type=click.IntRange(1, 100),
    help=f"With --technique: at most this many chances; {_COUNT} by default.",
)
@_trying_options
def again(
    number: int | None,
    pair: int | None,
    log: Path | None,
    techniques: tuple[str, ...],
    person: str | None,
    count: int | None,
    on: Tries,
    level: str | None,
    hands: Automaton | None,
) -> None:
    """Bring a missed moment of solve NUMBER back onto your cube, and try the better way.

    The moment is the costliest one that a review finds, or that of one pair. A few turns lead
    there from any position of the cube; they are shown and followed like a scramble. Then the
    first turn starts the time, which ends when the pair is solved. To begin again, turn back to
    the position of the moment.

    With --technique it leads through all your missed chances of a technique, those that cost most
    first. Each is tried once, without seeing the way, and judged as a drill; it comes again when
    it is due.
    """
    if (number is None) == (not techniques):
        raise UsageError("name a solve, or a technique by --technique")
    if number is None:
        if pair is not None or log is not None or on.tries is not None or level is not None:
            raise UsageError("--pair, --log, --tries and --level go with the NUMBER of a solve")
        from livecube.cli.missing import again_missed

        again_missed(techniques, person, count or _COUNT, on, hands)
        return
    if person is not None or count is not None:
        raise UsageError("--person and --count go with --technique")
    moment, title = _moment(number, pair, log, level, hands)
    on.run(moment, AgainScreen(moment_sentence(moment, title)))


@click.command()
@click.argument("position")
@likely_cross_option
@up_option
@front_option
@person_option
@_trying_options
def bring(
    position: str,
    cross: str | None,
    up: str | None,
    front: str | None,
    person: str | None,
    on: Tries,
    level: str | None,
    hands: Automaton | None,
) -> None:
    """Bring POSITION, which somebody hands on, onto your cube, and do a pair your own way.

    POSITION is a code, as hints and reports show it, 54 facelets, or turns made on a solved cube
    with white up and green in front. A few turns lead there. The first turn starts the time,
    which ends when a pair is solved. Then you see what you did beside the quickest way of each
    technique.
    """
    from livecube.cube.code import position_code

    asked, holding, face = position_given(position, up, front, cross)
    own = own_for(person)
    advisor = advisor_with_progress(own.level(level), own.hands(hands))
    place = brought(advisor, asked, face, holding)
    title = f"position {position_code(asked, holding)}, {COLOURS[face]} cross"
    on.run(place, BringScreen(own.titled(title, hands)))


def _moment(
    number: int, pair: int | None, log: Path | None, level: str | None, hands: Automaton | None
) -> tuple[Moment, str]:
    own = own_for(None) if log is not None else own_of_solve(number)
    holdings_with_progress(own.habits)
    begun = kept_solve(number) if log is None else solves_of(log, number)
    ((title, review),) = reviewed(begun, own, level, hands)
    return missed_moment(review, begun[0][1].start, pair), own.titled(title, hands)
