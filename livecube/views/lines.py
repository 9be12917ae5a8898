"""Lines of text that fit a terminal of any width; words and numbers are never cut.

The width None means a file or a pipe, which takes lines of any length.
"""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

__all__ = ["counted", "folded", "table_lines", "table_rows"]

_BETWEEN_COLUMNS = "  "


def counted(number: int, noun: str) -> str:
    """*1 solve*, *2 solves*."""
    return f"{number} {noun}{'s' if number != 1 else ''}"


def folded(lines: Iterable[str], width: int | None, deeper: int = 2) -> list[str]:
    """Lines folded at blanks; continued lines are indented by ``deeper`` more columns.

    A word that is wider than the terminal is not cut.
    """
    if width is None:
        return [*lines]
    told = []
    for line in lines:
        if len(line) <= width:
            told.append(line)
            continue
        indent = " " * (len(line) - len(line.lstrip()))
        told += _wrapped(line.strip(), width, indent, indent + " " * deeper)
    return told


def _wrapped(text: str, width: int, first: str = "", later: str = "") -> list[str]:
    return textwrap.wrap(
        text,
        width,
        initial_indent=first,
        subsequent_indent=later,
        break_long_words=False,
        break_on_hyphens=False,
    ) or [""]


def table_lines(
    rows: Sequence[Sequence[str]],
    width: int | None = None,
    spare: Sequence[int] = (),
    *,
    words: bool = False,
    left: Sequence[int] = (0,),
    indent: str = "",
) -> list[str]:
    """All lines of :func:`table_rows`."""
    told = table_rows(rows, width, spare, words=words, left=left, indent=indent)
    return [line for row in told for line in row]


def table_rows(
    rows: Sequence[Sequence[str]],
    width: int | None = None,
    spare: Sequence[int] = (),
    *,
    words: bool = False,
    left: Sequence[int] = (0,),
    indent: str = "",
) -> list[list[str]]:
    """Rows of cells as aligned lines: for each row a list of lines. All rows have as many cells.

    Columns in ``left`` are aligned to the left, the others to the right. If the table is wider
    than ``width``, columns are left out in the order of ``spare``. ``words``: the last column is
    text, aligned to the left, and is folded into the remaining width.
    """
    kept = list(range(len(rows[0])))
    left = (*left, len(kept) - 1) if words else left
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    last = len(widths) - 1
    longest = max((len(word) for row in rows for word in row[last].split()), default=0)
    between = len(_BETWEEN_COLUMNS)

    def taken(columns: Sequence[int], of_last: int) -> int:
        wide = [of_last if words and one == last else widths[one] for one in columns]
        return len(indent) + sum(wide) + between * (len(wide) - 1)

    for column in spare:
        if width is None or taken(kept, min(widths[last], max(longest, _ROOM))) <= width:
            break
        kept.remove(column)
    room = None if width is None else max(longest, width - taken(kept, 0))
    return [_row(row, kept, widths, left, room if words else None, indent) for row in rows]


_ROOM = 20
"""Narrowest readable column of text; a table leaves out other columns to keep it."""


def _row(
    row: Sequence[str],
    kept: Sequence[int],
    widths: Sequence[int],
    left: Sequence[int],
    room: int | None,
    indent: str,
) -> list[str]:
    last = len(widths) - 1
    cells = [
        row[at].ljust(widths[at]) if at in left else row[at].rjust(widths[at])
        for at in kept
        if room is None or at != last
    ]
    start = indent + _BETWEEN_COLUMNS.join(cells)
    if room is None or last not in kept:
        return [start.rstrip()]
    first, *more = _wrapped(row[last], room)
    margin = " " * (len(start) + len(_BETWEEN_COLUMNS))
    return [
        f"{start}{_BETWEEN_COLUMNS}{first}".rstrip(),
        *(f"{margin}{line}" for line in more),
    ]
