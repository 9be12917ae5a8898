"""``livecube learn``: work out an unknown cube's protocol, and write its profile."""

from __future__ import annotations

import asyncio
import contextlib
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from livecube.composition.learning import led_by_radio
from livecube.edges.log_files import LogReader, LogWriter, new_file, started_now
from livecube.edges.saying import say
from livecube.errors import UsageError
from livecube.learning.learner import learn as learned_from
from livecube.learning.recording import Recording
from livecube.learning.verdicts import Refused
from livecube.logs.lines import Header
from livecube.profiles.parsing import check_name
from livecube.profiles.values import Claim
from livecube.profiles.writing import profile_text

if TYPE_CHECKING:
    from collections.abc import Callable

    from livecube.events import CubeEvent
    from livecube.learning.verdicts import Learned

__all__ = ["learn"]


@click.command()
@click.option("--name", required=True, help="Name of the profile, like my-cube.")
@click.option("--cube", help="Name or address of the cube to learn.")
@click.option(
    "--capture",
    type=click.Path(path_type=Path),
    help="Learn from this recorded routine, without a cube.",
)
@click.option("--log", type=click.Path(path_type=Path), help="Keep the cube's packets in this log.")
@click.option("--cube-name", help="Beginning of the cube's own name, by which it is recognised.")
@click.option("--output", type=click.Path(path_type=Path), help="Write the profile to this file.")
def learn(
    name: str,
    cube: str | None,
    capture: Path | None,
    log: Path | None,
    cube_name: str | None,
    output: Path | None,
) -> None:
    """Learn an unknown cube: asks its owner to turn it, listens, and writes its profile.

    The cube must be solved, and turned as asked, white up and green in front. The profile is
    printed, or written to a new file, if it decodes all turns that were set aside as a check.
    Otherwise livecube says why not, with status 1.
    """
    if (cube is None) == (capture is None):
        raise UsageError("give either --cube, to be led with a cube, or --capture with a log")
    check_name(name)
    if output is not None and output.exists():  # before a hundred turns, not after them
        raise UsageError(f"{output} exists; choose another name or remove it")
    if capture is not None:
        with LogReader(capture) as reader:
            recording, called = Recording.of(reader), cube_name or name
        if not recording.steps:
            raise UsageError(
                f"{capture}: this log records no asked turns, so nothing can be learned"
            )
    else:
        assert cube is not None
        recording, title = asyncio.run(_led(cube, log))
        called = cube_name or title or name
    verdict = learned_from(recording, name, Claim(name=called))
    if isinstance(verdict, Refused):
        say(f"livecube: not learned: {verdict.reason}", err=True)
        sys.exit(1)
    _give(verdict, output)


async def _led(cube: str, log: Path | None) -> tuple[Recording, str | None]:
    """The routine, recorded with a cube by radio, and the cube's own name."""
    from livecube.composition.choosing import find_named
    from livecube.edges.bleak_radio import BleakRadio

    radio = BleakRadio()
    say(f"livecube: listening for {cube} …", err=True)
    sighting = await find_named(radio, cube)
    with contextlib.ExitStack() as stack:
        keep: Callable[[CubeEvent], None] = lambda event: None  # noqa: E731
        if log is not None:
            header = Header(started_now(), "unknown", "host")
            keep = stack.enter_context(LogWriter(log, header)).write
        recording = await led_by_radio(radio, sighting, say, keep)
    return recording, sighting.name


def _give(verdict: Learned, output: Path | None) -> None:
    told = (
        f"Learned by livecube: {verdict.told} turns set aside as a check and the {verdict.free} of "
        "the free sequence were decoded correctly."
    )
    text = profile_text(verdict.profile, "\n".join((told, *verdict.notes)))
    if output is None:
        click.echo(text, nl=False)
        return
    with new_file(output) as file:
        file.write(text)
    for line in (told, *verdict.notes, f"The profile is in {output}."):
        say(line)
