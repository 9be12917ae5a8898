"""A page of the manual, laid out for a terminal."""

from __future__ import annotations

from io import StringIO
from typing import TYPE_CHECKING

from rich.console import Console
from rich.markdown import Markdown

if TYPE_CHECKING:
    from collections.abc import Iterable

__all__ = ["laid_out", "list_lines"]


def laid_out(markdown: str, width: int, *, colours: bool = True) -> str:
    """Markdown as lines of this width, for a pager.

    Links show where they lead, since a pager follows none.
    """
    out = StringIO()
    console = Console(
        file=out,
        width=width,
        force_terminal=colours,
        no_color=not colours or None,
        legacy_windows=False,
    )
    console.print(Markdown(markdown, hyperlinks=False))
    return "".join(line.rstrip(" ") + "\n" for line in out.getvalue().splitlines())


def list_lines(named: Iterable[tuple[str, str]]) -> list[str]:
    """Names and summaries in two columns; without the marks of Markdown."""
    rows = list(named)
    widest = max(len(name) for name, _ in rows)
    return [f"{name:<{widest}}  {summary.replace('`', '')}" for name, summary in rows]
