"""``livecube bench``: measure the figures that the documents promise."""

from __future__ import annotations

import json
from contextlib import contextmanager
from typing import TYPE_CHECKING, Final

import click
from rich.console import Console

from livecube.cli.bars import progress_bar
from livecube.cli.options import a_number, advisor_with_progress
from livecube.edges.saying import say
from livecube.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from livecube.composition.benchmark import Figure

__all__ = ["bench"]

_BRIEF_COUNT: Final = 200
"""Fewest notifications, so that some advice is begun."""


@click.command()
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
    type=click.FloatRange(1, 100_000),
    callback=a_number,
    default=200.0,
    show_default=True,
    help="How many notifications a second.",
)
@click.option("--brief", is_flag=True, help="Only check that it runs: the figures mean little.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
def bench(
    radio: bool,
    count: int,
    rate: float,
    brief: bool,
    as_json: bool,
) -> None:
    """Measure starts, tracking, advice and memory on this machine; takes some minutes."""
    if radio:
        _radio(_BRIEF_COUNT if brief else count, rate, as_json)
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


@contextmanager
def _bar(title: str) -> Iterator[Callable[[float], None]]:
    """A bar on standard error; yields a function for the part (0 to 1) that is done."""
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
        say(line)
