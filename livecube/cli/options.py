"""What several commands share: options, and loading the advisor with a progress bar."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click
from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn

from livecube.composition.assembly import (
    ADVISOR_STEPS,
    LEVEL_NAMES,
    load_advisor,
    set_level,
)
from livecube.cube.holding import Holding, parse_colour
from livecube.edges.hands_file import load_hands
from livecube.errors import UsageError

if TYPE_CHECKING:
    from livecube.advice.advisor import Advisor

__all__ = ["advisor_with_progress", "hands_option", "holding_option", "level_option"]

level_option = click.option(
    "--level",
    type=click.Choice(LEVEL_NAMES),
    default=LEVEL_NAMES[0],
    show_default=True,
    help="How much to speak of: calm, then all keyholes and X-crosses, then pseudo pairs too.",
)

hands_option = click.option(
    "--hands",
    "hands_file",
    type=click.Path(path_type=Path),
    help="Your own seconds for moves, in a file; livecube hands prints one to begin from.",
)


def holding_option(up: str | None, front: str | None) -> Holding | None:
    """The holding that ``--up`` and ``--front`` name; None if neither is given.

    Raises :class:`~livecube.errors.UsageError` if only one is, or if they do not touch.
    """
    if up is None and front is None:
        return None
    if up is None or front is None:
        raise UsageError("--up and --front go together; give both or neither")
    try:
        return Holding.of(parse_colour(up), parse_colour(front))
    except ValueError as error:
        raise UsageError(str(error)) from None


def advisor_with_progress(level: str = LEVEL_NAMES[0], hands_file: Path | None = None) -> Advisor:
    """Load the advisor; on a first start, which takes seconds, with a bar on standard error.

    Raises :class:`~livecube.errors.UsageError` if there is a file of hands that is wrong.
    """
    hands = None if hands_file is None else load_hands(hands_file)
    bar = Progress(
        TextColumn("preparing the search, once for this machine"),
        BarColumn(),
        console=Console(stderr=True),
        transient=True,
    )
    task = bar.add_task("", total=ADVISOR_STEPS)

    def step(steps: int) -> None:
        if steps == 1 and not bar.live.is_started:
            bar.start()
        bar.advance(task, steps)

    try:
        advisor = load_advisor(step, hands)
        set_level(advisor, level)
        return advisor
    finally:
        bar.stop()
