"""``livecube replay``: follow a recorded log."""

from __future__ import annotations

import sys
import time
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click
from click.core import ParameterSource

from livecube.cli.broker_options import publishing_options
from livecube.cli.cubes import say_aside
from livecube.cli.options import (
    advisor_with_progress,
    hint_options,
    holdings_with_progress,
    person_option,
)
from livecube.cli.whose import own_for
from livecube.composition.following import Hub, follow_log
from livecube.composition.pipeline import Pipeline
from livecube.composition.run import Output, echo_end, run_in_order
from livecube.edges.log_files import LogReader
from livecube.edges.saying import say
from livecube.edges.sinks import Board
from livecube.errors import UsageError
from livecube.events import Packet
from livecube.stages.tracker import Tracker
from livecube.views.live_screen import LiveScreen

if TYPE_CHECKING:
    from livecube.cli.options import HintsAsked
    from livecube.composition.publishing import Publishing
    from livecube.edges.sinks import Sink
    from livecube.events import CubeEvent

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
@click.option("--packets", is_flag=True, help="Decode the raw packets of a capture once more.")
@click.option("--decoder", metavar="NAME", help="With --packets: by this decoder.")
@person_option
@hint_options
@publishing_options
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
def replay(
    log: Path,
    speed: str | None,
    packets: bool,
    decoder: str | None,
    person: str | None,
    hints: HintsAsked,
    publishing: Publishing,
    as_json: bool,
) -> None:
    """Follow the recorded LOG as if it happened now.

    On a terminal the speed is 1 unless given; for a pipe and with --json it is max.
    """
    pace = _speed(speed or ("1" if sys.stdout.isatty() and not as_json else "max"))
    own = own_for(person)
    wishes = hints.wishes(own.settings, own.hands(hints.hands_said))
    if wishes.voice and pace is None:
        if click.get_current_context().get_parameter_source("voice") is ParameterSource.COMMANDLINE:
            raise UsageError("--voice cannot keep up with --speed max; give another speed")
        wishes = replace(wishes, voice=False)  # the configuration's voice is for other speeds
    with LogReader(log) as reader:
        events = list(reader)  # read as a whole first: a broken log is refused, not half shown
        torn = reader.torn
        header = reader.header
    if decoder is not None and not packets:
        raise UsageError("--decoder is for decoding packets; add --packets")
    if packets:
        events = _decoded_again(log, events, decoder or header.source)
    pipeline = Pipeline(Tracker(header.position), time.perf_counter, wishes.manner)
    if wishes.level is not None:
        pipeline.advisor = advisor_with_progress(wishes.level, wishes.hands)
        pipeline.holdings = holdings_with_progress(own.habits)
    if torn:
        say(f"livecube: {log}: the last line is cut off and was left out", err=True)
    title = own.titled(f"replay of {log.name}", hints.hands_said)
    drawn = pace is not None
    output = Output(Board(LiveScreen(title)), as_json=as_json, drawn=drawn)
    sinks = output.sinks()
    if wishes.level is not None:
        output.tell_hands(own.own_solves(hints.hands_said), own.told(hints.hands_said))
    if wishes.voice:
        sinks.append(output.voice())
    hub = Hub([*sinks, *_published(output, publishing, log, header.started)])

    async def run() -> None:
        async with hub:
            await follow_log(events, pipeline, hub, pace, time.monotonic)

    run_in_order(run(), output.close, output.ending)
    output.conclude(hub)
    if as_json:
        echo_end(pipeline)


def _published(output: Output, publishing: Publishing, log: Path, started: str) -> list[Sink]:
    """A dashboard, only if the command line asks for it: a replay is not live news."""
    if not publishing.asked:
        return []
    from livecube.composition.dashboard import cube_of_log, time_in_log

    return output.published_as(
        lambda: publishing.open(
            lambda: cube_of_log(log.name), time_in_log(started), output.complain, unasked=False
        ),
    )


def _decoded_again(log: Path, events: list[CubeEvent], name: str) -> list[CubeEvent]:
    """The events of a capture, from its packets."""
    from livecube.composition.decoders import known_decoders
    from livecube.composition.reception import decoded_again

    if not any(isinstance(event, Packet) for event in events):
        raise UsageError(f"{log} holds no packets; livecube live --log FILE --capture keeps them")
    decoders = known_decoders(complain=say_aside)
    if name not in decoders:
        raise UsageError(
            f"the packets in {log} are those of {name!r}, and no such decoder is installed "
            f"({', '.join(decoders)}); choose one with --decoder"
        )
    return list(decoded_again(events, decoders[name]()))
