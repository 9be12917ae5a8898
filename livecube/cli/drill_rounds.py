"""``livecube drill fingers`` and ``livecube drill beat``: rounds of turning, timed by the cube."""

from __future__ import annotations

import sys
import time
from contextlib import ExitStack
from typing import TYPE_CHECKING, Final

import click
from rich.console import Console

from livecube.cli.drill_options import drilling_options
from livecube.cli.options import a_number
from livecube.cli.scramble import scrambler_with_progress
from livecube.composition.again import TryPart

if TYPE_CHECKING:
    from livecube.cli.drill_options import Drilling
    from livecube.composition.scrambler import Scrambler
    from livecube.drills.beat import BeatSession
    from livecube.edges.sinks import Item
    from livecube.lessons.course import CourseNews

__all__ = ["beat", "fingers"]

_MOST_ROUNDS: Final = 12
"""Most rounds: small muscles tire, so more rounds are for another day."""


@click.command()
@click.option(
    "--rounds",
    default=6,
    show_default=True,
    type=click.IntRange(1, _MOST_ROUNDS),
    help="Rounds of eight turns: left, right, both alternating, and so on.",
)
@drilling_options
def fingers(rounds: int, drilling: Drilling) -> None:
    """Train your ring fingers: short rounds of D and D'.

    The cube's clock measures speed and evenness. Hold the layer down; the first turn chooses the
    layer. Rest between the rounds as long as you like, keep your grip loose, and stop if anything
    hurts or tingles.
    """
    from livecube.drills.fingers import FingerDrill, FingersOver
    from livecube.drills.screen import FingerScreen
    from livecube.drills.text import CAUTION, drill_json
    from livecube.edges.sinks import Board

    with ExitStack() as stack:
        keeper = drilling.keeper(stack)

        def told(news: CourseNews) -> Item:
            if isinstance(news, FingersOver) and keeper is not None:
                keeper.keep_round("fingers", drill_json(news))
            return news

        part = TryPart(
            FingerDrill(rounds),
            None,
            lambda: scrambler_with_progress(None),
            publishing=drilling.publishing,
            as_told=told,
        )
        drilling.run(part, Board(FingerScreen(CAUTION)), keeper, 1)


@click.command()
@click.option(
    "--tempo",
    default=1.0,
    show_default=True,
    type=click.FloatRange(0.2, 4.0),
    callback=a_number,
    help="Turns a second.",
)
@click.option("--silent", is_flag=True, help="No bell; the beat is only shown.")
@drilling_options
def beat(tempo: float, silent: bool, drilling: Drilling) -> None:
    """Solve slowly to a beat: one turn on each beat, without pauses.

    The cube is scrambled as shown. Then the beat begins; start when you like. Afterwards it says
    how many turns missed their beat, and where beats stayed empty.
    """
    from livecube.drills.beat import BeatJudged
    from livecube.drills.screen import BeatScreen
    from livecube.drills.text import drill_json
    from livecube.drills.ticking import BeatSink
    from livecube.edges.sinks import Board
    from livecube.scrambling.states import random_state, seeded_draw, unforeseen_draw

    draw = unforeseen_draw if drilling.seed is None else seeded_draw(drilling.seed)
    board = Board(BeatScreen(f"Solve slowly, {tempo:g} turns a second, without pauses."))
    bell = Console(file=sys.stderr)

    def tick() -> None:
        board.shown = board.shown.after_beat()
        if not silent and bell.is_terminal:
            bell.bell()

    speed = drilling.speed if drilling.simulated else 1.0
    with ExitStack() as stack:
        keeper = drilling.keeper(stack)

        def led(scrambler: Scrambler) -> BeatSession:
            from livecube.drills.beat import BeatSession

            return BeatSession(tempo, random_state(draw), scrambler.to)

        def told(news: CourseNews) -> Item:
            if isinstance(news, BeatJudged) and keeper is not None:
                keeper.keep_round("beat", drill_json(news))
            return news

        part = TryPart(
            led,
            None,
            lambda: scrambler_with_progress(None),
            publishing=drilling.publishing,
            as_told=told,
            sinks=[BeatSink(tick, time.monotonic, speed)],
        )
        drilling.run(part, board, keeper, 1, tempo)
