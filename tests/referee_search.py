"""The referee's searches: every sequence that a constraint allows, tried in full.

Forwards from the position it tries all turn sequences, backwards from the goal all states, breadth
first. It searches for the given cross colour, without mirroring, reducing or storing anything.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache
from typing import TYPE_CHECKING, ClassVar

from referee_cube import FACES, OPPOSITE, TURNS_OF

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

__all__ = ["Glue", "Goal", "canonical", "goal"]


def canonical(turns: Iterable[str]) -> str:
    """The sequence with neighbouring turns of opposite faces in the order of ``FACES``."""
    result = list(turns)
    for i in range(len(result) - 1):
        first, second = result[i][0], result[i + 1][0]
        if second == OPPOSITE[first] and FACES.index(second) < FACES.index(first):
            result[i], result[i + 1] = result[i + 1], result[i]
    return " ".join(result)


Glue = tuple[int, int] | None
"""Two places in a state; a turn must move both of their pieces or neither."""


def _holds(glue: tuple[int, int], old: bytes, new: bytes) -> bool:
    i, j = glue
    return (old[i] == new[i]) == (old[j] == new[j])


@dataclass
class Goal:
    """States to be reached with the turns of ``faces``.

    Neighbouring turns of opposite faces come in the order of ``faces``.
    """

    states: frozenset[bytes]
    faces: str
    glue: Glue
    near: dict[bytes, int] = field(default_factory=dict)
    """The distance of every state that is at most ``depth`` turns from a goal."""
    depth: int = 0
    _border: list[bytes] = field(default_factory=list)

    DEEPEST: ClassVar = 4

    def __post_init__(self) -> None:
        self.near |= dict.fromkeys(self.states, 0)
        self._border += self.states

    def explore(self, depth: int) -> None:
        """Continue breadth first to this depth."""
        while self.depth < depth:
            border = []
            for old in self._border:
                for face in self.faces:
                    for _, turn in TURNS_OF[face]:
                        new = old.translate(turn)
                        if new not in self.near and (
                            self.glue is None or _holds(self.glue, old, new)
                        ):
                            self.near[new] = self.depth + 1
                            border.append(new)
            self._border = border
            self.depth += 1

    def sequences(self, start: bytes, length: int) -> Iterator[tuple[str, ...]]:
        """All sequences that reach a goal after exactly ``length`` turns, and not earlier."""
        self.explore(min(self.DEEPEST, (length + 1) // 2))
        return self._walk(start, length, "", ())

    def _may_follow(self, face: str, last: str) -> bool:
        """Whether ``face`` after ``last`` does not merge with it and is in canonical order."""
        if OPPOSITE[face] == last:
            return self.faces.index(last) < self.faces.index(face)
        return face != last

    def _walk(
        self, state: bytes, left: int, last: str, done: tuple[str, ...]
    ) -> Iterator[tuple[str, ...]]:
        if left == 0:
            if state in self.states:
                yield done
            return
        if state in self.states or (left <= self.depth and self.near.get(state, 99) > left):
            return
        for face in self.faces:
            if self._may_follow(face, last):
                for name, turn in TURNS_OF[face]:
                    new = state.translate(turn)
                    # Looked up here too, which saves the call.
                    if left <= self.depth + 1 and self.near.get(new, 99) >= left:
                        continue
                    if self.glue is None or _holds(self.glue, state, new):
                        yield from self._walk(new, left - 1, face, (*done, name))


@lru_cache(maxsize=12)
def goal(states: frozenset[bytes], faces: str, glue: Glue = None) -> Goal:
    """The goal, with the surroundings that earlier questions have explored."""
    return Goal(states, faces, glue)
