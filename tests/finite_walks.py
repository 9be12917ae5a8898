"""All turn sequences of one length, and their effect on every facelet; no program code."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any, Final

import numpy as np
import numpy.typing as npt
from referee_cube import FACELETS, FACES, OPPOSITE, TURNS

__all__ = ["CORNERS", "EDGES", "FOLLOWS", "NAMES", "Numbers", "Walks", "undone_walks", "walks"]

NAMES: Final = list(TURNS)
CORNERS: Final = [i for i, (point, _) in enumerate(FACELETS) if sum(map(abs, point)) == 3]
EDGES: Final = [i for i, (point, _) in enumerate(FACELETS) if sum(map(abs, point)) == 2]

Numbers = npt.NDArray[Any]


@dataclass(frozen=True)
class Walks:
    """All canonical sequences of one length, and their effect on the 48 moving facelets."""

    turns: Numbers
    """Shape (n, length): places in ``NAMES``."""
    corners: Numbers
    """Shape (n, 24): by place in ``CORNERS`` the place in it where that one goes."""
    edges: Numbers

    def undone(self) -> Walks:
        """The same sequences with their inverse effects."""
        return Walks(self.turns, _inverse(self.corners), _inverse(self.edges))

    def chosen(self, rows: Numbers) -> Walks:
        """Some of them."""
        return Walks(self.turns[rows], self.corners[rows], self.edges[rows])

    def with_piece(self, codes: Numbers, place: int) -> Numbers:
        """Codes extended by the piece that starts on the facelet ``place``."""
        if place in CORNERS:
            goes = self.corners[:, CORNERS.index(place)]
        else:
            goes = self.edges[:, EDGES.index(place)]
        result: Numbers = codes * 24 + goes
        return result


def _inverse(maps: Numbers) -> Numbers:
    result = np.empty_like(maps)
    np.put_along_axis(result, maps.astype(np.int64), np.arange(24, dtype=np.uint8)[None], axis=1)
    return result


def _may_follow(turn: int, before: int) -> bool:
    face, last = NAMES[turn][0], NAMES[before][0]
    if OPPOSITE[face] == last:
        return FACES.index(last) < FACES.index(face)
    return face != last


FOLLOWS: Final = np.array([[_may_follow(t, before) for t in range(18)] for before in range(18)])
"""By the turn before: whether a turn does not merge with it and is in canonical order."""


def _table(name: str, places: list[int]) -> Numbers:
    return np.array([places.index(TURNS[name][place]) for place in places], dtype=np.uint8)


@cache
def walks(faces: str, length: int) -> Walks:
    """All sequences of ``length`` turns of ``faces`` without merging turns, in canonical order."""
    if length == 0:
        still = np.arange(24, dtype=np.uint8)[None]
        return Walks(np.empty((1, 0), dtype=np.uint8), still, still)
    shorter = walks(faces, length - 1)
    parts = []
    for turn, name in enumerate(NAMES):
        if name[0] not in faces:
            continue
        rows = np.arange(len(shorter.turns))
        if length > 1:
            rows = np.flatnonzero(FOLLOWS[shorter.turns[:, -1], turn])
        last = np.full((len(rows), 1), turn, dtype=np.uint8)
        parts.append(
            (
                np.hstack([shorter.turns[rows], last]),
                _table(name, CORNERS)[shorter.corners[rows]],
                _table(name, EDGES)[shorter.edges[rows]],
            )
        )
    return Walks(*(np.concatenate(column) for column in zip(*parts, strict=True)))


@cache
def undone_walks(faces: str, length: int) -> Walks:
    """The same, undone."""
    return walks(faces, length).undone()
