"""Following a person who turns a scramble: the next turns, mistakes, the way back.

Only positions count. A person may make a half turn as two quarters in either direction, turn
neighbouring opposite faces in either order, and take turns back: every position in between lies
on the path.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from livecube.cube.geometry import OPPOSITE
from livecube.cube.position import TURN_BYTES, make_turn, merge
from livecube.mending.mender import shortest_link

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

__all__ = ["FARTHEST_BACK", "Guidance", "ScramblePath"]

FARTHEST_BACK: Final = 4
"""Turns; from farther away a new path to the end is better than the way back."""


@dataclass(frozen=True, slots=True)
class Guidance:
    """What a person who turns a scramble has to do next."""

    upcoming: tuple[int, ...]
    """The remaining turns of the path, from the place where the way back meets it."""
    done: int
    """Steps of the path that are done; a step is one turn, or two of opposite faces."""
    back: tuple[int, ...] = ()
    """The fewest turns back to the path; empty on the path."""
    lost: bool = False
    """The path is so far away that a new one is better."""

    @property
    def on_path(self) -> bool:
        """Whether the position lies on the path."""
        return not self.back and not self.lost

    @property
    def reached(self) -> bool:
        """Whether the scramble is done."""
        return self.on_path and not self.upcoming


class ScramblePath:
    """The turns from one position (20 facelets) to another, and all positions on the way."""

    def __init__(self, start: bytes, turns: Sequence[int]) -> None:
        self.turns = tuple(part.turn for part in merge(turns))
        self.start = start
        self._known: dict[bytes, Guidance] = {}
        position = start
        steps = list(_steps(self.turns))
        for done, step in enumerate(steps):
            rest = tuple(turn for later in steps[done + 1 :] for turn in later)
            for between, left in _within(position, step):
                # A position that comes twice counts as the later one.
                self._known[between] = Guidance((*left, *rest), done)
            for turn in step:
                position = position.translate(TURN_BYTES[turn])
        self.target = position
        self._known[position] = Guidance((), len(steps))

    def guide(self, position: bytes) -> Guidance:
        """The guidance for a position."""
        known = self._known.get(position)
        return known if known is not None else self._back_from(position)

    def _back_from(self, position: bytes) -> Guidance:
        """The shortest way back; among equal ones the one that meets the path nearest its end."""
        ways = [
            (back, there)
            for on_path, there in self._known.items()
            if (back := shortest_link(position, on_path, FARTHEST_BACK)) is not None
        ]
        if not ways:
            return Guidance((), 0, lost=True)
        back, there = min(ways, key=lambda way: (len(way[0]), len(way[1].upcoming)))
        return Guidance(there.upcoming, there.done, back)


def _steps(turns: Sequence[int]) -> Iterator[tuple[int, ...]]:
    """The turns one by one, but neighbouring ones of opposite faces together."""
    at = 0
    while at < len(turns):
        faces = [turn // 3 for turn in turns[at : at + 2]]
        size = 2 if len(faces) == 2 and OPPOSITE[faces[0]] == faces[1] else 1
        yield tuple(turns[at : at + size])
        at += size


def _within(position: bytes, step: tuple[int, ...]) -> Iterator[tuple[bytes, tuple[int, ...]]]:
    """All positions that a person can pass within a step, each with the turns left of the step.

    The beginning of the step is one of them, its end is not.
    """
    places: list[tuple[bytes, tuple[int, ...]]] = [(position, ())]
    for turn in step:
        places = [
            (after, (*left, *rest))
            for before, left in places
            for after, rest in _parts(before, turn)
        ]
    return iter([(place, left) for place, left in places if left])


def _parts(position: bytes, turn: int) -> Iterator[tuple[bytes, tuple[int, ...]]]:
    """A turn before it is made, half made if it is a half turn, and made."""
    face, quarters = turn // 3, turn % 3 + 1
    yield position, (turn,)
    if quarters == 2:
        for made in (1, 3):
            quarter = make_turn(face, made)
            yield position.translate(TURN_BYTES[quarter]), (quarter,)
    yield position.translate(TURN_BYTES[turn]), ()
