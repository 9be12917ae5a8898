"""The command line. Every error that is a user's to mend ends with status 2 and one message."""

from __future__ import annotations

import os
import sys

import click

from livecube import __version__
from livecube.cli.bench import bench
from livecube.cli.explain import explain
from livecube.cli.hints import hints
from livecube.cli.inspection import inspect
from livecube.cli.live import live
from livecube.cli.replay import replay
from livecube.cli.simulate import simulate
from livecube.errors import LivecubeError

__all__ = ["main"]


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="livecube")
def _livecube() -> None:
    """Follow a 3×3×3 cube turn by turn, and hear what has become possible."""


for _command in (live, replay, hints, inspect, explain, simulate, bench):
    _livecube.add_command(_command)


def main() -> None:
    """Run the command line; the exit status is 2 for anything that the user can mend."""
    try:
        _livecube.main(standalone_mode=False)
    except LivecubeError as error:
        click.echo(f"livecube: {error}", err=True)
        sys.exit(2)
    except click.ClickException as error:
        error.show()
        sys.exit(2)
    except (KeyboardInterrupt, click.Abort):
        sys.exit(130)
    except BrokenPipeError:
        # Whoever read our output has left; keep Python from complaining once more at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(141)
