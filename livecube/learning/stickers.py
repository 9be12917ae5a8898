"""Positions sent as stickers: the facelet of each field, and the number of each colour."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from livecube.cube.geometry import FACES
from livecube.cube.position import stickers
from livecube.learning.bits import labels
from livecube.profiles.fields import Entries
from livecube.profiles.states import StickerCode

if TYPE_CHECKING:
    from livecube.cube.geometry import Array
    from livecube.learning.bits import Bits, Ints

__all__ = ["FoundStickers", "find_stickers", "shown_colours", "shown_facelets"]

_WIDTHS: Final = (3, 4, 8)
_CENTRES: Final = frozenset(range(4, 54, 9))


class FoundStickers(NamedTuple):
    """A row of stickers."""

    rows: tuple[Entries]
    code: StickerCode


def shown_colours(positions: Array) -> Ints:
    """The face whose colour each facelet shows, shape (…, 54)."""
    places = stickers(positions)
    shown = np.zeros(places.shape, dtype=np.int64)
    np.put_along_axis(
        shown, places.astype(np.intp), np.broadcast_to(np.arange(54) // 9, places.shape), axis=-1
    )
    return shown


def shown_facelets(positions: Array) -> Ints:
    """The same without the centres, shape (…, 48)."""
    return shown_colours(positions)[..., [f for f in range(54) if f not in _CENTRES]]


def find_stickers(bits: Bits, positions: Array) -> FoundStickers | None:
    """The row of fields that shows the positions of the packets."""
    shown = shown_colours(positions)
    facelet_of = {labels(shown[:, f]): f for f in range(54) if f not in _CENTRES}
    if len(facelet_of) < 48:
        return None  # too few positions to distinguish all facelets
    for width in _WIDTHS:
        starts = range(bits.size - width + 1)
        facelets = {start: facelet_of.get(bits.labels(start, width)) for start in starts}
        if sum(facelet is not None for facelet in facelets.values()) < 48:
            continue
        seen = {start: bits.read(start, width) for start in starts}
        for count in (54, 48):
            for start, stride in _chains(facelets, width, count):
                row = Entries(bits.field(start, width), count, stride)
                found = _code(row, facelets, seen, shown)
                if found is not None:
                    return found
    return None


def _chains(facelets: dict[int, int | None], width: int, count: int) -> list[tuple[int, int]]:
    """Starts and strides of rows of ``count`` fields, 48 of which show a facelet each."""
    chains = []
    for stride in range(width, width + 6):
        for start in facelets:
            if start + (count - 1) * stride not in facelets:
                break
            row = [facelets[start + k * stride] for k in range(count)]
            if row.count(None) == count - 48:
                chains.append((start, stride))
    return chains


def _code(
    row: Entries, facelets: dict[int, int | None], seen: dict[int, Ints], shown: Ints
) -> FoundStickers | None:
    numbers: dict[int, int] = {}  # colour → number
    for field in row.fields:
        facelet = facelets[field.start]
        if facelet is not None:
            for colour, number in zip(shown[:, facelet], seen[field.start], strict=True):
                if numbers.setdefault(int(colour), int(number)) != number:
                    return None
    if len(set(numbers.values())) < len(FACES):
        return None
    colours = {number: colour for colour, number in numbers.items()}
    order = []
    for field in row.fields:
        facelet = facelets[field.start]
        if facelet is None:  # a centre: always the colour of its face
            values = set(seen[field.start].tolist())
            colour = colours.get(values.pop()) if len(values) == 1 else None
            if colour is None:
                return None
            facelet = 9 * colour + 4
        order.append(facelet)
    if len(set(order)) < len(order):
        return None
    return FoundStickers((row,), StickerCode(tuple(order), tuple(numbers[c] for c in range(6))))
