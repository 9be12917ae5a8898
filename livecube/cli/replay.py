"""``livecube replay``: follow a recorded log."""

from __future__ import annotations

import asyncio
import json
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

import click
from rich.console import Console

from livecube.cli.options import advisor_with_progress, level_option
from livecube.composition.following import follow_log
from livecube.composition.hub import Hub
from livecube.composition.pipeline import Pipeline
from livecube.edges.log_files import LogReader
from livecube.edges.sinks import JsonSink, LineSink, ScreenSink
from livecube.errors import UsageError
from livecube.stages.tracker import Tracker
from livecube.views.machine import end_json
from livecube.views.screen import Board

if TYPE_CHECKING:
    from livecube.edges.sink import Sink

__all__ = ["replay"]


def _speed(text: str) -> float | None:
    if text == "max":
        return None
    try:
        speed = float(text)
    except ValueError:
        speed = 0.0
    if not 0 < speed <= 1000:
        raise UsageError(f"--speed is {text!r}; give a number up to 1000, or max")
    return speed


@click.command()
@click.argument("log", type=click.Path(path_type=Path))
@click.option("--speed", default=None, metavar="X|max", help="Seconds of the log in one second.")
@level_option
@click.option("--no-hints", is_flag=True, help="Track and time only.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
def replay(log: Path, speed: str | None, level: str, no_hints: bool, as_json: bool) -> None:
    """Follow the recorded LOG as if it happened now.

    On a terminal the speed is 1 unless given; for a pipe and with --json it is max.
    """
    console = Console(highlight=False, markup=False)
    drawn = console.is_terminal and not as_json
    pace = _speed(speed or ("1" if drawn else "max"))
    with LogReader(log) as reader:
        events = list(reader)  # read whole first: a broken log is refused, not half shown
        torn = reader.torn
        header = reader.header
    pipeline = Pipeline(Tracker(header.position), time.perf_counter)
    if not no_hints:
        pipeline.advisor = advisor_with_progress(level)
    if torn:
        click.echo(f"livecube: {log}: the last line is cut off and was left out", err=True)
    sink: Sink
    if as_json:
        sink = JsonSink(sys.stdout)
    elif drawn and pace is not None:
        sink = ScreenSink(console, Board(f"replay of {log.name}"))
    else:
        sink = LineSink(sys.stdout)

    async def run() -> None:
        async with Hub([sink]) as hub:
            await follow_log(events, pipeline, hub, pace, time.monotonic)
        for complaint in hub.complaints():
            click.echo(f"livecube: {complaint}", err=True)

    try:
        asyncio.run(run())
    finally:
        if isinstance(sink, ScreenSink):
            sink.restore()
    if as_json:
        end = end_json(pipeline.tracker.line, pipeline.solves, pipeline.advice_ms)
        click.echo(json.dumps(end))
