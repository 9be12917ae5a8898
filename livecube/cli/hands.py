"""``livecube hands``: the model of the hands, as a file to start one's own from or as a table."""

from __future__ import annotations

import json

import click

from livecube.edges.automaton_file import automaton_schema_text, load_hands, usual_hands_text
from livecube.edges.saying import screen_width
from livecube.errors import UsageError
from livecube.hands.automaton import MOVES, NEVER, Automaton

__all__ = ["hands"]


@click.command()
@click.option("--schema", is_flag=True, help="Print the JSON Schema of such a file instead.")
@click.option("--table", is_flag=True, help="The price of each move in each state of the hands.")
@click.option("--json", "as_json", is_flag=True, help="With --table: as JSON.")
@click.option(
    "--hands",
    "name_or_path",
    default="right",
    metavar="right|left|FILE",
    help="With --table: which hands (default: right).",
)
def hands(schema: bool, table: bool, as_json: bool, name_or_path: str) -> None:
    """Print the usual prices of moves and looks; change a copy, and give it to --hands."""
    if table:
        automaton = load_hands(name_or_path)
        width = screen_width()
        text = json.dumps(automaton.to_json()) if as_json else _table_text(automaton, width)
        click.echo(text)
    elif as_json:
        raise UsageError("--json goes with --table")
    else:
        click.echo(automaton_schema_text() if schema else usual_hands_text(), nl=False)


def _table_text(automaton: Automaton, width: int | None) -> str:
    """One line a state, in milliseconds; a dot is a move that is never written there.

    On a narrow terminal as many moves beside one another as fit.
    """
    many = len(MOVES) if width is None else max(3, (width - 14) // 5 // 3 * 3)
    parts = []
    for first in range(0, len(MOVES), many):
        moves = slice(first, first + many)
        head = "milliseconds".ljust(14) + "".join(str(move).rjust(5) for move in MOVES[moves])
        rows = [
            name.ljust(14) + "".join("    ." if ms >= NEVER else f"{ms:5}" for ms in row[moves])
            for name, row in zip(automaton.state_names, automaton.seconds_ms.tolist(), strict=True)
        ]
        parts.append("\n".join([head, *rows]))
    return "\n\n".join(parts)
