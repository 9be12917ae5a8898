"""Shared parts of several commands: options, and loading the advisor with a progress bar."""

from __future__ import annotations

import functools
import math
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import click

from livecube.advice.settings import ANY_CROSS, LEVEL_NAMES, parse_clues, parse_crosses
from livecube.advice.speaker import STEP_S, WHEN, Manner
from livecube.cli.bars import progress_bar, waiting
from livecube.composition.assembly import (
    ADVISOR_STEPS,
    focus_on,
    load_advisor,
    load_holdings,
    set_level,
)
from livecube.composition.choosing import Wanted
from livecube.cube.holding import COLOURS, Holding, parse_colour
from livecube.edges.automaton_file import load_hands
from livecube.edges.configuration import read_configuration
from livecube.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from rich.progress import Progress

    from livecube.advice.advisor import Advisor, Focus
    from livecube.composition.run import Wishes
    from livecube.cube.geometry import Array
    from livecube.edges.habits_file import Habits
    from livecube.entries import Value
    from livecube.hands.automaton import Automaton
    from livecube.holding.follower import HoldingFollower

__all__ = [
    "FocusAsked",
    "HintsAsked",
    "a_number",
    "advisor_with_progress",
    "configured_holding",
    "crosses_option",
    "cube_options",
    "focus_options",
    "front_option",
    "hands_option",
    "hint_options",
    "holding_option",
    "holdings_with_progress",
    "level_option",
    "likely_cross_option",
    "person_option",
    "position_given",
    "up_option",
]

_LEVEL = functools.partial(
    click.option,
    "--level",
    type=click.Choice(LEVEL_NAMES),
    help="Which techniques. calm: plain pairs and keyhole corners; keen: all keyholes and "
    "X-crosses too; bold: pseudo pairs too.",
)
_CROSSES = functools.partial(
    click.option,
    "--cross",
    "crosses",
    multiple=True,
    type=click.Choice((*COLOURS, ANY_CROSS)),
    help=f"Cross colour; may be given several times. {ANY_CROSS}: all six.",
)

level_option = _LEVEL()
"""Without it, the level is the person's own, else the configuration's."""
person_option = click.option(
    "--person", metavar="NAME", help="Whose settings and habits of holding apply."
)
crosses_option = _CROSSES()
"""Without it, the colours are the person's own, else the configuration's."""

hands_option = click.option(
    "--hands",
    metavar="right|left|FILE",
    callback=lambda context, option, name: None if name is None else load_hands(name),
    help="Which hands: the usual right-handed ones, their mirror image, or your own prices in a "
    "file; livecube hands prints one to start from.",
)

up_option = click.option("--up", type=click.Choice(COLOURS), help="Colour held up, with --front.")
front_option = click.option(
    "--front", type=click.Choice(COLOURS), help="Colour held in front, with --up."
)

likely_cross_option = click.option(
    "--cross",
    type=click.Choice(COLOURS),
    help="Cross colour. Without it: the whole cross with the most solved slots and a free one.",
)

_FOCUS = functools.partial(click.option, "--focus", multiple=True, metavar="TECHNIQUE")
_WITHIN_OPTION = click.option(
    "--within",
    type=click.FloatRange(0, 5),
    callback=lambda context, option, value: value and a_number(context, option, value),
    help="With --focus: how many seconds it may cost more than the best plan.",
)
_HINT_OPTIONS = (
    _LEVEL(),
    _FOCUS(
        help="A technique that you practise: it is the hint whenever it costs little more than the "
        "best plan. keyhole: all keyholes. May be given several times."
    ),
    _WITHIN_OPTION,
    hands_option,
    _CROSSES(),
    click.option(
        "--when",
        type=click.Choice(WHEN),
        help="When to give hints: always; only before the first turn; only after a solve.",
    ),
    click.option(
        "--clues",
        metavar="SECONDS|asked|off",
        help="Hints little by little: where to look, then the technique, then the moves. The next "
        "clue comes after this many seconds of rest, or when you ask for it.",
    ),
    click.option("--degrees", is_flag=True, hidden=True, help="The same as --clues 2."),
    click.option("--voice/--no-voice", default=None, help="Say hints aloud, too."),
    click.option("--no-hints", is_flag=True, help="Track and time only."),
)
"""Options not given come from the person's settings, else from the configuration's [hints]."""


_CUBE_OPTIONS = (
    click.option(
        "--cube", metavar="NAME|ADDRESS", help="Which cube to connect to; livecube scan lists them."
    ),
    click.option("--decoder", metavar="NAME", help="Read it with this decoder."),
)


class FocusAsked:
    """The options about a focus on the command line."""

    def __init__(self, options: dict[str, Any]) -> None:
        """Takes its own out of all options."""
        self._named, self._within_s = options.pop("focus"), options.pop("within")

    def focus(self, settings: Mapping[str, Value] = MappingProxyType({})) -> Focus | None:
        """The focus of the options, else of a person with these settings of their own, if any."""
        chosen = read_configuration().table("hints") | {**settings}
        names = self._named or str(chosen["focus"] or "").split()
        within_s = chosen["within"] if self._within_s is None else self._within_s
        return focus_on(names, float(str(within_s or 0.0))) if names else None


class HintsAsked:
    """The options about hints on the command line."""

    def __init__(self, options: dict[str, Any]) -> None:
        """Takes its own out of all options."""
        self._no_hints = options.pop("no_hints")
        self._hands: Automaton | None = options.pop("hands")
        if options.pop("degrees"):
            options["clues"] = options["clues"] or f"{STEP_S:g}"
        said = {name: options.pop(name) for name in ("level", "when", "clues", "voice")}
        self._said = {name: value for name, value in said.items() if value is not None}
        self._crosses, self._focus = options.pop("crosses"), FocusAsked(options)

    @property
    def hands_said(self) -> Automaton | None:
        """The hands that an option names."""
        return self._hands

    def wishes(
        self,
        settings: Mapping[str, Value] = MappingProxyType({}),
        learned: Automaton | None = None,
    ) -> Wishes:
        """The wishes of a person with these settings, and hands, of their own."""
        from livecube.composition.run import Wishes  # late: hints and others follow no cube

        chosen = read_configuration().table("hints") | {**settings} | self._said
        hands = self._hands or learned
        if hands is None and chosen["hands"] is not None:
            hands = load_hands(str(chosen["hands"]))
        crosses = " ".join(self._crosses) or str(chosen["cross"])
        voice = bool(chosen["voice"])
        return Wishes(
            level=None if self._no_hints else str(chosen["level"]),
            hands=hands,
            manner=Manner(
                str(chosen["when"]),
                tuple(map(parse_colour, parse_crosses(crosses))),
                parse_clues(str(chosen["clues"])),
                self._focus.focus(settings),
            ),
            voice=voice and not self._no_hints,
            calls=voice,
        )


def hint_options(command: Callable[..., None]) -> Callable[..., None]:
    """The options about hints; a command gets them together as ``hints``."""

    @functools.wraps(command)
    def gathered(**options: Any) -> None:
        command(hints=HintsAsked(options), **options)

    for option in reversed(_HINT_OPTIONS):
        gathered = option(gathered)
    return gathered


def focus_options(command: Callable[..., None]) -> Callable[..., None]:
    """The options about a focus on past solves; a command gets them together as ``focus``."""

    @functools.wraps(command)
    def gathered(**options: Any) -> None:
        command(focus=FocusAsked(options), **options)

    told = (
        "A technique that you practise: count the chances that cost little more than the best "
        "plan. keyhole: all keyholes. May be given several times."
    )
    return _FOCUS(help=told)(_WITHIN_OPTION(gathered))


def cube_options(command: Callable[..., None]) -> Callable[..., None]:
    """The options that choose a cube by radio; a command gets them together as ``wanted``."""

    @functools.wraps(command)
    def gathered(**options: Any) -> None:
        wanted = Wanted(options.pop("cube"), options.pop("decoder"))
        command(wanted=wanted, **options)

    for option in reversed(_CUBE_OPTIONS):
        gathered = option(gathered)
    return gathered


def configured_holding(
    up: str | None, front: str | None, settings: Mapping[str, Value] = MappingProxyType({})
) -> Holding | None:
    """The holding from the options, else from the person's settings or the table [hints].

    None: none of them names one.
    """
    if up is None and front is None:
        own = {name: settings.get(name) for name in ("up", "front")}
        table = own if any(own.values()) else read_configuration().table("hints")
        up, front = (None if table[name] is None else str(table[name]) for name in ("up", "front"))
    return holding_option(up, front)


def holding_option(up: str | None, front: str | None) -> Holding | None:
    """The holding that ``--up`` and ``--front`` name; None if neither is given.

    Raises :class:`~livecube.errors.UsageError` if only one is, or if they do not touch.
    """
    if up is None and front is None:
        return None
    if up is None or front is None:
        raise UsageError("--up and --front go together; give both or neither")
    try:
        return Holding.of(parse_colour(up), parse_colour(front))
    except ValueError as error:
        raise UsageError(str(error)) from None


def position_given(
    text: str, up: str | None, front: str | None, cross: str | None
) -> tuple[Array, Holding | None, int]:
    """A position, how it is held, and the face of its cross, as options or its code tell them.

    Without a colour the cross is the likeliest one. Raises as :func:`.parse_position` and
    :func:`holding_option` do.
    """
    from livecube.advice.advisor import likely_cross
    from livecube.cube.code import parse_position

    position, told = parse_position(text)
    face = parse_colour(cross) if cross else likely_cross(position)
    return position, holding_option(up, front) or told, face


def a_number(_context: click.Context, _option: click.Parameter, value: float) -> float:
    """Refuse nan, since no range refuses it."""
    if math.isnan(value):
        raise click.BadParameter("nan is not a number.")
    return value


def advisor_with_progress(level: str = LEVEL_NAMES[0], hands: Automaton | None = None) -> Advisor:
    """Load the advisor; on a first start, which takes seconds, with a bar on standard error."""
    bar: Progress | None = None

    def step(steps: int) -> None:
        nonlocal bar
        if bar is None and steps == 1:  # kept tables come all at once
            bar = progress_bar("preparing the search, once for this machine")
            bar.add_task("", total=ADVISOR_STEPS)
            bar.start()
        if bar is not None:
            bar.advance(bar.task_ids[0], steps)

    try:
        advisor = load_advisor(step, hands)
    finally:
        if bar is not None:
            bar.stop()
    set_level(advisor, level)
    return advisor


def holdings_with_progress(own: Habits | None = None) -> HoldingFollower:
    """Load the inference of holdings; on a first start, which takes seconds, with a bar."""
    with waiting("preparing to read hands"):
        return load_holdings(own)
