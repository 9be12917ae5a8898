"""``livecube scramble``: print scrambles."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import click
import numpy as np

from livecube.cli.bars import late, progress_bar
from livecube.composition.scrambler import SCRAMBLER_STEPS, load_scrambler
from livecube.cube.code import parse_position, position_code
from livecube.cube.notation import facelets_text
from livecube.cube.position import SOLVED_BYTES, turns_text
from livecube.edges.saying import say

if TYPE_CHECKING:
    from livecube.composition.scrambler import Scrambler
    from livecube.scrambling.path import ScramblePath

__all__ = ["scramble", "scrambler_with_progress"]


@click.command()
@click.argument("position", required=False)
@click.option("--count", default=1, show_default=True, type=click.IntRange(1, 100_000))
@click.option("--seed", type=click.IntRange(0), help="Same seed, same scrambles.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
def scramble(position: str | None, count: int, seed: int | None, as_json: bool) -> None:
    """Print scrambles: random states, each equally probable, in at most 22 turns.

    They are turned on a solved cube with white up and green in front. With a POSITION (a code, 54
    facelets, or turns) few turns that lead there are printed instead.
    """
    if position is not None:
        target, _ = parse_position(position)
        scrambler = scrambler_with_progress(seed)
        _say(scrambler.short(SOLVED_BYTES, target.tobytes()), as_json=as_json)
        return
    scrambler = scrambler_with_progress(seed)
    for _ in range(count):
        _say(scrambler.new(), as_json=as_json)


def _say(path: ScramblePath, *, as_json: bool) -> None:
    turns = turns_text(path.turns)
    if not as_json:
        say(turns)
        return
    one = {
        "scramble": turns,
        "turns": len(path.turns),
        "facelets": facelets_text(np.frombuffer(path.target, dtype=np.uint8)),
        "code": position_code(path.target),
    }
    click.echo(json.dumps(one))


def scrambler_with_progress(seed: int | None) -> Scrambler:
    """Load the scrambler; on a first start, which takes seconds, with a bar on standard error."""
    bar = progress_bar("preparing scrambles, once for this machine")
    task = bar.add_task("", total=SCRAMBLER_STEPS)
    with late(bar):
        return load_scrambler(seed, lambda: bar.advance(task))
