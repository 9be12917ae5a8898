"""The unfolded cube in letters; colours repeat them."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Final

import numpy as np
from rich.segment import Segment
from rich.style import Style
from rich.text import Text

from livecube.advice.pieces import slot_words
from livecube.cube.geometry import FACES, OPPOSITE, ROTATIONS
from livecube.cube.holding import COLOURS, HOLDINGS, SCRAMBLE_HOLDING, Holding, parse_colour
from livecube.cube.notation import facelets_text
from livecube.search.situation import Situation, slot_bits

if TYPE_CHECKING:
    from collections.abc import Collection

    from rich.console import Console, ConsoleOptions, RenderResult

    from livecube.cube.geometry import Array
    from livecube.stages.progress import Turned

__all__ = ["LargePicture", "Picture", "free_slots", "held_letters", "held_picture"]

# The free slots of a position in words.


def free_slots(settled: Turned, holding: Holding | None) -> list[tuple[str, str]]:
    """Names of the slots that are free after a turn, and the places of their two pieces.

    Empty if no cross is followed. Places are named in ``holding``; None: the cross down, with any
    front.
    """
    if settled.cross is None:
        return []
    face = parse_colour(settled.cross)
    if holding is None:
        front = next(f for f in range(6) if f not in (face, OPPOSITE[face]))
        holding = Holding.of(OPPOSITE[face], front)
    situation = Situation.of(np.frombuffer(settled.position, dtype=np.uint8), face)
    return [
        (situation.slot_name(slot), slot_words(situation, slot, holding))
        for slot in slot_bits(situation.free)
    ]


_LARGE_HEIGHT: Final = 27
_LARGE_WIDTH: Final = 70
"""Lines and columns of a terminal that has room for stickers two lines high."""

_MARGIN: Final = 10
"""Columns left of the upper and the lower face."""

_STYLES: Final = {
    "white": "black on bright_white",
    "orange": "black on dark_orange",
    "green": "black on green3",
    "red": "bright_white on red3",
    "blue": "bright_white on blue3",
    "yellow": "black on bright_yellow",
}


class Picture:
    """The unfolded cube, nine lines of colour initials: U above, L F R B in a row, D below.

    ``holding``: how it is held. It is drawn at every turn, so segments are cached.
    """

    def __init__(self, position: bytes, holding: Holding = SCRAMBLE_HOLDING) -> None:
        letters = held_letters(np.frombuffer(position, dtype=np.uint8), holding)
        rows = [_segments(letters[at : at + 3]) for at in range(0, 54, 3)]
        face = {name: rows[3 * at : 3 * at + 3] for at, name in enumerate(FACES)}
        gap, margin = Segment(" "), Segment(" " * _MARGIN)
        middle = zip(*(face[name] for name in "LFRB"), strict=True)
        self.lines: list[list[Segment]] = [
            *([margin, *row] for row in face["U"]),
            *([*one, gap, *two, gap, *three, gap, *four] for one, two, three, four in middle),
            *([margin, *row] for row in face["D"]),
        ]

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Draw it."""
        for line in self.lines:
            yield from line
            yield Segment.line()


def held_letters(position: Array, holding: Holding) -> str:
    """The 54 face letters of the colours of a position, in the order of the hands' facelets."""
    return "".join(map(facelets_text(position).__getitem__, _fixed_facelets(holding)))


@cache
def _fixed_facelets(holding: Holding) -> list[int]:
    """For each facelet in the hands the fixed-frame facelet at that place."""
    facelets: list[int] = ROTATIONS[HOLDINGS.index(holding)].tolist()
    return facelets


@cache
def _segments(letters: str) -> list[Segment]:
    colours = [COLOURS[FACES.index(letter)] for letter in letters]
    return [Segment(f" {c[0].upper()} ", Style.parse(_STYLES[c])) for c in colours]


def held_picture(position: Array, holding: Holding, marked: Collection[int] = ()) -> list[Text]:
    """The unfolded cube in a holding; ``marked`` facelets (numbered in the hands) in brackets."""
    return _unfolded(held_letters(position, holding), marked)


class LargePicture:
    """The unfolded cube in a holding; stickers are two lines high if there is room.

    ``marked`` facelets (numbered in the hands) are in brackets.
    """

    def __init__(self, position: Array, holding: Holding, marked: Collection[int] = ()) -> None:
        self._position = position
        self._holding = holding
        self._marked = marked

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Draw it; small if the terminal is small."""
        small = held_picture(self._position, self._holding, self._marked)
        fits = console.height >= _LARGE_HEIGHT and options.max_width >= _LARGE_WIDTH
        yield from _enlarged(small) if fits else small


_WIDE: Final = {" ": "  ", "[": "[ ", "]": " ]"}
"""What is left and right of a letter becomes twice as wide."""


def _enlarged(small: list[Text]) -> list[Text]:
    """Each sticker twice as wide and high; its letter stays as it is."""
    lines: list[Text] = []
    for line in small:
        letters, empty = Text(), Text()
        for number, letter in enumerate(line.plain):
            style = next((s.style for s in line.spans if s.start <= number < s.end), "")
            wide = _WIDE.get(letter, letter)
            letters.append(wide, style)
            empty.append(" " * len(wide), style)
        lines += [letters, empty]
    return lines


def _unfolded(letters: str, marked: Collection[int] = ()) -> list[Text]:
    def row(face: str, number: int) -> Text:
        start = 9 * FACES.index(face) + 3 * number
        text = Text()
        for facelet in range(start, start + 3):
            colour = COLOURS[FACES.index(letters[facelet])]
            left, right = "[]" if facelet in marked else "  "
            text.append(f"{left}{colour[0].upper()}{right}", _STYLES[colour])
        return text

    margin = Text(" " * _MARGIN)
    middle = [Text(" ").join(row(face, n) for face in "LFRB") for n in range(3)]
    return [
        *(margin + row("U", n) for n in range(3)),
        *middle,
        *(margin + row("D", n) for n in range(3)),
    ]
