"""``livecube learn``: find out how an unknown cube speaks, and write its profile."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from livecube.edges.log_files import LogReader
from livecube.errors import UsageError
from livecube.learning.learner import learn as learned_from
from livecube.learning.recording import Recording
from livecube.learning.verdicts import Refused
from livecube.profiles.values import Claim
from livecube.profiles.writing import profile_text

if TYPE_CHECKING:
    from livecube.learning.verdicts import Learned

__all__ = ["learn"]


@click.command()
@click.option(
    "--capture",
    required=True,
    type=click.Path(path_type=Path),
    help="The recorded routine to learn from.",
)
@click.option("--name", required=True, help="What to call the profile, like my-cube.")
@click.option("--cube-name", help="What the cube's own name begins with, by which it is known.")
@click.option("--output", type=click.Path(path_type=Path), help="Write the profile to this file.")
def learn(capture: Path, name: str, cube_name: str | None, output: Path | None) -> None:
    """Learn a cube from a CAPTURE of the routine: turns that were asked for, and its packets.

    The profile is printed, or written to a new file, if it told every turn that was held back;
    otherwise it is said what is in the way, with status 1.
    """
    with LogReader(capture) as reader:
        recording = Recording.of(reader)
    if not recording.steps:
        raise UsageError(f"{capture}: nothing was asked for in this log, so nothing can be learned")
    verdict = learned_from(recording, name, Claim(name=cube_name or name))
    if isinstance(verdict, Refused):
        click.echo(f"livecube: not learned: {verdict.reason}", err=True)
        sys.exit(1)
    _give(verdict, output)


def _give(verdict: Learned, output: Path | None) -> None:
    told = (
        f"Learned by livecube: {verdict.told} turns that were held back and the {verdict.free} of "
        "the free sequence were told right."
    )
    text = profile_text(verdict.profile, "\n".join((told, *verdict.notes)))
    if output is None:
        click.echo(text, nl=False)
        return
    try:
        with output.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError:
        raise UsageError(f"{output} exists; choose another name or remove it") from None
    except OSError as error:
        raise UsageError(f"{output} cannot be written: {error.strerror}") from None
    for line in (told, *verdict.notes, f"The profile is in {output}."):
        click.echo(line)
