"""A page of the manual, laid out for a terminal."""

from __future__ import annotations

import re
from io import StringIO
from typing import TYPE_CHECKING, Final

from rich.console import Console
from rich.markdown import Markdown

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

__all__ = ["laid_out", "list_lines"]


_LINK: Final = re.compile(r"\[([^]]+)\]\(([^)\s]+)\)")


def laid_out(
    markdown: str, width: int, pages: Mapping[str, str] | None = None, *, colours: bool = True
) -> str:
    """Markdown as lines of this width, for a pager.

    ``pages``: names of pages by the links to them. A pager cannot follow links, so such a link is
    shown as the command that shows the page. Other links show their addresses.
    """
    out = StringIO()
    console = Console(
        file=out,
        width=width,
        force_terminal=colours,
        no_color=not colours or None,
        legacy_windows=False,
    )
    console.print(Markdown(_with_commands(markdown, pages or {}), hyperlinks=False))
    return "".join(line.rstrip(" ") + "\n" for line in out.getvalue().splitlines())


def _with_commands(markdown: str, pages: Mapping[str, str]) -> str:
    def command(found: re.Match[str]) -> str:
        text, link = found.groups()
        return f"{text} (`livecube guide {pages[link]}`)" if link in pages else found[0]

    return _LINK.sub(command, markdown)


def list_lines(named: Iterable[tuple[str, str]]) -> list[str]:
    """Names and summaries in two columns; without the marks of Markdown."""
    rows = list(named)
    widest = max(len(name) for name, _ in rows)
    return [f"{name:<{widest}}  {summary.replace('`', '')}" for name, summary in rows]
