"""The fastest ways of inspection without a compiled kernel: crosses, X-crosses, pseudo X-crosses.

They are those of :mod:`livecube.search.fastest_kernel`, ties and order included. All sequences
with the same number of moves are one array. A sequence is left when its cost and the least time
for the rest exceed the limit, which grows until a way is found. For few questions that takes less
time than compiling the kernel and making its bounds.
"""

from __future__ import annotations

from functools import cached_property, reduce
from typing import TYPE_CHECKING, Any, Final, NamedTuple

import numpy as np
import numpy.typing as npt

from livecube.cube.geometry import OPPOSITE
from livecube.cube.position import in_one_order
from livecube.search.bounds import left_over
from livecube.search.fastest_arrays import SECOND_AT
from livecube.search.hand_arrays import hand_arrays
from livecube.search.situation import CROSS_AT, PIECE_MOVES, PLACES_AT, SLOT_SYMMETRY
from livecube.search.task import (
    ALL_TURNS,
    AT_DOORS,
    FASTEST_MS,
    LEFT,
    MOST_WAYS,
    NO_D,
    NO_LIMIT,
    NO_TAIL,
    TURNED_BACK,
    TWO_PARTS_MS,
    UNIT_MS,
    Task,
    goal_pieces,
)
from livecube.search.ways import best_first, way_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from livecube.hands.automaton import Automaton
    from livecube.search.hand_arrays import HandArrays
    from livecube.search.situation import Situation
    from livecube.search.ways import Way

__all__ = ["OpeningTables", "Openings", "PieceTables"]

_STEP_MS: Final = 90
_OPPOSITE: Final = np.array([*OPPOSITE, -1])
_NO_FACE: Final = 6
_D: Final = 15
"""The turn D; D2 and D' follow."""
_CORNER_OR_EDGE: Final = np.repeat([0, 1], 4)
"""Shape (8,): of each piece."""
_KIND_SEEN: Final = np.array([[*((kind - slot) % 4 for kind in range(4)), 4] for slot in range(4)])
"""Shape (4, KINDS): a kind of holding as a slot sees it."""

Ints = npt.NDArray[np.int64]


class OpeningTables(NamedTuple):
    """What the fastest crosses are found with; see ``SecondsTables``."""

    moves: npt.NDArray[np.int32]
    cross: npt.NDArray[np.uint8]


class PieceTables(NamedTuple):
    """What is needed, too, if pieces come with the cross; see ``SecondsTables``."""

    views: npt.NDArray[np.int32]
    pieces: npt.NDArray[np.uint8]
    """Lower bounds serve as well."""


class _Nodes(NamedTuple):
    """Sequences, one entry a sequence in each array."""

    number: Ints
    """By which :class:`_Trail` knows the sequence."""
    cross: Ints
    places: Ints
    """Shape (n, 8): of the slot pieces."""
    held: Ints
    state: Ints
    ms: Ints
    face: Ints
    """Faces of the last turn and the one before it; ``_NO_FACE``: none."""
    earlier: Ints
    kept: Ints
    """Bit s: slot s was solved when the second part began, which keeps it."""

    def only(self, chosen: npt.NDArray[Any]) -> _Nodes:
        """The chosen ones."""
        return _Nodes(*(one[chosen] for one in self))


def _all_of(groups: Iterable[_Nodes]) -> _Nodes:
    return _Nodes(*(np.concatenate(parts) for parts in zip(*groups, strict=True)))


class _Trail:
    """How sequences were made: for each the sequence before it, the turn and the step."""

    def __init__(self, roots: int) -> None:
        self._roots = self._count = roots
        self._layers: list[Ints] = []

    def add(self, before: Ints, turn: Ints, step: Ints) -> Ints:
        """Note sequences; returns their numbers. ``step``: ``24 * move + holding``."""
        self._layers.append(np.stack([before, turn, step]))
        self._count += len(turn)
        return np.arange(self._count - len(turn), self._count)

    def paths(self, numbers: Iterable[int]) -> Iterator[tuple[list[int], list[int]]]:
        """Turns and steps of each sequence."""
        before, turn, step = np.concatenate(self._layers, axis=1)
        for number in numbers:
            path = []
            while number >= self._roots:
                path.append(number - self._roots)
                number = int(before[path[-1]])
            yield turn[path[::-1]].tolist(), step[path[::-1]].tolist()


class _Rest(NamedTuple):
    """What is still to be done: to solve some pieces at an offset, and what follows."""

    offset: int
    left: int
    """Row of ``SecondsTables.left``."""
    pieces: list[int]


_Bound = list[list[_Rest]]
"""Of each entry one of the rests must be done."""


class Openings:
    """Finds the fastest ways of inspection for one pair of hands. Not for two threads at once."""

    def __init__(
        self,
        load: Callable[[], OpeningTables],
        load_pieces: Callable[[], PieceTables],
        automaton: Automaton,
    ) -> None:
        """``load``: called for the first question, ``load_pieces`` for the first with pieces."""
        self.automaton = automaton
        self._load, self._load_pieces = load, load_pieces

    @cached_property
    def hands(self) -> HandArrays:
        """The hands as arrays."""
        return hand_arrays(self.automaton)

    @cached_property
    def left_over(self) -> tuple[Ints, Ints]:
        """The ``left`` and ``more`` of ``SecondsTables``."""
        return left_over(self.hands)

    @cached_property
    def tables(self) -> OpeningTables:
        """The tables for every question; loaded when they are asked for first."""
        return self._load()

    @cached_property
    def pieces(self) -> PieceTables:
        """The tables for questions with pieces; loaded when they are asked for first."""
        return self._load_pieces()

    def twin(self) -> Openings:
        """The same over the same tables, for another thread."""
        return Openings(lambda: self.tables, lambda: self.pieces, self.automaton)

    @staticmethod
    def knows(situation: Situation, parts: Sequence[Task]) -> bool:
        """Whether a question is of this kind."""
        first, *others = parts
        known = [
            Task(first.goal, tail=LEFT if others else NO_TAIL, target=first.target),
            *(Task(one.goal, NO_D, one.prefix, TURNED_BACK, one.target) for one in others),
        ]
        at_doors = any(second.prefix == AT_DOORS for second in others)
        return situation.offset is None and [*parts] == known and not at_doors

    def ways(self, situation: Situation, parts: Sequence[Task], starts: Sequence[int]) -> list[Way]:
        """All ways up to ``FASTEST_MS`` slower than the fastest, best first, at most ``MOST_WAYS``.

        ``parts`` and ``starts`` as for :meth:`livecube.search.ways.FastestSearch.ways`. Ways in two
        parts take at most ``TWO_PARTS_MS``.
        """
        sweep = _Sweep(self, situation, parts, starts)
        ceiling = TWO_PARTS_MS if len(parts) > 1 else NO_LIMIT
        limit = min(sweep.least(), ceiling)
        while True:
            ways = sweep.up_to(limit)
            highest = min(min((way.ms for way in ways), default=NO_LIMIT) + FASTEST_MS, ceiling)
            if limit >= highest:
                break
            limit = highest if ways else min(limit + _STEP_MS * len(parts), ceiling)
        return best_first(self.automaton, ways)[:MOST_WAYS]


class _Sweep:
    """The ways of a question up to a limit."""

    def __init__(
        self,
        openings: Openings,
        situation: Situation,
        parts: Sequence[Task],
        starts: Sequence[int],
    ) -> None:
        self._moves, self._cross = openings.tables
        self._hands = openings.hands
        left, more = openings.left_over
        self._more = more.tolist()
        self._after_cross = (left - left[0]).min(axis=1).tolist()
        """For each row of ``left``, how much it is more than to bring the cross down."""
        self._first, *others = parts
        self._second = others[0] if others else None
        goal, whole = goal_pieces(self._first.goal), goal_pieces(parts[-1].goal)
        self._bound: _Bound = [[_Rest(0, 0, whole)]]
        if self._second is not None:
            # All prefixes lead to the same offset.
            standing = next(k for k in range(4) if self._second.prefix >> k & 1)
            self._bound.insert(0, [_Rest(standing, SECOND_AT[standing], goal)])
        self._second_bound: _Bound = [[_Rest(k, k, whole) for k in range(4)]]
        if whole:
            self._views, self._pieces = openings.pieces
        self._starts = starts
        every = np.arange(len(starts))
        self._root = _Nodes(
            number=every,
            cross=np.full_like(every, situation.cross),
            places=np.tile(situation.places, (len(starts), 1)),
            held=np.array(starts),
            state=np.full_like(every, self._hands.start),
            ms=np.zeros_like(every),
            face=np.full_like(every, _NO_FACE),
            earlier=np.full_like(every, _NO_FACE),
            kept=np.zeros_like(every),
        )

    def least(self) -> int:
        """A lower bound for all ways."""
        root = self._root
        rest = self._cross_least(self._bound, root.cross, root.held)
        rest = np.maximum(rest, self._piece_least(self._bound, root.cross, root.places, root.held))
        return max(int(rest.min()), self._hands.least)

    def up_to(self, limit: int) -> list[Way]:
        """The ways that take at most ``limit`` milliseconds, each in its cheapest spelling.

        Only those up to ``FASTEST_MS`` slower than the fastest.
        """
        self._limit, self._trail = limit, _Trail(len(self._starts))
        if self._second is None:
            done = self._solved(self._root, self._first.goal, ALL_TURNS, self._bound, [0])[0]
        else:
            done = self._in_two_parts(self._second)
        ms = done.ms + self._hands.finish[done.held]
        within = np.flatnonzero(ms <= min(limit, ms.min(initial=limit) + FASTEST_MS))
        paths = self._trail.paths(done.number[within].tolist()) if len(within) else ()
        best: dict[tuple[int, ...], tuple[int, list[int], list[int], int]] = {}
        for row, (turns, steps) in zip(within.tolist(), paths, strict=False):
            # Of equally cheap spellings the kernel keeps the one whose steps come first.
            found = int(ms[row]), steps, turns, int(done.held[row])
            key = in_one_order(turns)
            best[key] = min(found, best.get(key, found))
        return [
            way_of(self._hands, self._starts, cost, turns, steps, end)
            for cost, steps, turns, end in best.values()
        ]

    def _in_two_parts(self, second: Task) -> _Nodes:
        """The second part begins where the first ends, at any offset."""
        firsts = self._solved(self._root, self._first.goal, ALL_TURNS, self._bound, range(4))
        only_second = goal_pieces(second.goal & ~self._first.goal)
        bound, begun = self._second_bound, list[_Nodes]()
        for k, nodes in enumerate(firsts):
            out = nodes.places[:, only_second] != PLACES_AT[k, only_second]
            nodes = nodes.only(out.all(axis=1))
            home = nodes.places == PLACES_AT[k]
            nodes = nodes._replace(kept=(home[:, :4] & home[:, 4:]) @ (1 << np.arange(4)))
            for turned in range(4):
                if second.prefix >> 4 * k + turned & 1:
                    mask = 1 << _D + turned - 1
                    begun.append(self._moved(nodes, mask, bound) if turned else nodes)
        done = self._solved(_all_of(begun), second.goal, NO_D, bound, range(4))
        back = [self._moved(done[k], 1 << _D + 3 - k, []) for k in (1, 2, 3)]
        return _all_of([done[0], *back])

    def _solved(
        self, nodes: _Nodes, goal: int, allowed: int, bound: _Bound, offsets: Sequence[int]
    ) -> list[_Nodes]:
        """The sequences that go on until the goal is first solved, at each of these offsets."""
        pieces = goal_pieces(goal)
        ended: list[list[_Nodes]] = [[nodes.only(np.empty(0, dtype=np.int64))] for _ in offsets]
        while len(nodes.ms):
            nodes = self._moved(nodes, allowed, bound)
            for n, k in enumerate(offsets):
                home = nodes.places == PLACES_AT[k]
                free = nodes.kept[:, None] >> np.arange(4) & 1 == 0
                keeps = (home[:, :4] & home[:, 4:] | free).all(axis=1)
                solved = (nodes.cross == CROSS_AT[k]) & home[:, pieces].all(axis=1) & keeps
                ended[n].append(nodes.only(solved))
                nodes = nodes.only(~solved)
        return [_all_of(groups) for groups in ended]

    def _moved(self, nodes: _Nodes, allowed: int, bound: _Bound) -> _Nodes:
        """Every sequence with every move added that stays within the limit."""
        hands, nodes = self._hands, self._rotated(nodes, bound)
        price = nodes.ms[:, None] + hands.seconds[nodes.state]
        turn = hands.turn_of[nodes.held].astype(np.int64)
        face, before = turn // 3, nodes.face[:, None]
        again = (face == before) | ((face == nodes.earlier[:, None]) & (before == _OPPOSITE[face]))
        row, move = np.nonzero((price <= self._limit) & ~again & (allowed >> turn & 1 == 1))
        turn, price = turn[row, move], price[row, move]
        held = hands.after[nodes.held[row], move].astype(np.int64)
        cross = self._moves[nodes.cross[row], turn].astype(np.int64)
        near = np.flatnonzero(price + self._cross_least(bound, cross, held) <= self._limit)
        row, move, turn, price = row[near], move[near], turn[near], price[near]
        held, cross = held[near], cross[near]
        places = PIECE_MOVES[_CORNER_OR_EDGE, turn[:, None], nodes.places[row]].astype(np.int64)
        near = np.flatnonzero(price + self._piece_least(bound, cross, places, held) <= self._limit)
        row, move, turn = row[near], move[near], turn[near]
        return _Nodes(
            self._trail.add(nodes.number[row], turn, 24 * move + nodes.held[row]),
            cross[near],
            places[near],
            held[near],
            hands.then[nodes.state[row], move].astype(np.int64),
            price[near],
            turn // 3,
            nodes.face[row],
            nodes.kept[row],
        )

    def _rotated(self, nodes: _Nodes, bound: _Bound) -> _Nodes:
        """The same sequences, and each with every rotation behind it that is within the limit."""
        hands = self._hands
        ms = nodes.ms[:, None] + hands.rotation[nodes.held]
        others = np.arange(24) != nodes.held[:, None]
        row, to = np.nonzero(others & (ms + hands.least <= self._limit))
        ms = ms[row, to]
        near = ms + self._cross_least(bound, nodes.cross[row], to) <= self._limit
        row, to, ms = row[near], to[near], ms[near]
        rest = self._piece_least(bound, nodes.cross[row], nodes.places[row], to)
        near = ms + rest <= self._limit
        row, to, ms = row[near], to[near], ms[near]
        turned = nodes.only(row)._replace(held=to, state=np.full(len(row), hands.rotated), ms=ms)
        return _all_of([nodes, turned])

    def _cross_least(self, bound: _Bound, cross: Ints, held: Ints) -> Ints:
        """Least milliseconds that the cross still takes, and what follows it, shape (n,)."""
        least = np.zeros(len(cross), dtype=np.int64)
        for rests in bound:
            each = []
            for offset, left, _ in rests:
                seen = self._views[cross, offset, 0] if offset else cross
                units = self._cross[seen, held].astype(np.int64)
                each.append(units * UNIT_MS + self._after_cross[left])
            least = np.maximum(least, reduce(np.minimum, each))
        return least

    def _piece_least(self, bound: _Bound, cross: Ints, places: Ints, held: Ints) -> Ints:
        """The same for the cross with one of the pieces, the dearest."""
        least, kind = np.zeros(len(cross), dtype=np.int64), self._hands.kind[held]
        for rests in bound:
            each = []
            for offset, left, pieces in rests:
                units = np.zeros(len(cross), dtype=np.uint8)
                for piece in pieces:
                    which = piece // 4
                    # At offset k the corner of a slot stands in the slot k places further on.
                    slot = piece - 4 if which else piece + offset & 3
                    row = self._views[cross, offset, slot].astype(np.int64) * 24
                    row += SLOT_SYMMETRY[slot, which, places[:, piece]]
                    units = np.maximum(units, self._pieces[which, row, _KIND_SEEN[slot, kind]])
                each.append(units.astype(np.int64) * UNIT_MS + self._more[left])
            least = np.maximum(least, reduce(np.minimum, each))
        return least
