"""``livecube bench``: measure the figures that the documents promise."""

from __future__ import annotations

import json

import click
from rich.console import Console

__all__ = ["bench"]


@click.command()
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
def bench(as_json: bool) -> None:
    """Measure starts, tracking, advice and memory on this machine; takes about a minute."""
    from livecube.composition.benchmark import Figure, figure_json, measure

    with Console(stderr=True).status("measuring") as status:
        figures = measure(lambda name: status.update(f"measuring: {name}"))

    def text(figure: Figure) -> str:
        value = figure.value
        parts = {"": value} if isinstance(value, float) else value
        return "  ".join(f"{key} {number:,.2f}".strip() for key, number in parts.items())

    for figure in figures:
        if as_json:
            click.echo(json.dumps(figure_json(figure)))
        else:
            shown = f"{figure.name:<32} {text(figure):>14} {figure.unit:<8}"
            click.echo(f"{shown} (promised: {figure.promise})")
