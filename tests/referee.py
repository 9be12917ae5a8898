"""A slow second opinion on the techniques, sharing no code with the program.

For a position (turns from solved), a cross colour and a technique it gives every possible target,
the exact shortest length in the half-turn metric and the complete set of sequences. Beyond
``LIMITS`` the answer is "deeper than I look", never a guess.

``python tests/checks/technique_comparison.py --positions N --seed S`` compares the program with it
on more positions than the test does.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from referee_cube import FACES, View, slots
from referee_search import canonical, goal

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

__all__ = ["LIMITS", "TECHNIQUES", "Answer", "Answers", "answers"]

LIMITS: Final = {
    "shortest": 8,
    "plain": 9,
    "made-pair": 9,
    "keyhole-corner": 9,
    "keyhole-edge": 9,
    "keyhole-flip": 9,
    "keyhole-chain": 9,
    "pseudo-pair": 9,
    "x-cross": 8,
    "pseudo-x-cross": 8,
}
"""Longest sequences that are tried; a complete answer lies within them."""

SLACK: Final = {"x-cross": 1}
"""By technique: most turns of a listed sequence above the shortest; 0 if not listed."""


@dataclass(frozen=True)
class Answer:
    """The shortest length and every sequence; ``None`` and no sequence beyond the limit."""

    length: int | None
    sequences: frozenset[str]


Answers = dict[tuple[str, ...], Answer]
"""Answers by target: a slot; for pseudo pairs the slots of the corner and of the edge."""


@dataclass(frozen=True)
class Reach:
    """The longest sequences to try, and most turns above the shortest."""

    limit: int
    slack: int

    def answer(self, found: dict[int, set[str]]) -> Answer:
        """The answer from all sequences found up to the limit, by length."""
        shortest = min(found, default=self.limit + 1)
        if shortest + self.slack > self.limit:
            return Answer(None, frozenset())
        near = (found.get(shortest + more, set()) for more in range(self.slack + 1))
        return Answer(shortest, frozenset().union(*near))

    def enough(self, found: dict[int, set[str]], length: int) -> bool:
        """Whether sequences of ``length`` turns can no longer matter."""
        return length > min(self.limit, min(found, default=self.limit) + self.slack)


@dataclass(frozen=True)
class Question:
    """The question of one technique about one target: pieces to be solved, and how."""

    pieces: list[int]
    """Their stickers, the target's last."""
    faces: str
    """Faces that may be turned; with doors, between the turns of the cross layer."""
    offsets: tuple[int, ...] = (0,)
    """Offsets of the cross layer at the end."""
    doors: frozenset[int] | None = None
    """If given, the sequence is D^a X D^b, and these are the ``a``."""
    turned_back: bool = True
    """With doors: whether a D^b aligns the cross layer; if not, any offset will do."""
    glued: bool = False
    """Whether no turn may move one of the last two pieces without the other."""

    def answer(self, view: View, reach: Reach) -> Answer:
        """The exact answer for a position."""
        return self._straight(view, reach) if self.doors is None else self._doors(view, reach)

    def _straight(self, view: View, reach: Reach) -> Answer:
        last = len(self.pieces) - 1
        ends = frozenset(view.homes(self.pieces, offset) for offset in self.offsets)
        target = goal(ends, self.faces, (last - 1, last) if self.glued else None)
        start = view.now(self.pieces)
        found: dict[int, set[str]] = {}
        length = 0
        while not reach.enough(found, length):
            for turns in target.sequences(start, length):
                found.setdefault(length, set()).add(canonical(turns))
            length += 1
        return reach.answer(found)

    def _doors(self, view: View, reach: Reach) -> Answer:
        ends = {view.homes(self.pieces, offset): offset for offset in range(4)}
        inner = goal(frozenset(ends), self.faces)
        found: dict[int, set[str]] = {}
        for a in self.doors or ():
            start = view.turned(view.now(self.pieces), a)
            head = _cross_turn(view, a)
            length = 0
            while not reach.enough(found, len(head) + length):
                for middle in inner.sequences(start, length):
                    offset = ends[view.played(start, middle)] if self.turned_back else 0
                    tail = _cross_turn(view, -offset)
                    turns = (*head, *middle, *tail)
                    found.setdefault(len(turns), set()).add(canonical(turns))
                length += 1
        return reach.answer(found)


def _cross_turn(view: View, quarters: int) -> tuple[str, ...]:
    return ((), (view.down,), (view.down + "2",), (view.down + "'",))[quarters % 4]


Questions = dict[tuple[str, ...], Question]


def _kept(view: View) -> list[int]:
    """The cross and S."""
    pieces = [view.corner(s) for s in view.solved] + [view.edge(s) for s in view.solved]
    return view.cross + pieces


def _kept_and(view: View, *slots: str) -> list[int]:
    return _kept(view) + [piece for s in slots for piece in (view.corner(s), view.edge(s))]


def _sides(view: View) -> str:
    """Every face but that of the cross."""
    return FACES.replace(view.down, "")


def _all(view: View) -> str:
    """Every face, that of the cross last: a turn of the upper layer comes before its own."""
    return _sides(view) + view.down


def _shortest(view: View) -> Questions:
    return {(slot,): Question(_kept_and(view, slot), _all(view)) for slot in view.free}


def _plain(view: View) -> Questions:
    if view.offset != 0:
        return {}
    return {(slot,): Question(_kept_and(view, slot), _sides(view)) for slot in view.free}


def _made_pair(view: View) -> Questions:
    return {
        (slot,): Question(_kept_and(view, slot), _sides(view), glued=True)
        for slot in view.free
        if view.offset == 0 and view.joined(slot)
    }


def _by_doors(view: View, slots: tuple[str, ...], doors: Iterable[set[int]]) -> Question:
    return Question(_kept_and(view, *slots), _sides(view), doors=frozenset().union(*doors))


def _keyhole_corner(view: View) -> Questions:
    result: Questions = {}
    for slot in view.free:
        others = [other for other in view.free if other != slot]
        if view.edge_solved(slot) and not view.corner_solved(slot) and others:
            doors = [view.door_turns(slot, under=other) for other in others]
            result[slot,] = _by_doors(view, (slot,), doors)
    return result


def _keyhole_edges(view: View, flipped: bool) -> Questions:
    result: Questions = {}
    for slot in view.free:
        unsolved = [s for s in view.free if s != slot and not view.corner_solved(s)]
        waits = view.corner_solved(slot) and not view.edge_solved(slot)
        if waits and unsolved and view.edge_flipped(slot) == flipped:
            doors = [view.door_turns(other, under=slot) for other in unsolved]
            result[slot,] = _by_doors(view, (slot,), doors)
    return result


def _keyhole_edge(view: View) -> Questions:
    return _keyhole_edges(view, flipped=False)


def _keyhole_flip(view: View) -> Questions:
    return _keyhole_edges(view, flipped=True)


def _keyhole_chain(view: View) -> Questions:
    """The first part only: a keyhole that keeps the solved piece of j.

    It leaves the cross layer aside, where it can be turned on to a door for j.
    """
    result: Questions = {}
    for j in view.free if len(view.free) > 2 else ():
        home = [view.corner(j)] if view.corner_solved(j) else []
        home += [view.edge(j)] if view.edge_solved(j) else []
        for technique in (_keyhole_corner, _keyhole_edge, _keyhole_flip):
            for (i,), keyhole in technique(view).items():
                doors = {
                    a
                    for other in view.free
                    if other not in (i, j)
                    for a in (
                        view.door_turns(j, under=other)
                        if view.edge_solved(j)
                        else view.door_turns(other, under=j)
                    )
                }
                aside = frozenset(a for a in keyhole.doors or () if doors - {a})
                if i != j and home and aside:
                    result[i, j] = replace(
                        keyhole, pieces=home + keyhole.pieces, doors=aside, turned_back=False
                    )
    return result


def _pseudo_pair(view: View) -> Questions:
    result: Questions = {}
    for i in view.free:
        for j in view.free:
            halves = view.corner_solved(i) and view.edge_solved(j)
            if i != j and halves and not view.corner_solved(j) and not view.edge_solved(i):
                result[i, j] = _by_doors(view, (i, j), [view.door_turns(j, under=i)])
    return result


def _x_cross(view: View) -> Questions:
    return _shortest(view) if view.offset is None else {}


def _pseudo_x_cross(view: View) -> Questions:
    """The first part only: cross, one corner and one edge, up to any offset."""
    return {
        (i, j): Question([*view.cross, view.corner(i), view.edge(j)], _all(view), (0, 1, 2, 3))
        for i in slots(view.down)
        for j in slots(view.down)
        if i != j and view.offset is None
    }


TECHNIQUES: Final[dict[str, Callable[[View], Questions]]] = {
    "shortest": _shortest,
    "plain": _plain,
    "made-pair": _made_pair,
    "keyhole-corner": _keyhole_corner,
    "keyhole-edge": _keyhole_edge,
    "keyhole-flip": _keyhole_flip,
    "keyhole-chain": _keyhole_chain,
    "pseudo-pair": _pseudo_pair,
    "x-cross": _x_cross,
    "pseudo-x-cross": _pseudo_x_cross,
}


def answers(
    turns: str, down: str, technique: str, *, slack: int | None = None, limit: int | None = None
) -> Answers:
    """What ``technique`` answers after ``turns`` from solved, with the cross on face ``down``.

    ``slack`` adds the sequences that much longer than the shortest (of the same target);
    ``limit`` replaces the longest length looked at.
    """
    reach = Reach(
        LIMITS[technique] if limit is None else limit,
        SLACK.get(technique, 0) if slack is None else slack,
    )
    view = View.after(turns, down)
    questions = TECHNIQUES[technique](view)
    return {targets: question.answer(view, reach) for targets, question in questions.items()}
