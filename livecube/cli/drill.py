"""``livecube drill``: positions in which a technique is the best choice, one after the other."""

from __future__ import annotations

import functools
import sqlite3
from contextlib import ExitStack
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import click
from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn

from livecube.cli.options import a_number, advisor_with_progress, cube_options, hands_option
from livecube.cli.trying import TryingRun, check_source
from livecube.composition.drawing import NOT_DRILLED, due_set, generator
from livecube.cube.holding import COLOURS, parse_colour
from livecube.edges.configuration import read_configuration
from livecube.edges.history.folder import data_folder
from livecube.errors import LivecubeError, UsageError

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from livecube.composition.choosing import Wanted
    from livecube.composition.scrambler import Scrambler
    from livecube.drills.positions import DrillPlace, Wish
    from livecube.edges.history.drills import DrillBook
    from livecube.edges.sink import Item
    from livecube.hands.model import Hands
    from livecube.review.trying import TryNews
    from livecube.scrambling.following import ScramblePath

__all__ = ["drill"]

_COUNT: Final = 8
"""Positions of a set, unless told otherwise."""
_DUE: Final = "due"
_GRADES: Final = ("open", "veiled", "hidden")


class _Drills(click.Group):
    """Subcommands, and beside them every technique; nothing named: what is due."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        helps = ctx.help_option_names
        if not args or (args[0].startswith("-") and args[0] not in helps):
            args = [_DUE, *args]
        return super().parse_args(ctx, args)

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args[0] in self.commands:
            return super().resolve_command(ctx, args)
        return args[0], _technique, args


@click.group(cls=_Drills)
def drill() -> None:
    """Drill a TECHNIQUE: positions in which it is the best choice, judged one by one.

    Each position is brought onto your cube by few turns from where it stands. With the name of a
    technique (livecube explain lists them) a new set of positions is drawn; without one, or with
    due, come the cases that are due again. livecube drill TECHNIQUE --help says more.
    """


@dataclass(frozen=True, slots=True)
class _Asked:
    """What the options said."""

    simulated: bool
    typed: bool
    wanted: Wanted
    speed: float
    count: int
    grade: str | None
    slots: tuple[str, ...]
    cross: str
    seed: int | None
    person: str
    is_kept: bool
    hands: Hands | None
    as_json: bool


def _drill_options(command: Callable[..., None]) -> Callable[..., None]:
    """What all drills on positions take; it reaches a command as ``asked``."""

    @functools.wraps(command)
    def gathered(**options: Any) -> None:
        named = {name: options.pop(name) for name in list(options) if name != "technique"}
        person, no_history = named.pop("person"), named.pop("no_history")
        asked = _Asked(**named, person=_person(person), is_kept=not no_history)
        check_source(asked.wanted, simulated=asked.simulated, typed=asked.typed)
        command(asked=asked, **options)

    for option in reversed(_OPTIONS):
        gathered = option(gathered)
    return gathered


_OPTIONS: Final = (
    click.option("--count", default=_COUNT, show_default=True, type=click.IntRange(1, 100)),
    click.option("--grade", type=click.Choice(_GRADES), help="How hard; from the easiest."),
    click.option(
        "--slots", multiple=True, metavar="SLOT", help="Only such slots, as in green-red."
    ),
    click.option(
        "--cross", type=click.Choice(COLOURS), default="white", show_default=True,
        help="Cross colour.",
    ),
    click.option("--seed", type=click.IntRange(0), help="Same seed, same positions."),
    click.option("--person", help="Who drills."),
    click.option("--no-history", is_flag=True, help="Keep nothing."),
    click.option("--simulated", is_flag=True, help="A virtual solver drills, without hardware."),
    click.option("--typed", is_flag=True, help="Type the turns on the keyboard."),
    cube_options,
    click.option(
        "--speed", default=1.0, type=click.FloatRange(0.1, 1000), callback=a_number,
        help="Of a virtual solver.",
    ),
    hands_option,
    click.option("--json", "as_json", is_flag=True, help="One JSON object a line."),
)  # fmt: skip


@click.command()
@click.argument("technique")
@_drill_options
def _technique(technique: str, asked: _Asked) -> None:
    """Drill one TECHNIQUE on positions in which it is the best choice.

    Each position is shown as few turns from where the cube stands. When it is there, look, and
    do what is best; the first turn starts the time, and it is over when the slots are filled and
    the cross is aligned. The judgement names what was done.
    """
    wish = _wish(technique, asked)
    with ExitStack() as stack:
        book = _book(asked, stack)
        known = frozenset() if asked.seed is not None or book is None else book.known()
        places = _drawn(technique, wish, asked, known)
        _run(places, f"Drill: {technique}, {len(places)} positions", asked, book)


@drill.command()
@_drill_options
def due(asked: _Asked) -> None:
    """Drill the cases that are due, whatever their technique, the longest due first."""
    if not asked.is_kept:
        raise UsageError("what is due is in the history; leave out --no-history")
    with ExitStack() as stack:
        book = _book(asked, stack)
        assert book is not None
        cards = book.due()[: asked.count]
        if not cards:
            _nothing_due(book)
            return
        known = frozenset() if asked.seed is not None else book.known()
        advisor = advisor_with_progress(hands=asked.hands)
        with _Bar("looking for positions") as step:
            places = due_set(
                advisor, cards, lambda name: _wish(name, asked), generator(asked.seed), known, step
            )
        if len(places) < len(cards):
            click.echo(
                f"livecube: no position was found now for {len(cards) - len(places)} of "
                f"{len(cards)} cases; they stay due",
                err=True,
            )
        if places:
            _run(places, f"Drill: {len(places)} cases that are due", asked, book)


def _nothing_due(book: DrillBook) -> None:
    from datetime import UTC, datetime

    from livecube.views.drill_text import span_text

    cards = book.cards()
    if not cards:
        click.echo("Nothing was drilled yet; begin with one of: " + ", ".join(_names()))
        return
    left = span_text(cards[0].due - datetime.now(UTC))
    click.echo(
        f"Nothing is due; next in {left}: {cards[0].technique}, {cards[0].case}. "
        "livecube drill TECHNIQUE draws new positions."
    )


def _names() -> list[str]:
    from livecube.composition.assembly import known_techniques

    return [one.id for one in known_techniques() if one.id not in NOT_DRILLED]


def _wish(technique: str, asked: _Asked) -> Wish:
    from livecube.composition.assembly import find_technique

    if technique in NOT_DRILLED:
        raise UsageError(f"{technique} is a yardstick; drill one of: {', '.join(_names())}")
    known = find_technique(technique)
    from livecube.drills.positions import Wish
    from livecube.stages.frame import FRAMES

    face = parse_colour(asked.cross)
    slots = tuple("-".join(sorted(slot.split("-"))) for slot in asked.slots)
    for slot in slots:
        if slot not in FRAMES[face].slots:
            raise UsageError(
                f"the {asked.cross} cross has no slot {slot!r}; its slots: "
                + ", ".join(FRAMES[face].slots)
            )
    return Wish(known, asked.count, face, asked.grade, slots)


def _drawn(
    technique: str, wish: Wish, asked: _Asked, known: frozenset[str]
) -> Sequence[DrillPlace]:
    from livecube.drills.positions import drawn_set

    advisor = advisor_with_progress(hands=asked.hands)
    with _Bar("looking for positions") as step:
        places = drawn_set(advisor, wish, generator(asked.seed), known, step)
    if not places:
        raise UsageError(
            f"no position was found in which {technique} is the best choice and that is as you "
            "want it; ask for another grade or other slots"
        )
    if len(places) < asked.count:
        click.echo(
            f"livecube: {len(places)} of {asked.count} positions were found; "
            f"{technique} is seldom the best choice",
            err=True,
        )
    return places


def _person(said: str | None) -> str:
    person = said if said is not None else str(read_configuration().table("practice")["person"])
    if not person.strip():
        raise UsageError("--person is empty; give a name")
    return person.strip()


def _book(asked: _Asked, stack: ExitStack) -> DrillBook | None:
    if not asked.is_kept:
        return None
    from livecube.edges.history.drills import DrillBook
    from livecube.edges.history.store import History

    return DrillBook(stack.enter_context(History(data_folder())), asked.person)


def _run(places: Sequence[DrillPlace], title: str, asked: _Asked, book: DrillBook | None) -> None:
    from livecube.drills.judging import DrillJudged
    from livecube.drills.news import as_drill
    from livecube.drills.positions import pieces_that_count
    from livecube.views.drill_screen import DrillBoard

    pieces = pieces_that_count(places[0].face)

    def path(scrambler: Scrambler, start: bytes, target: bytes) -> ScramblePath:
        return scrambler.partly(start, target, pieces)

    def told(news: TryNews) -> Item:
        item = as_drill(news)
        if isinstance(item, DrillJudged) and book is not None:
            try:
                return book.keep(item, asked.seed)
            except (OSError, sqlite3.Error, LivecubeError) as error:
                run.complain(f"Try {item.number} cannot be kept: {error}")
        return item

    run = TryingRun(
        iter(places), DrillBoard(title), len(places), as_json=asked.as_json, path=path, as_told=told
    )
    if asked.simulated:
        run.simulated(len(places), asked.seed or 0, asked.speed)
    elif asked.typed:
        run.typed()
    else:
        run.by_radio(asked.wanted)
    run.run()


class _Bar:
    """A progress bar on standard error, which is told which share is done."""

    def __init__(self, text: str) -> None:
        console = Console(stderr=True)
        self._bar = Progress(
            TextColumn(text), BarColumn(), console=console, transient=True,
            disable=not console.is_terminal,
        )  # fmt: skip
        self._task = self._bar.add_task("", total=1.0)

    def __enter__(self) -> Callable[[float], None]:
        self._bar.start()
        return lambda share: self._bar.update(self._task, completed=share)

    def __exit__(self, *_: object) -> None:
        self._bar.stop()
