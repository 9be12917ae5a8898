"""A position as SVG: the unfolded cube, each sticker with its colour's initial."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING, Final

from livecube.cube.facelets import facelets_text
from livecube.cube.geometry import FACES
from livecube.cube.holding import COLOURS

if TYPE_CHECKING:
    from livecube.cube.geometry import Array

__all__ = ["position_svg"]

_PITCH: Final = 10
_PLACES: Final = {"U": (3, 0), "L": (0, 3), "F": (3, 3), "R": (6, 3), "B": (9, 3), "D": (3, 6)}
"""Column and row of each face's first sticker."""
_GAP: Final = 3
"""Between faces."""


def position_svg(position: Array, title: str) -> str:
    """The drawing of one position (20 facelets); ``title`` is its text for who does not see it.

    Colours come from the page's style (classes ``sticker white`` and so on).
    """
    letters = facelets_text(position)
    stickers = "".join(
        _sticker(facelet, COLOURS[FACES.index(letter)]) for facelet, letter in enumerate(letters)
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
