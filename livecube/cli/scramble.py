"""``livecube scramble``: print scrambles."""

from __future__ import annotations

import json

import click
import numpy as np

from livecube.composition.scrambler import load_scrambler
from livecube.cube.facelets import facelets_text
from livecube.cube.turns import turns_text

__all__ = ["scramble"]


@click.command()
@click.option("--count", default=1, show_default=True, type=click.IntRange(1, 100_000))
@click.option("--seed", type=click.IntRange(0), help="Same seed, same scrambles.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
def scramble(count: int, seed: int | None, as_json: bool) -> None:
    """Print scrambles: random states, each equally probable, in at most 22 turns.

    They are turned on a solved cube with white up and green in front.
    """
    scrambler = load_scrambler(seed)
    for _ in range(count):
        path = scrambler.new()
        turns = turns_text(path.turns)
        if as_json:
            facelets = facelets_text(np.frombuffer(path.target, dtype=np.uint8))
            one = {"scramble": turns, "turns": len(path.turns), "facelets": facelets}
            click.echo(json.dumps(one))
        else:
            click.echo(turns)
