"""``livecube simulate``: write logs of virtual solves."""

from __future__ import annotations

from pathlib import Path

import click

from livecube.cube.holding import COLOURS, parse_colour
from livecube.cube.position import turns_text
from livecube.edges.log_files import new_file
from livecube.edges.saying import say
from livecube.logs.lines import Header, event_line, header_line

__all__ = ["simulate"]

_STARTED = "2026-03-01T18:20:00Z"
"""Invented start of all simulated logs, so that the same seed writes the same bytes."""


@click.command()
@click.argument("log", type=click.Path(path_type=Path))
@click.option("--seed", required=True, type=click.IntRange(0), help="Same seed, same log.")
@click.option("--solves", default=1, show_default=True, type=click.IntRange(1, 10_000))
@click.option("--cross", type=click.Choice(COLOURS), help="Cross colour; any by default.")
@click.option("--scrambled", is_flag=True, help="Start in the first scramble's position.")
@click.option("--marks/--no-marks", default=True, help="With or without marks of the solves.")
def simulate(
    log: Path, seed: int, solves: int, cross: str | None, scrambled: bool, marks: bool
) -> None:
    """Write a LOG of virtual solves, with human speed, pauses and mistakes."""
    from livecube.virtual.session import session

    face = parse_colour(cross) if cross else None
    done = session(seed, solves, cross=face, on_cube=not scrambled)
    scramble = turns_text(done.scramble) if scrambled else None
    header = Header(_STARTED, "simulation", "cube", scramble)
    lines = [header_line(header), *map(event_line, done.events(marks=marks))]
    with new_file(log) as file:
        file.write("\n".join(lines) + "\n")
    say(f"{log}: {solves} solve{'s' if solves > 1 else ''}, {len(done.turns)} turns")
