"""``livecube bench``: measure the figures that the documents promise."""

from __future__ import annotations

import json
from contextlib import contextmanager
from typing import TYPE_CHECKING, Final

import click
from rich.console import Console

from livecube.cli.bars import progress_bar
from livecube.cli.options import advisor_with_progress
from livecube.composition.assembly import sharpen
from livecube.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from livecube.composition.benchmark import Figure
    from livecube.search.engine import Engine

__all__ = ["bench"]

_SOLVES: Final = 60
"""Whose positions --techniques asks at."""
_BRIEF_COUNT: Final = 200
"""Notifications, after which some advice was begun."""


@click.command()
@click.option("--techniques", is_flag=True, help="How long the search for each technique takes.")
@click.option("--worth", is_flag=True, help="What the techniques are worth against plain pairs.")
@click.option("--radio", is_flag=True, help="The way by Bluetooth (needs livecube[virtual]).")
@click.option(
    "--count",
    type=click.IntRange(min=1),
    default=100_000,
    show_default=True,
    help="How many notifications --radio sends.",
)
@click.option(
    "--rate",
    type=click.FloatRange(min=1),
    default=200.0,
    show_default=True,
    help="How many of them a second.",
)
@click.option(
    "--positions",
    type=click.IntRange(min=1),
    default=500,
    show_default=True,
    help="How many positions --worth solves.",
)
@click.option(
    "--seed",
    type=click.IntRange(min=0),
    default=11,
    show_default=True,
    help="For --techniques and --worth.",
)
@click.option("--brief", is_flag=True, help="Only to see that it runs: the figures say little.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
def bench(
    techniques: bool,
    worth: bool,
    radio: bool,
    count: int,
    rate: float,
    positions: int,
    seed: int,
    brief: bool,
    as_json: bool,
) -> None:
    """Measure starts, tracking, advice and memory on this machine; takes some minutes."""
    if techniques + worth + radio > 1:
        raise UsageError("--techniques, --worth and --radio are different; give one of them")
    if radio:
        _radio(_BRIEF_COUNT if brief else count, rate, as_json)
    elif techniques:
        _techniques(1 if brief else _SOLVES, seed, as_json)
    elif worth:
        _worth(1 if brief else positions, seed, as_json)
    else:
        _promises(brief, as_json)


def _promises(brief: bool, as_json: bool) -> None:
    from livecube.composition.benchmark import figure_json, measure

    with Console(stderr=True).status("measuring") as status:
        figures = measure(lambda name: status.update(f"measuring: {name}"), brief=brief)
    _print(
        [json.dumps(figure_json(figure)) for figure in figures]
        if as_json
        else map(_figure_line, figures)
    )


def _radio(count: int, rate: float, as_json: bool) -> None:
    advisor = advisor_with_progress()
    sharpen(advisor)
    try:
        from livecube.composition.radio_benchmark import (
            measure_radio,
            radio_json,
            radio_lines,
        )
    except ImportError:
        raise UsageError(
            "the virtual radio needs bumble; install it: pip install 'livecube[virtual]'"
        ) from None
    with _bar("sending notifications") as step:
        figures = measure_radio(advisor, count, rate, step)
    _print([json.dumps(radio_json(figures))] if as_json else radio_lines(figures))


def _techniques(solves: int, seed: int, as_json: bool) -> None:
    engine = _engine()
    from livecube.composition.technique_benchmark import (
        measure_techniques,
        timing_json,
        timing_lines,
    )

    with _bar("measuring techniques") as step:
        timings = measure_techniques(engine, solves, seed, step)
    _print(map(json.dumps, map(timing_json, timings)) if as_json else timing_lines(timings))


def _worth(positions: int, seed: int, as_json: bool) -> None:
    engine = _engine()
    from livecube.composition.worth import measure_worth, worth_json, worth_lines

    with _bar("solving pairs") as step:
        worth = measure_worth(engine, positions, seed, step)
    _print(
        [json.dumps(worth_json(one, seed)) for one in worth]
        if as_json
        else worth_lines(worth, seed)
    )


def _engine() -> Engine:
    """The engine with all its tables; to be called before the measuring module is imported."""
    advisor = advisor_with_progress()
    sharpen(advisor)
    return advisor.engine


@contextmanager
def _bar(title: str) -> Iterator[Callable[[float], None]]:
    """A bar on standard error; what is given takes the part (0 to 1) that is done."""
    with progress_bar(title, with_time_left=True) as progress:
        task = progress.add_task("", total=1.0)
        yield lambda part: progress.update(task, completed=part)


def _figure_line(figure: Figure) -> str:
    value = figure.value
    parts = {"": value} if isinstance(value, float) else value
    text = "  ".join(f"{key} {number:,.2f}".strip() for key, number in parts.items())
    shown = f"{figure.name:<32} {text:>14} {figure.unit:<8}"
    return f"{shown} (promised: {figure.promise})"


def _print(lines: Iterable[str]) -> None:
    for line in lines:
        click.echo(line)
