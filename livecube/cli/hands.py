"""``livecube hands``: the model of the hands, as a file to begin one's own from."""

from __future__ import annotations

import click

from livecube.edges.hands_file import default_hands_text, hands_schema_text

__all__ = ["hands"]


@click.command()
@click.option("--schema", is_flag=True, help="The JSON Schema of such a file instead.")
def hands(schema: bool) -> None:
    """Print the usual seconds for moves; change a copy, and give it to --hands."""
    click.echo(hands_schema_text() if schema else default_hands_text(), nl=False)
