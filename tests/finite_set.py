"""All answers with the cross whole at offset 0, by meeting in the middle; no program code.

What ``shortest`` and ``plain`` answer then depends only on the set S of solved slots and on
where the target's two pieces are; by rotation the target is the slot at the front right. So
the questions are finitely many, and here each is answered with all of its sequences.

A sequence A B leads home just if A takes the pieces where B, undone, takes solved ones. So
all canonical A and all canonical B of given lengths are written out and matched by where
they take the pieces that matter; no distance is ever known or used.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import numpy.typing as npt
from referee_cube import FACELETS, FACES, OPPOSITE, TURNS, facelet

if TYPE_CHECKING:
    from collections.abc import Iterator

__all__ = ["HALF", "SLOTS", "Key", "Question", "keys", "question"]

HALF: Final = 5
"""Turns in the longest half; what needs more than two halves is not found."""

SLOTS: Final = ("FR", "BR", "BL", "FL")
NAMES: Final = list(TURNS)
CORNERS: Final = [i for i, (point, _) in enumerate(FACELETS) if sum(map(abs, point)) == 3]
EDGES: Final = [i for i, (point, _) in enumerate(FACELETS) if sum(map(abs, point)) == 2]
CROSS: Final = [facelet(name) for name in ("DF", "DR", "DB", "DL")]

Numbers = npt.NDArray[Any]


@dataclass(frozen=True)
class Key:
    """One question: S as numbers of slots (never 0), facelets of the target's two pieces."""

    kept: tuple[int, ...]
    corner: int
    edge: int


def keys() -> Iterator[Key]:
    """Every key: the target's pieces at all places that the cross and S leave, but not home."""
    for bits in range(8):
        kept = tuple(slot for slot in (1, 2, 3) if bits >> (slot - 1) & 1)
        corners = {FACELETS[facelet("D" + SLOTS[slot])][0] for slot in kept}
        edges = {FACELETS[facelet(SLOTS[slot])][0] for slot in kept}
        edges |= {FACELETS[place][0] for place in CROSS}
        for corner in CORNERS:
            for edge in EDGES:
                home = (corner, edge) == (facelet("D" + SLOTS[0]), facelet(SLOTS[0]))
                apart = FACELETS[corner][0] not in corners and FACELETS[edge][0] not in edges
                if apart and not home:
                    yield Key(kept, corner, edge)


@dataclass(frozen=True)
class Walks:
    """All canonical sequences of one length, and where each takes the 48 facelets that move."""

    turns: Numbers
    """Shape (n, length): places in ``NAMES``."""
    corners: Numbers
    """Shape (n, 24): by place in ``CORNERS`` the place in it where that one goes."""
    edges: Numbers

    def undone(self) -> Walks:
        """The same sequences, but where each brings the facelets from."""
        return Walks(self.turns, _inverse(self.corners), _inverse(self.edges))


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
"""By the turn before: whether a turn merges with nothing and is in the one order."""


def _table(name: str, places: list[int]) -> Numbers:
    return np.array([places.index(TURNS[name][place]) for place in places], dtype=np.uint8)


@cache
def walks(faces: str, length: int) -> Walks:
    """All sequences of ``length`` turns of ``faces``, none of which merge, in the one order."""
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


def _with(codes: Numbers, maps: Numbers, place: int) -> Numbers:
    """Codes with one more piece: where it goes that starts at ``place``."""
    result: Numbers = codes * 24 + maps[:, place]
    return result


@dataclass(frozen=True)
class Halves:
    """For S and a length: the first halves, and the second ones in the order of their codes.

    A code is the places of cross, S and target as one number, at most 24¹² < 2⁶⁴.
    """

    first: Walks
    first_codes: Numbers
    """Of cross and S alone."""
    second: Walks
    second_codes: Numbers


class Question:
    """Everything that is asked about one S with one set of faces."""

    def __init__(self, kept: tuple[int, ...], faces: str) -> None:
        self.faces = faces
        self._corners = [CORNERS.index(facelet("D" + SLOTS[slot])) for slot in kept]
        self._edges = [EDGES.index(place) for place in CROSS]
        self._edges += [EDGES.index(facelet(SLOTS[slot])) for slot in kept]
        self._halves: dict[int, Halves] = {}

    def _kept(self, some: Walks) -> Numbers:
        codes = np.zeros(len(some.turns), dtype=np.uint64)
        for place in self._corners:
            codes = _with(codes, some.corners, place)
        for place in self._edges:
            codes = _with(codes, some.edges, place)
        return codes

    def _target(self, codes: Numbers, some: Walks, corner: int, edge: int) -> Numbers:
        codes = _with(codes, some.corners, CORNERS.index(corner))
        return _with(codes, some.edges, EDGES.index(edge))

    def _of(self, length: int) -> Halves:
        if length not in self._halves:
            back = min(length, HALF)
            first, second = walks(self.faces, length - back), undone_walks(self.faces, back)
            codes, ends = self._kept(first), self._kept(second)
            # Only halves that agree about cross and S can ever meet.
            rows, others = (
                np.flatnonzero(np.isin(a, b)) for a, b in ((codes, ends), (ends, codes))
            )
            first, second = _chosen(first, rows), _chosen(second, others)
            ends = self._target(ends[others], second, facelet("D" + SLOTS[0]), facelet(SLOTS[0]))
            order = np.argsort(ends, kind="stable")
            self._halves[length] = Halves(first, codes[rows], _chosen(second, order), ends[order])
        return self._halves[length]

    def sequences(self, key: Key, length: int) -> list[tuple[str, ...]]:
        """All sequences of ``length`` turns that lead home, also those that were there sooner."""
        assert length <= 2 * HALF
        halves = self._of(length)
        codes = self._target(halves.first_codes, halves.first, key.corner, key.edge)
        low = np.searchsorted(halves.second_codes, codes, side="left")
        high = np.searchsorted(halves.second_codes, codes, side="right")
        many = high - low
        rows = np.repeat(np.arange(len(codes)), many)
        others = np.repeat(low - np.cumsum(many) + many, many) + np.arange(many.sum())
        ahead, behind = halves.first.turns[rows], halves.second.turns[others]
        if ahead.shape[1]:
            fits = FOLLOWS[ahead[:, -1], behind[:, 0]]
            ahead, behind = ahead[fits], behind[fits]
        found = np.hstack([ahead, behind]).tolist()
        return [tuple(NAMES[turn] for turn in turns) for turns in found]

    def answer(self, key: Key) -> tuple[list[tuple[str, ...]], list[tuple[str, ...]]]:
        """All shortest sequences, and those one turn longer of which no shortest is a part.

        Both empty if there is none within the reach.
        """
        for length in range(1, 2 * HALF):
            if shortest := self.sequences(key, length):
                known = set(shortest)
                longer = self.sequences(key, length + 1)
                return shortest, [turns for turns in longer if turns[:-1] not in known]
        return [], []


def _chosen(some: Walks, rows: Numbers) -> Walks:
    return Walks(some.turns[rows], some.corners[rows], some.edges[rows])


@cache
def question(kept: tuple[int, ...], faces: str) -> Question:
    """The question for S and some faces, with what it has worked out so far."""
    return Question(kept, faces)
