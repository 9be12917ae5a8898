"""``livecube profile``: checks a profile and describes it, or lists all decoders."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from livecube.cli.cubes import say_aside
from livecube.composition.decoders import known_decoders
from livecube.edges.profile_files import load_profile, profile_folder
from livecube.edges.saying import say
from livecube.profiles.decoder import decoder_class
from livecube.profiles.parsing import profile_schema_text
from livecube.views.profile import profile_lines

if TYPE_CHECKING:
    from collections.abc import Iterable

__all__ = ["profile"]


@click.command()
@click.argument("file", required=False, type=click.Path(path_type=Path))
@click.option("--schema", is_flag=True, help="Print the JSON Schema of a profile instead.")
def profile(file: Path | None, schema: bool) -> None:
    """Check the profile in FILE and say what it describes; without one, list all decoders."""
    if schema:
        click.echo(profile_schema_text(), nl=False)
    elif file is not None:
        read = load_profile(file)
        decoder_class(read)  # complains of a transform that is not installed
        _show(profile_lines(read))
    else:
        _show(_listed())


def _listed() -> Iterable[str]:
    for name, decoder in known_decoders(complain=say_aside).items():
        yield f"{name:<20}  {'profile' if hasattr(decoder, 'profile') else 'code'}"
    yield f"The folder for your own profiles is {profile_folder()}."


def _show(lines: Iterable[str]) -> None:
    for line in lines:
        say(line)
