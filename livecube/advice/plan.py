"""Plans: all free slots in the best order found, and how each is filled."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final, NamedTuple

import numpy as np

from livecube.cube.notation import moves_text
from livecube.cube.position import SOLVED, apply_turns, blocks_outside
from livecube.search.book import NO_TURN, question_numbers
from livecube.search.situation import (
    PIECE_MOVES,
    PLACES_AT,
    SLOT_PAIRS,
    SLOT_SYMMETRY,
    Situation,
    piece_places,
)
from livecube.search.task import FIELDS, task_rows
from livecube.techniques.base import traits
from livecube.timing.results import to_the_millisecond

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from livecube.advice.rows import Opportunity
    from livecube.hands.automaton import Looking
    from livecube.search.answers import Answers
    from livecube.search.book import Entries
    from livecube.search.task import Written
    from livecube.techniques.base import Chance, Technique, Traits

__all__ = ["Beam", "Line", "Plan", "Step", "looking_before"]


@dataclass(frozen=True, slots=True)
class Plan:
    """Steps from a position to the last pair; each begins with the holding that ended the last."""

    steps: tuple[Opportunity, ...]

    @property
    def slots(self) -> tuple[str, ...]:
        """The slots in the order in which they are filled."""
        return tuple(slot for step in self.steps for slot in (*step.slots, *step.also))

    @property
    def seconds(self) -> float:
        """Predicted seconds of turning of all steps."""
        return sum(step.seconds for step in self.steps)

    @property
    def looking(self) -> float:
        """Expected seconds of looking before all steps."""
        return sum(step.looking for step in self.steps)

    @property
    def total(self) -> float:
        """Seconds of turning and looking; plans are ranked by it."""
        return self.seconds + self.looking

    @property
    def turns(self) -> int:
        """Turns of all steps (HTM)."""
        return sum(step.turns for step in self.steps)

    def as_json(self) -> dict[str, Any]:
        """The object of machine-readable output."""
        return {
            "seconds": to_the_millisecond(self.seconds),
            "looking": to_the_millisecond(self.looking),
            "turns": self.turns,
            "steps": [
                {
                    "technique": step.technique,
                    "slots": [*step.slots, *step.also],
                    "moves": moves_text(step.moves),
                    "up": step.holding.up,
                    "front": step.holding.front,
                    "seconds": to_the_millisecond(step.seconds),
                    "looking": to_the_millisecond(step.looking),
                    "door": step.door,
                }
                for step in self.steps
            ],
        }


# The plan: an order of all free slots and a way into each, with the fewest seconds in total.
#
# A beam search over orders and ways. Each step extends every position that was kept: each technique
# into each free slot, by the fastest way and by others nearly as fast, from the holding in which
# the step before ended. Then, for each number of solved slots, the cheapest positions are kept. The
# whole step is numpy over the book. Pieces and slots are seen from the hands: slot 0 is at the
# front right.


_WIDTH: Final = 200
"""Positions that are kept for each number of solved slots."""
_EACH_FIRST: Final = 40
"""At least this many positions are kept for each first pair."""
_WAYS: Final = 6
"""Ways that are tried for each technique into each slot."""

_MOVED: Final = np.concatenate(
    [PIECE_MOVES, np.broadcast_to(np.arange(24, dtype=np.uint8), (2, 1, 24))], axis=1
)
"""Shape (2, 19, 24): ``PIECE_MOVES``, then a turn that moves nothing."""
_KIND: Final = np.arange(8) // 4
_HOME: Final = PLACES_AT[0]
_DIGITS: Final = 1 << 6 * np.arange(7, -1, -1)
"""Shape (8,): make one number of the places and movements of all pieces."""


class Step(NamedTuple):
    """One step of a plan."""

    chance: Chance
    """Its slots are those of the down frame."""
    way: Written
    looking_ms: int

    @property
    def ms(self) -> int:
        """Turning and looking."""
        return self.way.ms + self.looking_ms


@dataclass(frozen=True, slots=True)
class Line:
    """Steps until no slot is free."""

    steps: tuple[Step, ...]

    @property
    def ms(self) -> int:
        """Turning and looking of all steps."""
        return sum(step.ms for step in self.steps)


@dataclass(slots=True)
class _Nodes:
    """Positions with the same number of solved slots; arrays have one entry per position."""

    places: npt.NDArray[np.int64]
    """Shape (n, 8): as the hands see them."""
    front: npt.NDArray[np.int64]
    """Shape (n,): the slot of the down frame that is at the front right."""
    moved: npt.NDArray[np.bool_]
    """Shape (n, 8): whether the step before moved each piece."""
    ms: npt.NDArray[np.int64]
    first: npt.NDArray[np.int64]
    """Shape (n,): bit set of the down frame's slots that the first step fills."""
    steps: list[tuple[tuple[Chance, int, int, int], ...]]
    """The steps so far: chance as seen from the hands, front, entry, looking (ms)."""


def _joined() -> npt.NDArray[np.bool_]:
    table = np.zeros((4, 24, 24), dtype=bool)
    for slot, (corner, edge) in enumerate(SLOT_PAIRS):
        for at in blocks_outside(int(SOLVED[corner]), int(SOLVED[edge])):
            position = SOLVED.copy()
            position[corner], position[edge] = at
            places = piece_places(position.tolist())
            table[slot, places[slot], places[slot + 4]] = True
    return table


_JOINED: Final = _joined()
"""Shape (4, 24, 24): whether a slot's pieces at these places form a block outside it."""

_SEEN_PIECE: Final = np.array(
    [[(slot + i) % 4 + 4 * (i // 4) for i in range(8)] for slot in range(4)]
)
"""Shape (4, 8): which piece is piece i when slot s is turned to the front right."""


def _seen(
    places: npt.NDArray[np.int64], moved: npt.NDArray[np.bool_], slot: npt.NDArray[np.int64]
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.bool_]]:
    """Pieces (n, 8) as they are seen when slot ``slot`` (n,) is turned to the front right."""
    piece = _SEEN_PIECE[slot]
    seen = SLOT_SYMMETRY[slot[:, None], _KIND, np.take_along_axis(places, piece, axis=1)]
    return seen.astype(np.int64), np.take_along_axis(moved, piece, axis=1)


class _Batch(NamedTuple):
    """Positions after a step; arrays have one entry per position."""

    nodes: _Nodes
    parent: npt.NDArray[np.int64]
    entries: Entries
    entry: npt.NDArray[np.int64]
    chances: list[Chance]
    chance: npt.NDArray[np.int64]
    looking: npt.NDArray[np.int64]
    places: npt.NDArray[np.int64]
    front: npt.NDArray[np.int64]
    moved: npt.NDArray[np.bool_]
    ms: npt.NDArray[np.int64]
    first: npt.NDArray[np.int64]


class _Asked(NamedTuple):
    """The chances in positions of one kind, and their tasks."""

    chances: tuple[Chance, ...]
    tasks: npt.NDArray[np.int64]


class Beam:
    """Finds plans for one pair of hands and eyes. Not to be used by two threads at once."""

    def __init__(self, answers: Answers, techniques: Sequence[Technique]) -> None:
        self._answers = answers
        # Of equal ways the first is kept; the order is reversed since special techniques come last.
        self._by_id = {one.id: one for one in reversed(techniques)}
        self._traits = {one.id: traits(one) for one in techniques}
        self._asked: dict[tuple[int, int], _Asked] = {}

    def lines(
        self,
        situation: Situation,
        start: int | None = None,
        *,
        looking: bool = True,
        moved: Sequence[bool] = (False,) * 8,
    ) -> list[Line]:
        """For each set of slots that a first step fills, the best plan found; the best first.

        ``start``: the holding of the down frame; None: whichever front is best. ``looking``:
        whether looking counts. ``moved``: which slot pieces the sequence before has moved.
        Empty if the cross is not whole, if no slot is free, or if the book lacks entries for some
        step.
        """
        if situation.offset is None or not situation.free:
            return []
        nodes, seen = self._roots(situation, start, moved), situation
        waiting: dict[int, list[_Batch]] = {}
        done = situation.solved.bit_count()
        for solved in range(done, 4):
            if solved > done:
                if solved not in waiting:
                    continue
                nodes = _best(waiting.pop(solved))
            for batch in self._step(seen, nodes, looking=looking):
                home = (batch.places[:, :4] == _HOME[:4]) & (batch.places[:, 4:] == _HOME[4:])
                counts = home.sum(axis=1)
                for count in set(counts.tolist()):
                    waiting.setdefault(count, []).append(_part(batch, counts == count))
            seen = replace(situation, offset=0)
        if 4 not in waiting:
            return []
        ends = _best(waiting[4])
        rows = [int(np.flatnonzero(ends.first == one)[0]) for one in np.unique(ends.first)]
        rows.sort(key=lambda row: int(ends.ms[row]))
        return [self._line(situation, start, ends.steps[row]) for row in rows]

    def quickest_next(
        self,
        situation: Situation,
        start: int | None = None,
        *,
        looking: bool = True,
        moved: Sequence[bool] = (False,) * 8,
    ) -> Line | None:
        """The line of quickest next steps, to compare plans with; None where lines are empty."""
        if situation.offset is None:
            return None
        nodes, seen = self._roots(situation, start, moved), situation
        while True:
            batches = [_cheapest(batch) for batch in self._step(seen, nodes, looking=looking)]
            if not batches or not len(batches[0].ms):
                return None
            nodes, seen = _best(batches), replace(situation, offset=0)
            if (nodes.places == _HOME).all():
                return self._line(situation, start, nodes.steps[0])

    def _roots(self, situation: Situation, start: int | None, moved: Sequence[bool]) -> _Nodes:
        if start is None:
            fronts, spent = np.arange(4), np.zeros(4, dtype=np.int64)
        else:
            fronts = self._answers.hands.front[[start]].astype(np.int64)
            spent = self._answers.hands.finish[[start]].astype(np.int64)
        shape = len(fronts), 8
        seen = _seen(
            np.broadcast_to(situation.places, shape),
            np.broadcast_to(np.array(moved), shape),
            fronts,
        )
        return _Nodes(
            seen[0], fronts, seen[1], spent, np.zeros(len(fronts), dtype=np.int64),
            [()] * len(fronts),
        )  # fmt: skip

    def _step(self, situation: Situation, nodes: _Nodes, *, looking: bool) -> list[_Batch]:
        """All positions that one step reaches."""
        offset = situation.offset
        assert offset is not None
        home = PLACES_AT[offset]
        at_home = nodes.places == home
        bits = 1 << np.arange(4)
        code = at_home[:, :4] @ bits | (at_home[:, 4:] @ bits) << 4
        code |= ((nodes.places[:, 4:] == home[4:] ^ 1) @ bits) << 8
        for slot in range(4):
            joined = _JOINED[slot, nodes.places[:, slot], nodes.places[:, slot + 4]]
            code |= joined.astype(np.int64) << 12 + slot
        chances: list[Chance] = []
        parents, numbers, tasks = [], [], []
        for kind in np.unique(code):
            rows = np.flatnonzero(code == kind)
            asked = self._chances(situation, int(kind))
            count = len(asked.chances)
            parents.append(np.repeat(rows, count))
            numbers.append(np.tile(np.arange(len(chances), len(chances) + count), len(rows)))
            tasks.append(np.tile(asked.tasks, (len(rows), 1)))
            chances += asked.chances
        if not chances:
            return []
        parent, chance = np.concatenate(parents), np.concatenate(numbers)
        places = nodes.places[parent]
        question = question_numbers(offset, places, 0, np.concatenate(tasks))
        at = self._answers.filled(question)
        known = at >= 0
        parent, chance, at = parent[known], chance[known], at[known]
        look = np.zeros(len(parent), dtype=np.int64)
        if looking:
            look = looking_before(
                self._answers.automaton.looking, chances,
                [self._traits[one.technique] for one in chances],
                chance, nodes.places[parent], nodes.moved[parent], home,
            )  # fmt: skip
        book = self._answers.book
        count = np.minimum(book.ends[at + 1] - book.ends[at], _WAYS)
        row = np.repeat(np.arange(len(at)), count)
        nth = np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count)
        entry = book.ways[book.ends[at[row]] + nth].astype(np.int64)
        return [_after(nodes, parent[row], book.entries, entry, chances, chance[row], look[row])]

    def _chances(self, situation: Situation, code: int) -> _Asked:
        """The chances of all techniques in a position of a kind, as seen from the hands."""
        assert situation.offset is not None
        asked = self._asked.get((situation.offset, code))
        if asked is None:
            seen = replace(
                situation,
                corners=code & 15,
                edges=code >> 4 & 15,
                flipped=code >> 8 & 15,
                joined=code >> 12 & 15,
            )
            chances = tuple(
                chance
                for technique in self._by_id.values()
                for chance in technique.chances(seen)
                if not chance.then
            )
            rows = task_rows([chance.task for chance in chances]).reshape(-1, FIELDS)
            asked = self._asked[situation.offset, code] = _Asked(chances, rows)
        return asked

    def _line(
        self,
        situation: Situation,
        start: int | None,
        steps: Sequence[tuple[Chance, int, int, int]],
    ) -> Line:
        """Steps seen from the hands as a line in the down frame."""
        told: list[Step] = []
        for seen, front, entry, looking in steps:
            way = self._answers.entry(entry, front)
            if start is not None and not told:
                way = self._answers.behind_rotation(way, start)
            slots = tuple((front + slot) % 4 for slot in seen.slots)
            chances = self._by_id[seen.technique].chances(situation)
            told.append(Step(next(one for one in chances if one.slots == slots), way, looking))
            down = apply_turns(situation.position, way.turns)
            situation = Situation.of_down(down, situation.face)
        return Line(tuple(told))


def looking_before(
    eyes: Looking,
    chances: Sequence[Chance],
    its: Sequence[Traits],
    chance: npt.NDArray[np.int64],
    places: npt.NDArray[np.int64],
    moved: npt.NDArray[np.bool_],
    home: npt.NDArray[np.int64],
) -> npt.NDArray[np.int64]:
    """Milliseconds of looking before sequences, shape (n,).

    ``chance`` (n,): index into ``chances``, whose slots are seen from the hands; ``its``: the
    traits of each chance's technique. ``places`` and ``moved`` (n, 8): the places of the slot
    pieces as seen from the hands, and whether the sequence before moved them; ``home`` (8,): their
    places when solved, at the present offset.
    """
    look = np.array([eyes.base_ms + eyes.technique_ms.get(one.technique, 0) for one in chances])
    fills = np.array([[slot in one.slots for slot in range(4)] * 2 for one in chances])
    corner_up = np.array([one.inserts_alone == "corner" for one in its])
    sought = fills[chance] & (places != home)
    each = np.array([eyes.corner_ms, eyes.edge_ms])[_KIND, moved.astype(np.int64), places]
    each[:, :4] += corner_up[chance, None] * eyes.corner_up_ms[places[:, :4]]
    result: npt.NDArray[np.int64] = look[chance] + (sought * each).sum(axis=1)
    return result


def _after(
    nodes: _Nodes,
    parent: npt.NDArray[np.int64],
    entries: Entries,
    entry: npt.NDArray[np.int64],
    chances: list[Chance],
    chance: npt.NDArray[np.int64],
    looking: npt.NDArray[np.int64],
) -> _Batch:
    """The positions after ``entries`` are turned in the positions of their parents."""
    before = nodes.places[parent]
    places = before
    turns = entries.turns[entry]
    for turn in turns[:, (turns != NO_TURN).any(axis=0)].T:
        places = _MOVED[_KIND, turn[:, None], places]
    slot = entries.front[entry].astype(np.int64)
    seen, moved = _seen(places.astype(np.int64), places != before, slot)
    first = nodes.first[parent]
    if len(nodes.steps[0]) == 0:
        sets = np.array([sum(1 << s for s in one.slots) for one in chances], dtype=np.int64)
        front = nodes.front[parent]
        first = sets[chance]
        first = (first << front | first >> 4 - front) & 15
    return _Batch(
        nodes, parent, entries, entry, chances, chance, looking, seen,
        (nodes.front[parent] + slot) % 4, moved,
        nodes.ms[parent] + entries.ms[entry] + looking, first,
    )  # fmt: skip


def _cheapest(batch: _Batch) -> _Batch:
    """Only the cheapest position of a batch."""
    return _part(batch, np.arange(len(batch.ms)) == (batch.ms.argmin() if len(batch.ms) else 0))


def _part(batch: _Batch, chosen: npt.NDArray[np.bool_]) -> _Batch:
    return batch._replace(
        parent=batch.parent[chosen],
        entry=batch.entry[chosen],
        chance=batch.chance[chosen],
        looking=batch.looking[chosen],
        places=batch.places[chosen],
        front=batch.front[chosen],
        moved=batch.moved[chosen],
        ms=batch.ms[chosen],
        first=batch.first[chosen],
    )


def _best(batches: Sequence[_Batch]) -> _Nodes:
    """The cheapest positions, without duplicates; some for each first pair."""
    of = np.repeat(np.arange(len(batches)), [len(batch.ms) for batch in batches])
    within = np.concatenate([np.arange(len(batch.ms)) for batch in batches])
    places = np.concatenate([batch.places for batch in batches])
    front = np.concatenate([batch.front for batch in batches])
    moved = np.concatenate([batch.moved for batch in batches])
    ms = np.concatenate([batch.ms for batch in batches])
    first = np.concatenate([batch.first for batch in batches])
    key = (front << 4 | first) << 48 | (places << 1 | moved) @ _DIGITS
    order = np.lexsort((key, ms))
    _, unique = np.unique(key[order], return_index=True)
    order = order[np.sort(unique)]
    chosen = np.zeros(len(order), dtype=np.bool_)
    chosen[:_WIDTH] = True
    for one in np.unique(first):
        chosen[np.flatnonzero(first[order] == one)[:_EACH_FIRST]] = True
    order = order[chosen]
    steps = []
    for number, row in zip(of[order].tolist(), within[order].tolist(), strict=True):
        batch = batches[number]
        parent = int(batch.parent[row])
        step = (
            batch.chances[int(batch.chance[row])],
            int(batch.nodes.front[parent]),
            int(batch.entry[row]),
            int(batch.looking[row]),
        )
        steps.append((*batch.nodes.steps[parent], step))
    return _Nodes(places[order], front[order], moved[order], ms[order], first[order], steps)
