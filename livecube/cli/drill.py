"""``livecube drill``: positions in which a technique is the best choice, one after the other."""

from __future__ import annotations

import functools
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, Final

import click
from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn

from livecube.cli.drill_options import drilling_options
from livecube.cli.drill_rounds import beat, fingers
from livecube.cli.options import advisor_with_progress, hands_option
from livecube.cli.refusing import refusing_the_unstorable
from livecube.cli.scramble import scrambler_with_progress
from livecube.composition.again import TryPart
from livecube.composition.assembly import drilled_techniques
from livecube.cube.holding import COLOURS, parse_colour
from livecube.drills.sets import due_set, generator
from livecube.edges.saying import say
from livecube.errors import UsageError
from livecube.views.lines import counted

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from livecube.cli.drill_options import Drilling
    from livecube.composition.scrambler import Scrambler
    from livecube.drills.history import DrillBook
    from livecube.drills.keeping import DrillKeeper
    from livecube.drills.place import DrillPlace
    from livecube.drills.positions import Wish
    from livecube.edges.sinks import Item
    from livecube.hands.automaton import Automaton
    from livecube.lessons.course import CourseNews
    from livecube.review.trying import Trying
    from livecube.scrambling.path import ScramblePath

__all__ = ["drill"]

_COUNT: Final = 8
"""Positions of a set, by default."""
_DUE: Final = "due"
_GRADES: Final = ("easy", "medium", "hard")


class _Drills(click.Group):
    """Subcommands, and every technique; without a name, the cases that are due."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        if not args or (args[0].startswith("-") and args[0] not in ctx.help_option_names):
            args = [_DUE, *args]
        return super().parse_args(ctx, args)

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args[0] in self.commands:
            return super().resolve_command(ctx, args)
        return args[0], refusing_the_unstorable(_technique), args


@click.group(cls=_Drills, subcommand_metavar="[TECHNIQUE | COMMAND] [ARGS]...")
def drill() -> None:
    """Drill a TECHNIQUE: positions in which it is the best choice, judged one by one.

    Each position is brought onto your cube by a few turns from its present position. With the
    name of a technique (livecube explain lists them) a new set of positions is drawn. Without
    one, or with due, the cases that are due again come. livecube drill TECHNIQUE --help has more.
    """


drill.add_command(fingers)
drill.add_command(beat)


@dataclass(frozen=True, slots=True)
class _Asked:
    """The wanted positions."""

    count: int
    grade: str | None
    slots: tuple[str, ...]
    cross: str
    hands: Automaton | None
    said: Automaton | None
    """The hands that were asked for; None: whoever drills has their own, or the usual ones."""


_OPTIONS: Final = (
    click.option(
        "--count",
        default=_COUNT,
        show_default=True,
        type=click.IntRange(1, 100),
        help="How many positions.",
    ),
    click.option("--grade", type=click.Choice(_GRADES), help="Difficulty, the easiest first."),
    click.option(
        "--slots",
        multiple=True,
        metavar="SLOT",
        help="Only this slot, as in green-red; may be given several times.",
    ),
    click.option(
        "--cross",
        type=click.Choice(COLOURS),
        help="Cross colour; else the first of your own.",
    ),
    hands_option,
    drilling_options,
)


def _position_options(command: Callable[..., None]) -> Callable[..., None]:
    """The options of drills on positions; a command gets them as ``asked`` and ``drilling``."""

    @functools.wraps(command)
    def gathered(drilling: Drilling, **options: Any) -> None:
        named = {name: options.pop(name) for name in ("count", "grade", "slots", "cross", "hands")}
        named["cross"] = named["cross"] or drilling.own.cross
        named["said"] = named["hands"]
        named["hands"] = drilling.own.hands(named["said"])
        command(asked=_Asked(**named), drilling=drilling, **options)

    for option in reversed(_OPTIONS):
        gathered = option(gathered)
    return gathered


@click.command()
@click.argument("technique")
@_position_options
def _technique(technique: str, asked: _Asked, drilling: Drilling) -> None:
    """Drill one TECHNIQUE on positions in which it is the best choice.

    Each position is shown as a few turns from the cube's present one. When it is reached, look,
    and do the best thing. The first turn starts the time, which ends when the slots are filled
    and the cross is aligned. The judgement names what you did.
    """
    wish = _wish(technique, asked)
    with ExitStack() as stack:
        keeper = drilling.keeper(stack)
        places = _drawn(technique, wish, asked, drilling.seed, _known(drilling, keeper))
        title = f"Drill: {technique}, {counted(len(places), 'position')}"
        _run(places, drilling.own.titled(title, asked.said), drilling, keeper)


@drill.command()
@_position_options
def due(asked: _Asked, drilling: Drilling) -> None:
    """Drill the cases that are due, of all techniques."""
    if not drilling.is_kept:
        rather = "give --person" if drilling.simulated else "leave out --no-history"
        raise UsageError(f"the cases that are due are in the history; {rather}")
    with ExitStack() as stack:
        keeper = drilling.keeper(stack)
        assert keeper is not None
        cards = keeper.book.due(datetime.now(UTC))[: asked.count]
        if not cards:
            _nothing_due(keeper.book)
            return
        advisor = advisor_with_progress(hands=asked.hands)
        with _Bar("looking for positions") as step:
            places = due_set(
                advisor,
                cards,
                lambda name: _wish(name, asked),
                generator(drilling.seed),
                _known(drilling, keeper),
                step,
                _names(),
            )
        if len(places) < len(cards):
            say(
                f"livecube: no position was found now for {len(cards) - len(places)} of "
                f"{len(cards)} cases; they stay due",
                err=True,
            )
        if places:
            title = f"Drill: what is due, {counted(len(places), 'case')}"
            _run(places, drilling.own.titled(title, asked.said), drilling, keeper)


def _known(drilling: Drilling, keeper: DrillKeeper | None) -> frozenset[str]:
    """Positions that must not come again."""
    return frozenset() if drilling.seed is not None or keeper is None else keeper.book.known()


def _nothing_due(book: DrillBook) -> None:
    from livecube.drills.text import span_text

    cards = book.cards()
    if not cards:
        say("Nothing was drilled yet; begin with one of: " + ", ".join(_names()))
        return
    left = span_text(cards[0].due - datetime.now(UTC))
    say(
        f"Nothing is due; next in {left}: {cards[0].technique}, {cards[0].case}. "
        "livecube drill TECHNIQUE draws new positions."
    )


def _names() -> list[str]:
    return [one.id for one in drilled_techniques()]


def _wish(technique: str, asked: _Asked) -> Wish:
    known = {one.id: one for one in drilled_techniques()}
    if technique not in known:
        raise UsageError(
            f"{technique!r} cannot be drilled; choose due, fingers, beat, or a technique: "
            + ", ".join(known)
        )
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
    return Wish(known[technique], asked.count, face, asked.grade, slots)


def _drawn(
    technique: str, wish: Wish, asked: _Asked, seed: int | None, known: frozenset[str]
) -> Sequence[DrillPlace]:
    advisor = advisor_with_progress(hands=asked.hands)
    from livecube.drills.positions import drawn_set

    with _Bar("looking for positions") as step:
        places = drawn_set(advisor, wish, generator(seed), known, step)
    if not places:
        raise UsageError(
            f"no position was found in which {technique} is the best choice and that fits your "
            "options; choose another grade or other slots"
        )
    if len(places) < asked.count:
        say(
            f"livecube: {len(places)} of {asked.count} positions were found; "
            "such positions are rare",
            err=True,
        )
    return places


def _run(
    places: Sequence[DrillPlace], title: str, drilling: Drilling, keeper: DrillKeeper | None
) -> None:
    from livecube.drills.judging import DrillJudged
    from livecube.drills.news import as_drill
    from livecube.drills.place import pieces_that_count
    from livecube.drills.screen import DrillScreen
    from livecube.edges.sinks import Board
    from livecube.review.trying import Trying

    pieces = pieces_that_count(places[0].face)

    def led(scrambler: Scrambler) -> Trying:
        def path(start: bytes, target: bytes) -> ScramblePath:
            return scrambler.partly(start, target, pieces)

        return Trying(iter(places), path)

    def told(news: CourseNews) -> Item:
        item = as_drill(news)
        if isinstance(item, DrillJudged) and keeper is not None:
            return keeper.keep(item, drilling.seed)
        return item

    part = TryPart(
        led,
        len(places),
        lambda: scrambler_with_progress(None),
        publishing=drilling.publishing,
        as_told=told,
    )
    drilling.run(part, Board(DrillScreen(title)), keeper, len(places))


class _Bar:
    """A progress bar on standard error, which gets the share that is done."""

    def __init__(self, text: str) -> None:
        console = Console(stderr=True)
        self._bar = Progress(
            TextColumn(text),
            BarColumn(),
            console=console,
            transient=True,
            disable=not console.is_terminal,
        )
        self._task = self._bar.add_task("", total=1.0)

    def __enter__(self) -> Callable[[float], None]:
        self._bar.start()
        return lambda share: self._bar.update(self._task, completed=share)

    def __exit__(self, *_: object) -> None:
        self._bar.stop()
