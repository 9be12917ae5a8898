"""An inspection as text: crosses and X-crosses in one table, and the pieces to track."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from rich.table import Table
from rich.text import Text

from livecube.cube.notation import moves_text
from livecube.techniques.base import about, within
from livecube.views.lines import table_lines

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.advice.inspection import Inspection
    from livecube.advice.rows import Opportunity
    from livecube.advice.tracking import Sighting, Track

__all__ = ["comparison_lines", "inspection_blocks"]

_COLUMNS: Final = ("held", "s", "turns", "into")


def comparison_lines(inspections: Sequence[Inspection]) -> list[Text]:
    """Several cross colours side by side: turns and seconds of the best rows of each."""
    kinds = inspections[0].techniques
    table = [["", "cross", *(within(about(kind).title) for kind in kinds)]]
    for inspection in inspections:
        best = [inspection.crosses[:1]]
        best += [tuple(row for row, _ in inspection.rows(kind)[:1]) for kind in kinds]
        cells = [f"{rows[0].turns:2d}  {rows[0].seconds:.2f} s" if rows else "–" for rows in best]
        table.append([inspection.cross, *cells])
    return [Text(line) for line in table_lines(table)]


def inspection_blocks(inspection: Inspection, most: int | None) -> list[Text | Table]:
    """Everything about one cross colour, at most ``most`` rows of each kind (None: all).

    They need at least 80 columns.
    """
    blocks: list[Text | Table] = [Text(_headline(inspection), "bold")]
    if inspection.crosses:
        blocks.append(_table(inspection, most))
    for one in inspection.tracks:
        if not one.row.silenced:
            blocks += [Text(), *_track_lines(one)]
    return blocks


def _headline(inspection: Inspection) -> str:
    if not inspection.crosses:
        return f"{inspection.cross} cross: whole already; livecube hints says what may follow"
    turns = "1 turn" if inspection.cross_turns == 1 else f"{inspection.cross_turns} turns"
    text = f"{inspection.cross} cross: {turns}"
    rows = [row for row in inspection.opportunities if len(row.slots) == 1 and not row.silenced]
    if rows:
        more = rows[0].seconds - inspection.crosses[0].seconds
        text += f"; with a pair {abs(more):.2f} s {'more' if more >= 0 else 'less'}"
    return text


def _table(inspection: Inspection, most: int | None) -> Table:
    table = Table(box=None, padding=(0, 2, 0, 0), show_header=False)
    table.add_column(overflow="fold")
    for title in _COLUMNS:
        table.add_column(justify="right" if title in ("s", "turns") else "left", no_wrap=True)
    _add_rows(table, "cross", [(row, None) for row in inspection.crosses], most)
    for technique in inspection.techniques:
        _add_rows(table, within(about(technique).title), inspection.rows(technique), most)
    return table


def _add_rows(
    table: Table, title: str, rows: Sequence[tuple[Opportunity, int | None]], most: int | None
) -> None:
    """A line with the title, the first rows, and how many more there are."""
    if not rows:
        return
    into = "into" if rows[0][0].slots else ""
    table.add_row(Text(title, "dim"), *(Text(name, "dim") for name in (*_COLUMNS[:3], into)))
    for row, first in rows[:most]:
        table.add_row(
            Text(_moves(row, first), "bold"),
            f"{row.holding.front} front",
            f"{row.seconds:.2f}",
            str(row.turns),
            "\n".join(row.slots),
        )
    if most is not None and len(rows) > most:
        table.add_row(Text(f"… and {len(rows) - most} more; --all shows them", "dim"))


def _moves(row: Opportunity, first: int | None) -> str:
    """The moves; the moves of a pseudo pair are on a second line."""
    if first is None:
        return moves_text(row.moves)
    return f"{moves_text(row.moves[:first])}\n  {moves_text(row.moves[first:])}"


def _track_lines(one: Track) -> list[Text]:
    """One line for each new place of a piece."""
    slots = " and ".join(one.row.slots)
    title = within(one.row.title)
    lines = [Text(f"To track for the first {title}, into {slots}, with {one.row.holding}:")]
    labels = [_label(seen) for seen in one.sightings]
    names = [_name(one, seen) for seen in one.sightings]
    left, middle = max(map(len, labels)), max(map(len, names))
    before = None
    for label, name, seen in zip(labels, names, one.sightings, strict=True):
        shown = label if label != before else ""
        before = label
        lines.append(Text(f"  {shown:<{left}}  {name:<{middle}}  {seen.where}"))
    return lines


def _label(seen: Sighting) -> str:
    return "start" if seen.move is None else f"{seen.after:2d}. {seen.move}"


def _name(one: Track, seen: Sighting) -> str:
    """The name of a piece; with its slot if the row fills two slots."""
    return seen.piece if len(one.row.slots) == 1 else f"{seen.slot} {seen.piece}"
