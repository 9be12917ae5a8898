"""``livecube completion``: prints a shell's script for completing commands and options."""

from __future__ import annotations

import click
from click.shell_completion import get_completion_class

from livecube.errors import UsageError

__all__ = ["completion"]


@click.command()
@click.argument("shell", type=click.Choice(("bash", "zsh", "fish")))
@click.pass_context
def completion(context: click.Context, shell: str) -> None:
    """Print the script with which SHELL completes commands and options on the tab key."""
    kind = get_completion_class(shell)
    assert kind is not None
    root = context.find_root().command
    try:
        click.echo(kind(root, {}, "livecube", "_LIVECUBE_COMPLETE").source())
    except RuntimeError as error:  # an old bash
        raise UsageError(f"{shell} cannot complete livecube: {error}") from None
