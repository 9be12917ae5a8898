"""``livecube scramble``: print scrambles."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import click
import numpy as np

from livecube.cli.bars import late, progress_bar
from livecube.composition.scrambler import SCRAMBLER_STEPS, load_scrambler
from livecube.cube.notation import facelets_text
from livecube.cube.position import turns_text
from livecube.edges.saying import say

if TYPE_CHECKING:
    from livecube.composition.scrambler import Scrambler

__all__ = ["scramble", "scrambler_with_progress"]


@click.command()
@click.option("--count", default=1, show_default=True, type=click.IntRange(1, 100_000))
@click.option("--seed", type=click.IntRange(0), help="Same seed, same scrambles.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
def scramble(count: int, seed: int | None, as_json: bool) -> None:
    """Print scrambles: random states, each equally probable, in at most 22 turns.

    They are turned on a solved cube with white up and green in front.
    """
    scrambler = scrambler_with_progress(seed)
    for _ in range(count):
        path = scrambler.new()
        turns = turns_text(path.turns)
        if as_json:
            facelets = facelets_text(np.frombuffer(path.target, dtype=np.uint8))
            one = {"scramble": turns, "turns": len(path.turns), "facelets": facelets}
            click.echo(json.dumps(one))
        else:
            say(turns)


def scrambler_with_progress(seed: int | None) -> Scrambler:
    """Load the scrambler; on a first start, which takes seconds, with a bar on standard error."""
    bar = progress_bar("preparing scrambles, once for this machine")
    task = bar.add_task("", total=SCRAMBLER_STEPS)
    with late(bar):
        return load_scrambler(seed, lambda: bar.advance(task))
