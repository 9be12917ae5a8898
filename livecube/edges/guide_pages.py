"""The pages of the manual and of the formats, and the formats' schemas, as they ship.

Two indexes list them, a line each, in the order in which they are shown: ``guide/README.md`` and
``formats/README.md``. A page has the name of its file, unless the index gives another.
"""

from __future__ import annotations

import posixpath
import re
from dataclasses import dataclass
from importlib.resources import files
from typing import Final

from livecube.errors import UsageError

__all__ = [
    "Page",
    "guide_pages",
    "page_named",
    "page_text",
    "pages_by_link",
    "schema_names",
    "schema_text",
]

_SUFFIX: Final = ".schema.json"

_INDEXES: Final = ("guide/README.md", "formats/README.md")
_ENTRY: Final = re.compile(r"^- \[([a-z-]+)\]\(([\w./-]+\.md)\): (.+)$", re.MULTILINE)


@dataclass(frozen=True, slots=True)
class Page:
    """A page and its line in the index."""

    name: str
    path: str
    """Path of the Markdown file in the package's folder."""
    summary: str


def guide_pages() -> tuple[Page, ...]:
    """All pages in the order of the indexes."""
    return tuple(page for index in _INDEXES for page in _listed(index))


def _listed(index: str) -> list[Page]:
    folder = posixpath.dirname(index)
    return [
        Page(name, posixpath.normpath(posixpath.join(folder, link)), summary)
        for name, link, summary in _ENTRY.findall(_shipped(index))
    ]


def page_named(name: str) -> Page:
    """The page with this name.

    Raises ``UsageError``, which names the known ones.
    """
    known = {page.name: page for page in guide_pages()}
    if name not in known:
        raise UsageError(f"no page is called {name!r}; there are {', '.join(known)}")
    return known[name]


def pages_by_link(page: Page) -> dict[str, str]:
    """The names of all pages, by the links to them on this page."""
    folder = posixpath.dirname(page.path)
    return {posixpath.relpath(one.path, folder): one.name for one in guide_pages()}


def page_text(page: Page) -> str:
    """Its Markdown."""
    return _shipped(page.path)


def schema_names() -> list[str]:
    """Names of the JSON Schemas beside the pages of the formats."""
    names = (one.name for one in (files("livecube") / "formats").iterdir())
    return sorted(name.removesuffix(_SUFFIX) for name in names if name.endswith(_SUFFIX))


def schema_text(name: str) -> str:
    """The JSON Schema with this name.

    Raises ``UsageError``, which names the known ones.
    """
    known = schema_names()
    if name not in known:
        raise UsageError(f"no schema is called {name!r}; there are {', '.join(known)}")
    return _shipped(f"formats/{name}{_SUFFIX}")


def _shipped(path: str) -> str:
    return (files("livecube") / path).read_text(encoding="utf-8")
