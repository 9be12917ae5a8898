"""The command line. Every error that is a user's to mend ends with status 2 and one message."""

from __future__ import annotations

import os
import sys
from importlib import import_module
from typing import Final

import click

from livecube import __version__
from livecube.errors import DrawingError, LivecubeError

__all__ = ["main"]

_MODULES: Final = {
    "live": "live",
    "scan": "scan",
    "practice": "practice",
    "history": "history",
    "trends": "trends",
    "report": "report",
    "replay": "replay",
    "review": "review",
    "again": "again",
    "drill": "drill",
    "write": "write",
    "adapt": "adapt",
    "hints": "hints",
    "inspect": "inspection",
    "explain": "explain",
    "hands": "hands",
    "profile": "profile",
    "learn": "learn",
    "mqtt": "mqtt",
    "config": "config",
    "completion": "completion",
    "scramble": "scramble",
    "simulate": "simulate",
    "bench": "bench",
}
"""The commands, in the order of the help, and the modules beside this one that hold them."""


class _Commands(click.Group):
    """Loads a command's module when it is asked for: a start should not wait for the others."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(_MODULES)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in _MODULES:
            return None
        module = import_module(f"livecube.cli.{_MODULES[cmd_name]}")
        command: click.Command = getattr(module, cmd_name)
        return command


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="livecube")
def _livecube() -> None:
    """Follow a 3×3×3 cube turn by turn, and hear what has become possible."""


def main() -> None:
    """Run the command line; the exit status is 2 for anything that the user can mend.

    It is 1 if the screen cannot be drawn, which is a fault of ours.
    """
    try:
        _livecube.main(prog_name="livecube", standalone_mode=False)
    except LivecubeError as error:
        click.echo(f"livecube: {error}", err=True)
        sys.exit(1 if isinstance(error, DrawingError) else 2)
    except click.ClickException as error:
        error.show()
        sys.exit(2)
    except (KeyboardInterrupt, click.Abort):
        sys.exit(130)
    except BrokenPipeError:
        # Whoever read our output has left; keep Python from complaining once more at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(141)
