"""Tables of plain text."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["table_lines"]

_GAP = "  "


def table_lines(rows: Sequence[Sequence[str]]) -> list[str]:
    """Rows of cells as aligned lines: the first column to the left, the others to the right.

    All rows must have the same number of cells.
    """
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return [
        _GAP.join(
            cell.rjust(width) if column else cell.ljust(width)
            for column, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    ]
