"""``livecube write``: recorded solves as people write them."""

from __future__ import annotations

import json
from pathlib import Path

import click

from livecube.cli.options import person_option
from livecube.cli.whose import own_for
from livecube.composition.writing import solves_of_log, written_solves
from livecube.edges.saying import say, screen_width
from livecube.errors import UsageError
from livecube.views.lines import counted
from livecube.views.written import written_json, written_lines

__all__ = ["write"]


@click.command()
@click.argument("log", type=click.Path(path_type=Path))
@click.option("--solve", "wanted", type=click.IntRange(1), help="Only this solve, counted from 1.")
@person_option
@click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")
def write(log: Path, wanted: int | None, person: str | None, as_json: bool) -> None:
    """Write the solves of LOG in the trade's notation, a line a stage.

    The holding is worked out from the turns: rotations, wide turns and slices stand where the
    hands most likely made them. … is a pause; after // come counts and times. The lines can be
    read back: made from white up, green front, they lead to the same position.
    """
    own = own_for(person)
    written = list(enumerate(written_solves(solves_of_log(log), own.habits), start=1))
    if not written:
        raise UsageError(f"{log} holds no solve")
    if wanted is not None and wanted > len(written):
        raise UsageError(
            f"{log} holds {counted(len(written), 'solve')}; --solve {wanted} is too many"
        )
    for number, solve in written:
        if wanted not in (None, number):
            continue
        if as_json:
            click.echo(json.dumps(written_json(solve, number)))
        else:
            say("\n".join([*written_lines(solve, number, screen_width()), ""]))
