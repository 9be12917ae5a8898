"""The unfolded cube in letters, which colours only repeat."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from rich.text import Text

from livecube.cube.facelets import facelets_text
from livecube.cube.geometry import FACES, ROTATIONS
from livecube.cube.holding import COLOURS, HOLDINGS

if TYPE_CHECKING:
    from collections.abc import Collection

    from livecube.cube.geometry import Array
    from livecube.cube.holding import Holding

__all__ = ["held_picture", "position_picture"]

_STYLES: Final = {
    "white": "black on bright_white",
    "orange": "black on dark_orange",
    "green": "black on green3",
    "red": "bright_white on red3",
    "blue": "bright_white on blue3",
    "yellow": "black on bright_yellow",
}


def position_picture(position: bytes) -> list[Text]:
    """The unfolded cube, nine lines of colour initials: U above, L F R B in a row, D below."""
    return _unfolded(facelets_text(np.frombuffer(position, dtype=np.uint8)))


def held_picture(position: Array, holding: Holding, marked: Collection[int] = ()) -> list[Text]:
    """The same as it is held, some facelets (numbered in the hands) in square brackets."""
    letters = facelets_text(position)
    to_fixed = ROTATIONS[HOLDINGS.index(holding)].tolist()
    return _unfolded("".join(letters[facelet] for facelet in to_fixed), marked)


def _unfolded(letters: str, marked: Collection[int] = ()) -> list[Text]:
    def row(face: str, number: int) -> Text:
        start = 9 * FACES.index(face) + 3 * number
        text = Text()
        for facelet in range(start, start + 3):
            colour = COLOURS[FACES.index(letters[facelet])]
            left, right = "[]" if facelet in marked else "  "
            text.append(f"{left}{colour[0].upper()}{right}", _STYLES[colour])
        return text

    margin = Text(" " * 10)
    middle = [Text(" ").join(row(face, n) for face in "LFRB") for n in range(3)]
    return [
        *(margin + row("U", n) for n in range(3)),
        *middle,
        *(margin + row("D", n) for n in range(3)),
    ]
