"""All answers with the cross whole at offset 0, by meeting in the middle; no program code.

The answer of a technique then depends only on the solved slots, on the places of the target's
pieces and, for a keyhole, on the doors. By rotation the (first) target is the slot at the front
right. So there are finitely many questions (:mod:`finite_keys`), and each is answered with all of
its sequences.

A sequence A B solves the pieces just if A takes them where the inverse of B takes solved ones. So
all canonical A and all canonical B of given lengths are written out, and matched by the places of
the pieces that matter; no distances are known or used.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache
from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np
from finite_walks import FOLLOWS, NAMES, Numbers, Walks, undone_walks, walks
from referee_cube import TURNS
from referee_search import canonical

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from finite_keys import Asked

__all__ = ["HALF", "answer"]

HALF: Final = 5
"""Most turns of the second half."""
REACH: Final = 11
"""Most turns between two turns of the cross layer."""


def turned(place: int, quarters: int) -> int:
    """The facelet to which quarter turns of the cross layer take a facelet."""
    for _ in range(quarters % 4):
        place = TURNS["D"][place]
    return place


def cross_turn(quarters: int) -> tuple[str, ...]:
    """The turn of the cross layer, or none."""
    return ((), ("D",), ("D2",), ("D'",))[quarters % 4]


def _first_equal(among: Numbers, codes: Numbers) -> tuple[Numbers, Numbers]:
    """Which codes are in a sorted array, and the index of the first equal one."""
    at = np.searchsorted(among, codes)
    rows = np.flatnonzero(among[np.minimum(at, len(among) - 1)] == codes)
    return rows, at[rows]


@dataclass(frozen=True)
class Ends:
    """All second halves of one length, undone, in the order of their codes.

    A code is the places of all the pieces that matter as one number, at most 24¹² < 2⁶⁴; those
    of the pieces that stand still, which every key has at the same places, come first in it.
    """

    turns: Numbers
    codes: Numbers
    still: Numbers
    """The parts of the codes for those pieces alone, in the same order."""


@dataclass
class Meeting:
    """All questions about the same pieces with the same faces."""

    still: tuple[int, ...]
    """Homes of the pieces that are solved and must be again."""
    moving: tuple[int, ...]
    """Homes of the pieces that are not."""
    faces: str
    _ends: dict[tuple[int, int], Ends] = field(default_factory=dict)
    _starts: dict[tuple[int, int, int], tuple[Walks, Numbers]] = field(default_factory=dict)

    def _codes(self, some: Walks, offset: int) -> Numbers:
        codes = np.zeros(len(some.turns), dtype=np.uint64)
        for home in self.still:
            codes = some.with_piece(codes, turned(home, offset))
        return codes

    def _behind(self, after: int, length: int) -> Ends:
        if (after, length) not in self._ends:
            second = undone_walks(self.faces, length)
            codes = self._codes(second, after)
            for home in self.moving:
                codes = second.with_piece(codes, turned(home, after))
            order = np.argsort(codes)
            still = codes[order] // np.uint64(24 ** len(self.moving))
            self._ends[after, length] = Ends(second.turns[order], codes[order], still)
        return self._ends[after, length]

    def _ahead(self, before: int, after: int, length: int, ends: Ends) -> tuple[Walks, Numbers]:
        """First halves that agree with a second one about the still pieces, and their codes."""
        if (before, after, length) not in self._starts:
            first = walks(self.faces, max(length - HALF, 0))
            codes = self._codes(first, before)
            rows, _ = _first_equal(ends.still, codes)
            self._starts[before, after, length] = first.chosen(rows), codes[rows]
        return self._starts[before, after, length]

    def sequences(
        self, places: Iterable[int], before: int, after: int, length: int
    ) -> list[tuple[str, ...]]:
        """All sequences of ``length`` turns that solve everything up to the offset ``after``.

        They begin with the moving pieces at ``places``, after the cross layer was turned by
        ``before``. Sequences that reach the goal earlier are included.
        """
        assert length <= REACH
        ends = self._behind(after, min(length, HALF))
        first, codes = self._ahead(before, after, length, ends)
        for place in places:
            codes = first.with_piece(codes, turned(place, before))
        hits, low = _first_equal(ends.codes, codes)
        if not len(hits):
            return []
        many = np.searchsorted(ends.codes, codes[hits], side="right") - low
        rows = np.repeat(hits, many)
        others = np.repeat(low - np.cumsum(many) + many, many) + np.arange(many.sum())
        ahead, behind = first.turns[rows], ends.turns[others]
        if ahead.shape[1]:
            fits = FOLLOWS[ahead[:, -1], behind[:, 0]]
            ahead, behind = ahead[fits], behind[fits]
        found = np.hstack([ahead, behind]).tolist()
        return [tuple(NAMES[turn] for turn in turns) for turns in found]


@lru_cache(maxsize=4)
def meeting(still: tuple[int, ...], moving: tuple[int, ...], faces: str) -> Meeting:
    """The questions about these pieces, with their cached results."""
    return Meeting(still, moving, faces)


def _whole(asked: Asked, length: int) -> Iterator[tuple[int, tuple[str, ...], int]]:
    """All solutions of ``length`` turns in total: D^a, X and the offset after X."""
    one = meeting(asked.still, asked.moving, asked.faces)
    for before in asked.before:
        for after in asked.after:
            inner = length - (before != 0) - (after != 0)
            if inner > 0:
                for turns in one.sequences(asked.places, before, after, inner):
                    if not asked.tied or _together(asked.places, turns):
                        yield before, turns, after


def _together(places: tuple[int, ...], turns: Iterable[str]) -> bool:
    """Whether each turn moves either all of these pieces or none."""
    states = [bytes(places)]
    for turn in turns:
        states.append(states[-1].translate(TURNS[turn]))
    return all(len({a == b for a, b in zip(*two, strict=True)}) == 1 for two in pairwise(states))


def answer(asked: Asked) -> list[str]:
    """All shortest sequences, without those that contain a shorter solution.

    A part is a D^a and the beginning of an X that leads home up to any offset that is allowed.
    """
    reached: set[tuple[int, tuple[str, ...]]] = set()
    fresh: list[str] = []
    length = 1
    while not fresh:
        found = list(_whole(asked, length))
        reached |= {(before, turns) for before, turns, _ in found}
        fresh = [
            canonical([*cross_turn(before), *turns, *cross_turn(-after)])
            for before, turns, after in found
            if not any((before, turns[:i]) in reached for i in range(1, len(turns)))
        ]
        length += 1
    return fresh
