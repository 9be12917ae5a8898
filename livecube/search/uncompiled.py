"""The shortest sequences and their spelling without a compiled kernel, in numpy alone.

The answers are those of :mod:`livecube.search.shortest_kernel`, ties and order included. All
sequences with the same number of turns are one array. A program that asks one question has its
answer so before the kernels would be loaded, which takes more than half a second.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np
import numpy.typing as npt

from livecube.cube.geometry import in_order
from livecube.hands.automaton import NEVER
from livecube.search.situation import CROSS_AT, PIECE_MOVES, PLACES_AT, SLOT_SYMMETRY, slot_bits
from livecube.search.task import LEFT, LONGEST, NO_TAIL, TURNED_BACK, Task, goal_pieces

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.search.hand_arrays import HandArrays
    from livecube.search.situation import Situation
    from livecube.search.tables import Tables

__all__ = ["Spelling", "TooManyTurnsError", "cheapest_spelling", "shortest_sequences"]

Ints = npt.NDArray[np.int64]
Bytes = npt.NDArray[np.uint8]
Sequences = list[tuple[int, ...]]

_D: Final = 15
"""The turn D; D2 and D' follow."""
_START: Final = 6
"""In place of the face of the turn before, where there is none."""
_IN_ORDER: Final = np.array(
    [[before == _START or in_order(before, turn // 3) for turn in range(18)] for before in range(7)]
)
"""Shape (7, 18): whether a turn may follow one of a face."""


class TooManyTurnsError(Exception):
    """The question takes long without a kernel."""


class _Nodes(NamedTuple):
    """Sequences with the same number of turns, in the order of their turns."""

    cross: npt.NDArray[np.int32]
    places: Bytes
    """Shape (n, 8): of the slot pieces."""
    face: Bytes
    """Of the last turn, or ``_START``."""
    turns: Bytes
    """Shape (n, length)."""

    def only(self, chosen: npt.NDArray[np.bool_] | Ints) -> _Nodes:
        """The chosen ones."""
        return _Nodes(
            self.cross[chosen], self.places[chosen], self.face[chosen], self.turns[chosen]
        )


class Spelling(NamedTuple):
    """The cheapest moves for a sequence, and the holding in which each is made."""

    ms: int
    start: int
    end: int
    moves: list[int]
    held: list[int]


def shortest_sequences(
    tables: Tables,
    pairs: npt.NDArray[np.uint8],
    situation: Situation,
    tasks: Sequence[Task],
    most: int,
) -> tuple[list[Sequences], int]:
    """For each task its shortest sequences as the kernel orders them, and how many turns it tried.

    ``pairs``: the pair table, or an empty one. Raises :class:`TooManyTurnsError` rather than try
    more than ``most`` turns.
    """
    answers: list[Sequences] = []
    left = most
    for number, task in enumerate(tasks):
        known = _among(task, tasks[:number], answers)
        if not known:
            search = _Search(tables, pairs, task, left)
            known, left = search.shortest(situation), search.left
        answers.append(known)
    return answers, most - left


def _among(task: Task, earlier: Sequence[Task], answers: Sequence[Sequences]) -> Sequences:
    """The answer of a freer task, as far as it fits this one; empty if this one needs a search."""
    for other, found in zip(earlier, answers, strict=True):
        freer = other.goal == task.goal and not task.allowed & ~other.allowed
        if freer and _is_simple(task) and _is_simple(other):
            return [way for way in found if all(task.allowed >> turn & 1 for turn in way)]
    return []


def _is_simple(task: Task) -> bool:
    return task.prefix == 1 and task.tail == NO_TAIL and not task.tied


class _Search:
    """The search for the answer of one task."""

    def __init__(self, tables: Tables, pairs: npt.NDArray[np.uint8], task: Task, left: int) -> None:
        self.left = left
        """Turns that may still be tried."""
        self._tables, self._pairs, self._task = tables, pairs, task
        self._goal = goal_pieces(task.goal)
        goal = task.goal if len(pairs) else 0
        self._whole = slot_bits(goal & goal >> 4)
        whole = {piece for slot in self._whole for piece in (slot, slot + 4)}
        self._single = [piece for piece in self._goal if piece not in whole]
        allowed = np.array([bool(task.allowed >> turn & 1) for turn in range(18)])
        self._followers = _IN_ORDER & allowed
        self._spare = int(task.tail == LEFT)
        """The layer may be left as it is, which the tables count as a turn."""

    def shortest(self, situation: Situation) -> Sequences:
        """All shortest sequences; empty if none has fewer than ``LONGEST`` turns."""
        root = _Nodes(
            np.array([situation.cross], dtype=np.int32),
            situation.places[None].astype(np.uint8),
            np.array([_START], dtype=np.uint8),
            np.empty((1, 0), dtype=np.uint8),
        )
        roots = []
        for aside in range(4):
            if self._task.prefix >> aside & 1:
                after = self._turned(root, np.zeros(1, dtype=int), np.array([_D + aside - 1]))
                roots.append(after._replace(face=root.face) if aside else root)
        for depth in range(1, LONGEST):
            found = [way for start in roots for way in self._of_length(start, depth)]
            if found:
                return found
        return []

    def _of_length(self, nodes: _Nodes, depth: int) -> Sequences:
        """The answers with ``depth`` turns that begin as this one node does."""
        found: Sequences = []
        begun = nodes.turns.shape[1]
        if begun < depth:
            nodes = self._within(nodes, depth - begun)
        for length in range(begun + 1, depth + 1):
            row, turn = np.nonzero(self._followers[nodes.face])
            self.left -= len(row)
            if self.left < 0:
                raise TooManyTurnsError
            after = self._turned(nodes, row, turn)
            if self._task.tied:
                moved = after.places != nodes.places[row]
                target = self._task.target
                after = after.only(moved[:, target] == moved[:, target + 4])
            nodes = self._within(after, depth - length)
            offset, tail = self._offset(nodes), self._task.tail
            done = offset == 0 if tail == NO_TAIL else offset >= 0
            back = (offset > 0) & (tail == TURNED_BACK)
            for way in np.flatnonzero(done & (length + back == depth)).tolist():
                turns = tuple(nodes.turns[way].tolist())
                found.append((*turns, _D + 3 - int(offset[way])) if back[way] else turns)
            nodes = nodes.only(~done)  # no proper part of an answer is one
        return sorted(found)

    def _turned(self, nodes: _Nodes, row: Ints, turn: Ints) -> _Nodes:
        """The nodes ``row``, each after a turn."""
        places = nodes.places[row]
        for piece in self._goal:
            places[:, piece] = PIECE_MOVES[piece // 4, turn, places[:, piece]]
        made = turn.astype(np.uint8)
        turns = np.concatenate([nodes.turns[row], made[:, None]], axis=1)
        return _Nodes(self._tables.moves[nodes.cross[row], turn], places, made // 3, turns)

    def _within(self, nodes: _Nodes, left: int) -> _Nodes:
        """The nodes from which the cross and each part of the goal need no more turns than that."""
        left += self._spare
        if not self._goal:
            return nodes.only(self._tables.alone[nodes.cross] <= left)
        for slot in self._whole:
            state = self._tables.seen[slot, nodes.cross].astype(np.int64)
            for kind in (0, 1):
                state = 24 * state + SLOT_SYMMETRY[slot, kind, nodes.places[:, slot + 4 * kind]]
            need = self._pairs[state >> 1] >> ((state & 1) << 2) & 15
            nodes = nodes.only(need <= left)
        for piece in self._single:
            need = self._tables.rows[nodes.cross, 24 * piece + nodes.places[:, piece]]
            nodes = nodes.only(need <= left)
        return nodes

    def _offset(self, nodes: _Nodes) -> Ints:
        """The offset at which the cross and the goal are solved, or −1."""
        offset = np.full(len(nodes.face), -1)
        for k in range(4):
            homes = PLACES_AT[k, self._goal]
            solved = (nodes.cross == CROSS_AT[k]) & (nodes.places[:, self._goal] == homes).all(
                axis=1
            )
            offset[solved] = k
        return offset


def cheapest_spelling(hands: HandArrays, turns: Sequence[int], starts: Sequence[int]) -> Spelling:
    """The cheapest spelling of down-frame turns, the same of equally cheap ones as the kernel's.

    After each turn the reached pairs of holding and state are one array, in the order in which the
    kernel comes to them: the first of equally cheap ways counts.
    """
    states = hands.seconds.shape[0]
    at, cost = np.array(starts) * states + hands.start, np.zeros(len(starts), dtype=np.int64)
    every, steps = np.arange(24), []
    first, least = np.empty((2, 24 * states), dtype=np.int64)
    for turn in turns:
        held, state = at // states, at % states
        now = np.where(every == held[:, None], state[:, None], hands.rotated)[:, :, None]
        move = hands.spelled[:, turn]
        price = (cost[:, None] + hands.rotation[held])[:, :, None] + hands.seconds[now, move]
        onto = hands.after[every[:, None], move].astype(np.int64) * states + hands.then[now, move]
        written = np.flatnonzero(price < NEVER)
        prices, reached = price.ravel()[written], onto.ravel()[written]
        # Without sorting: of several values for one place the last stays, so rows are put in place
        # from the last to the first.
        rows = np.arange(len(reached))
        first[reached[::-1]] = rows[::-1]
        touched = reached[first[reached] == rows]
        least[touched] = NEVER
        np.minimum.at(least, reached, prices)
        cheap = np.flatnonzero(prices == least[reached])
        first[reached[cheap[::-1]]] = cheap[::-1]
        best = first[touched]
        steps.append((written[best], move))
        at, cost = reached[best], prices[best]
    total = cost + hands.finish[at // states]
    row = last = int(total.argmin())
    moves, holdings = list[int](), list[int]()
    for chosen, move in reversed(steps):
        row, way = divmod(int(chosen[row]), 48)
        holdings.append(way // 2)
        moves.append(int(move[way // 2, way % 2]))
    end = int(at[last]) // states
    return Spelling(int(total[last]), starts[row], end, moves[::-1], holdings[::-1])
