"""The parts of a page of HTML. All text is escaped here."""

from __future__ import annotations

import re
from html import escape
from importlib import resources
from importlib.util import find_spec
from typing import TYPE_CHECKING, Final

from livecube.cube.geometry import FACES
from livecube.cube.holding import COLOURS, SCRAMBLE_HOLDING
from livecube.views.picture import held_letters

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from livecube.cube.geometry import Array
    from livecube.cube.holding import Holding

__all__ = [
    "beside",
    "code_shown",
    "details",
    "figures_list",
    "numbered",
    "page",
    "paragraph",
    "position_svg",
    "section",
    "table",
]

# A position as SVG: the unfolded cube, each sticker with its colour's initial.


_PITCH: Final = 10
_PLACES: Final = {"U": (3, 0), "L": (0, 3), "F": (3, 3), "R": (6, 3), "B": (9, 3), "D": (3, 6)}
"""Column and row of each face's first sticker."""
_GAP: Final = 3
"""Between faces."""


def position_svg(
    position: Array,
    title: str,
    holding: Holding = SCRAMBLE_HOLDING,
    marked: Collection[int] = (),
) -> str:
    """The drawing of one position (20 facelets); ``title`` is its text for screen readers.

    Colours come from the page's style (classes ``sticker white`` and so on); ``marked`` facelets,
    numbered in the hands, are of the class ``marked`` too.
    """
    letters = held_letters(position, holding)
    stickers = "".join(
        _sticker(facelet, COLOURS[FACES.index(letter)] + " marked" * (facelet in marked))
        for facelet, letter in enumerate(letters)
    )
    return (
        f'<svg class="position" viewBox="-1 -1 {12 * _PITCH + 3 * _GAP + 2} '
        f'{9 * _PITCH + 2 * _GAP + 2}" role="img" aria-label="{escape(title)}">{stickers}</svg>'
    )


def _sticker(facelet: int, colour: str) -> str:
    column, row = _PLACES[FACES[facelet // 9]]
    x = _PITCH * (column + facelet % 3) + column // 3 * _GAP
    y = _PITCH * (row + facelet % 9 // 3) + row // 3 * _GAP
    return (
        f'<g class="sticker {colour}"><rect x="{x}" y="{y}" width="9.2" height="9.2" rx="1.6"/>'
        f'<text x="{x + 4.6}" y="{y + 6.8}">{colour[0].upper()}</text></g>'
    )


# A code of a position, with its QR code.


_MARGIN: Final = 4
"""Empty modules around a QR code, by its standard (ISO/IEC 18004)."""


def code_shown(code: str) -> str:
    """The code of a position, and below it as a QR code if segno is installed (``livecube[qr]``).

    It is read as the same text, so it can be scanned where it would be typed.
    """
    drawn = "" if find_spec("segno") is None else _qr_svg(code)
    return paragraph(code, turns=True) + drawn


def _qr_svg(code: str) -> str:
    import segno

    # Nineteen capitals, digits and hyphens just fit the smallest symbol, at the second level of
    # correction, so its modules are as large as they can be.
    rows = segno.make_qr(code, error="m").matrix
    side = len(rows) + 2 * _MARGIN
    spots = "".join(
        f"M{x + _MARGIN} {y + _MARGIN}h1v1h-1z"
        for y, row in enumerate(rows)
        for x, dark in enumerate(row)
        if dark
    )
    return (
        f'<svg class="qr" viewBox="0 0 {side} {side}" role="img" '
        f'aria-label="QR code of {escape(code)}"><rect width="{side}" height="{side}"/>'
        f'<path d="{spots}"/></svg>'
    )


def page(title: str, about: str, sections: Sequence[tuple[str, str, str]]) -> str:
    """A whole page; each section has an id, a heading (text) and a body (HTML)."""
    style = resources.files("livecube.views").joinpath("report.css").read_text("utf-8")
    links = "".join(f'<li><a href="#{key}">{escape(head)}</a></li>' for key, head, _ in sections)
    body = "".join(section(key, head, inner) for key, head, inner in sections)
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        # The page may fetch or run nothing, even if a log or a name contains markup.
        '<meta http-equiv="Content-Security-Policy" '
        "content=\"default-src 'none'; style-src 'unsafe-inline'; img-src data:\">\n"
        f'<link rel="icon" href="data:,">\n<title>{escape(title)}</title>\n'
        f"<style>\n{style}</style>\n</head>\n<body>\n"
        '<a class="skip" href="#content">To the content</a>\n'
        f"<header><h1>{_written(title)}</h1>{paragraph(about, quiet=True)}</header>\n"
        f'<nav aria-label="Sections"><ul>{links}</ul></nav>\n'
        f'<main id="content">\n{body}</main>\n</body>\n</html>\n'
    )


_NAMES: Final = re.compile(r"\w+(?:-\w+)+")
_LONGEST_NAME: Final = 20
"""Longer ones may be wider than a phone."""


def _written(text: str) -> str:
    """Text, escaped; lines never end at the hyphen of a name or a date."""
    return _NAMES.sub(
        lambda found: (
            f'<span class="whole">{found[0]}</span>' if len(found[0]) <= _LONGEST_NAME else found[0]
        ),
        escape(text),
    )


def section(key: str, head: str, inner: str) -> str:
    """A section under a heading of the second level."""
    name = escape(key)
    title = f'<h2 id="{name}">{escape(head)}</h2>'
    return f'<section aria-labelledby="{name}">{title}\n{inner}</section>\n'


def paragraph(text: str, *, quiet: bool = False, turns: bool = False) -> str:
    """A paragraph of text."""
    kind = ' class="quiet"' if quiet else ' class="turns"' if turns else ""
    return f"<p{kind}>{_written(text)}</p>"


def numbered(sentences: Sequence[str]) -> str:
    """A list of sentences, the most important first."""
    return f"<ol>{''.join(f'<li>{_written(one)}</li>' for one in sentences)}</ol>\n"


def table(
    caption: str,
    rows: Sequence[Sequence[str]],
    words: Sequence[int] = (),
    spare: Sequence[int] = (),
) -> str:
    """A table: the first row is its head, the first column names the rows.

    ``words`` are columns of text. Columns in ``spare`` are hidden on narrow pages. If the table is
    still too wide, it can be scrolled, also with the keyboard.
    """
    kinds = [
        " ".join(name for name, of in (("words", words), ("spare", spare)) if at in of)
        for at in range(len(rows[0]))
    ]
    head = "".join(_cell("th", text, kinds[at], "col") for at, text in enumerate(rows[0]))
    body = "".join(
        "<tr>"
        + "".join(
            _cell("td" if at else "th", text, kinds[at], "" if at else "row")
            for at, text in enumerate(row)
        )
        + "</tr>\n"
        for row in rows[1:]
    )
    return (
        f'<div class="scroll" tabindex="0" role="group" aria-label="{escape(caption)}"><table>'
        f"<caption>{escape(caption)}</caption>\n"
        f"<thead><tr>{head}</tr></thead>\n<tbody>{body}</tbody></table></div>\n"
    )


def _cell(tag: str, text: str, kind: str, scope: str) -> str:
    scoped = f' scope="{scope}"' if scope else ""
    named = f' class="{kind}"' if kind else ""
    return f"<{tag}{scoped}{named}>{_written(text)}</{tag}>"


def beside(*parts: str) -> str:
    """Parts side by side if the page is wide enough; empty parts are left out."""
    shown = "".join(f"<div>{part}</div>\n" for part in parts if part)
    return f'<div class="beside">{shown}</div>\n'


def details(summary: str, inner: str) -> str:
    """A block with a summary that is open and can be closed."""
    return f"<details open><summary>{escape(summary)}</summary>{inner}</details>\n"


def figures_list(figures: Sequence[tuple[str, str, str]]) -> str:
    """The most important figures: name, figure, and an addition in small letters."""
    cells = "".join(
        f"<div><dt>{escape(name)}</dt><dd>{escape(figure)}<small>{escape(more)}</small></dd></div>"
        for name, figure, more in figures
    )
    return f'<dl class="figures">{cells}</dl>\n'
