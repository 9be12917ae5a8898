"""``livecube guide``: the manual, a page for each task."""

from __future__ import annotations

import shutil
import sys

import click

from livecube.edges.guide_pages import (
    guide_pages,
    page_named,
    page_text,
    pages_by_link,
    schema_text,
)
from livecube.edges.saying import say
from livecube.errors import UsageError

__all__ = ["guide"]

_WIDTH = 100


def _names(context: click.Context, parameter: click.Parameter, begun: str) -> list[str]:
    """Names of pages for the tab key."""
    return [page.name for page in guide_pages() if page.name.startswith(begun)]


@click.command()
@click.argument("page", required=False, shell_complete=_names)
@click.option("--schema", metavar="NAME", help="Print the JSON Schema of a format instead.")
def guide(page: str | None, schema: str | None) -> None:
    """Show a PAGE of the manual; without one, list all pages.

    On a terminal a page is laid out and shown by your pager. In a pipe it is plain text. The
    page formats lists the schemas.
    """
    if schema is not None:
        if page is not None:
            raise UsageError("--schema goes without a page")
        click.echo(schema_text(schema), nl=False)
        return
    from livecube.views.guide import laid_out, list_lines

    if page is None:
        for line in list_lines((one.name, one.summary) for one in guide_pages()):
            say(line)
        say("\nlivecube guide PAGE shows a page.")
        return
    shown = page_named(page)
    text = page_text(shown)
    if not sys.stdout.isatty():
        click.echo(text, nl=False)
        return
    width = min(shutil.get_terminal_size().columns, _WIDTH)  # longer lines are hard to read
    click.echo_via_pager(laid_out(text, width, pages_by_link(shown)))
