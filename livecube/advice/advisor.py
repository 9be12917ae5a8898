"""The advisor: from a position to all that is possible, priced and ranked."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from livecube.advice.beginning import Beginning, Way
from livecube.advice.chances import ChanceFinder, Chances
from livecube.advice.opportunity import Advice, Opportunity
from livecube.advice.order import orders
from livecube.advice.ranking import best_rows, one_each
from livecube.advice.rules import BEFORE_THE_EYES, Case, apply_rules, before_the_eyes
from livecube.advice.two_steps import composed, cross_and_two_pairs, two_plain_pairs
from livecube.advice.words import cross_sentence, repair_sentence, sentence
from livecube.cube.geometry import OPPOSITE
from livecube.cube.holding import Holding
from livecube.cube.position import apply_turns
from livecube.cube.turns import merge
from livecube.hands.pricing import Pricer
from livecube.search.engine import Engine
from livecube.search.keeping import kept
from livecube.search.situation import Situation, slot_bits
from livecube.search.task import Task
from livecube.stages.frame import FRAMES
from livecube.techniques.base import About, Chance, Level, about

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from livecube.advice.order import Order
    from livecube.advice.ranking import Chosen
    from livecube.cube.geometry import Array
    from livecube.hands.model import Hands
    from livecube.hands.pricing import Written
    from livecube.search.task import Found
    from livecube.techniques.base import Technique

__all__ = ["Advisor", "likely_cross"]

_BESIDE = {"cross": About("Cross"), "repair": About("Repair")}
"""What is answered beside the techniques."""
_AT_BEGINNING: Final = 6
"""Rows that are looked at while solving."""
_AT_ONCE: Final = 2
"""So many slots that are out are brought in by one search."""
_ALL_PIECES: Final = 0b11111111
"""The pieces of all four slots."""


class _Ranked(NamedTuple):
    """A sequence that is good enough to be told."""

    number: int
    """Of its chance."""
    turns: tuple[int, ...]
    """In the fixed frame."""
    written: Written
    top_kept: int
    pairs_kept: int


class Advisor:
    """Finds and prices every opportunity of a position. Not for two threads at once."""

    def __init__(
        self,
        engine: Engine,
        techniques: Sequence[Technique],
        hands: Hands,
        level: Level = Level.CALM,
    ) -> None:
        self.engine = engine
        self.level = level
        """How much the solver wants to hear; rows above it are silenced, not left out."""
        self._techniques = tuple(techniques)
        self._hands = hands
        self._by_id = {technique.id: technique for technique in techniques}
        self._about = _BESIDE | {technique.id: about(technique) for technique in techniques}
        self._pricer = Pricer(hands)
        self._finder = ChanceFinder(self._techniques, {k: v.level for k, v in self._about.items()})

    def speaks_of(self, technique: str) -> bool:
        """Whether the level speaks of a technique that this advisor knows."""
        return technique in self._by_id and self._about[technique].level <= self.level

    def twin(self) -> Advisor:
        """Another advisor of the same kind, for another thread; tables are shared."""
        engine = Engine(self.engine.tables)
        engine.pairs, engine.book = self.engine.pairs, self.engine.book
        return Advisor(engine, self._techniques, self._hands, self.level)

    def advise(
        self,
        position: Array,
        face: int,
        holding: Holding | None = None,
        *,
        inspection: bool = True,
        extra: int = 0,
        most: int | None = None,
    ) -> Advice:
        """The opportunities for the cross on ``face``, best first.

        ``holding``: how the cube is held; None: the cross down and for each row the front that
        makes it cheapest. ``inspection``: what to look for while the cross is not whole: X-crosses
        (True), or, in the middle of a solve, only the shortest way to each slot. ``extra``: also
        sequences up to so many turns longer than the shortest. ``most``: so many rows are
        enough, which is quicker, and what goes on by another technique is left out; None: all.
        """
        situation = Situation.of(position, face)
        hurry = most is not None
        chances = self._finder.find(situation, inspection=inspection, hurry=hurry, extra=extra)
        if not chances.each:
            return _advice(situation, ())
        found = self.engine.answer(situation, chances.tasks)
        if chances.goes_on:
            found = composed(self.engine, situation, chances.each, found, self._by_id)
        # Further searches may use the engine's arrays again, so they come last.
        ranked = self._ranked(situation, chances, found, holding, most)
        yardstick = _shortest_of(chances, found, "plain")
        if chances.doubles is not None and situation.offset == 0:
            for slots in {chances.each[row.number].slots for row in ranked}:
                if len(slots) == 2:
                    yardstick[slots] = two_plain_pairs(self.engine, situation, slots)
        cross_turns = None
        if situation.offset is None and inspection:
            cross_turns, both = cross_and_two_pairs(self.engine, situation)
            yardstick = {(i, j): both for i in range(4) for j in range(4) if i != j}
        rows = self._explained(situation, chances, ranked, yardstick)
        return _advice(situation, rows, cross_turns)

    def at_beginning(
        self,
        position: Array,
        face: int,
        holding: Holding | None = None,
        standing: Opportunity | None = None,
    ) -> Beginning:
        """The one answer in the middle of a solve: what is best, and whether that is said.

        ``standing``: the hint that stands, if one does; it is worked out how it is done from here.
        """
        advice = self.refine(position, face, holding, most=_AT_BEGINNING)
        assert advice is not None
        rows = tuple(row for row in advice.opportunities if not row.silenced)
        way = None if standing is None else self._way(position, face, holding, standing, rows)
        if not rows:
            return Beginning((), standing=way)
        before = advice.opportunities[: advice.opportunities.index(rows[0])]
        rules = tuple(note.rule for row in before for note in row.notes if note.silences)
        silence = None
        if self.level > Level.CALM and before_the_eyes(Situation.of(position, face), rows[0]):
            silence = BEFORE_THE_EYES
        found = orders(self, position, face, holding)
        return Beginning(rows, rows[0].seconds_with_next, silence, rules, found or (), way)

    def same_way(
        self, position: Array, face: int, holding: Holding | None, row: Opportunity
    ) -> Opportunity | None:
        """The fastest row of the same technique into the same slots here; None: there is none.

        It is compared with nothing but the plain way that ``row`` was compared with.
        """
        situation = Situation.of(position, face)
        technique = self._by_id.get(row.technique)
        every = technique.chances(situation) if technique else ()
        chances = Chances.of(
            situation, [one for one in every if situation.slot_names(one.slots) == row.slots]
        )
        if not chances.each:
            return None
        return self._fastest(situation, chances, holding)

    def _way(
        self,
        position: Array,
        face: int,
        holding: Holding | None,
        standing: Opportunity,
        rows: Sequence[Opportunity],
    ) -> Way | None:
        """How a hint is done from here, and what that takes: as in ``rows``, if it is there."""
        alike = (r for r in rows if (r.technique, r.slots) == (standing.technique, standing.slots))
        if (row := next(alike, None)) is None:
            row = self.same_way(position, face, holding, standing)
            row = row and self._with_next(position, face, row)
        return None if row is None else Way(row, row.seconds_with_next)

    def repair(
        self, position: Array, face: int, holding: Holding | None = None
    ) -> Opportunity | None:
        """The fastest way to have all four slots in; None: none is out, or no cross is whole.

        With more than two out it is the best order of the pairs, since a search would take long.
        """
        situation = Situation.of(position, face)
        out = slot_bits(situation.free)
        if situation.offset is None or not out:
            return None
        if len(out) > _AT_ONCE:
            found = orders(self, position, face, holding)
            return _as_one(found[0]) if found else None
        task = Task(goal=_ALL_PIECES, extra=1 if len(out) == 1 else 0)
        chance = Chance("repair", tuple(out), task, "the fastest way to have all four in")
        row = self._fastest(situation, Chances.of(situation, [chance]), holding)
        return None if row is None else replace(row, why=repair_sentence(row), notes=())

    def _fastest(
        self, situation: Situation, chances: Chances, holding: Holding | None
    ) -> Opportunity | None:
        """The best row of chances that all have the same slots."""
        found = self.engine.answer(situation, chances.tasks)
        if chances.goes_on:
            found = composed(self.engine, situation, chances.each, found, self._by_id)
        ranked = self._ranked(situation, chances, found, holding, 1)
        return next(iter(self._explained(situation, chances, ranked, {})), None)

    def quickest(
        self, position: Array, face: int, holding: Holding | None = None
    ) -> tuple[Opportunity, ...]:
        """For each set of slots the quickest row, also of techniques that another goes on from.

        They are compared with nothing. Best first; none if the cross is whole at no offset, or no
        slot is free.
        """
        situation = Situation.of(position, face)
        chances = self._finder.find(situation, level=self.level)
        if situation.offset is None or not chances.each:
            return ()
        found = self.engine.answer(situation, chances.tasks)
        if chances.goes_on:
            found = composed(self.engine, situation, chances.each, found, self._by_id)
        ranked = self._ranked(situation, chances, found, holding, 1, one_each)
        first: dict[tuple[str, ...], Opportunity] = {}
        for row in self._explained(situation, chances, ranked, {}):
            first.setdefault(row.slots, row)
        return tuple(first.values())

    def crosses(
        self, position: Array, face: int, holding: Holding | None = None
    ) -> tuple[Opportunity, ...]:
        """All shortest crosses on ``face``, best first; none if it is whole at offset 0.

        Their rows have the technique ``cross`` and no slots; ``holding`` as in :meth:`advise`.
        """
        situation = Situation.of(position, face)
        if situation.offset == 0:
            return ()
        chances = Chances.of(situation, [Chance("cross", (), Task(goal=0), "no cross is shorter")])
        found = self.engine.answer(situation, chances.tasks)
        ranked = self._ranked(situation, chances, found, holding, None)
        return tuple(
            replace(row, why=cross_sentence(row), notes=())
            for row in self._explained(situation, chances, ranked, {})
        )

    def refine(
        self,
        position: Array,
        face: int,
        holding: Holding | None = None,
        *,
        most: int = 6,
        stopped: Callable[[], bool] = lambda: False,
    ) -> Advice | None:
        """The better answer, which takes longer: a turn more is allowed, the next pair counts.

        Each of the ``most`` cheapest rows gets a preview of the pair that follows it, held as it
        ends; they are ranked by the seconds of both pairs together. None if ``stopped`` says
        that nobody wants the answer any more.
        """
        advice = self.advise(position, face, holding, inspection=False, extra=1, most=most)
        rows = []
        for row in advice.opportunities:
            if stopped():
                return None
            rows.append(self._with_next(position, face, row))
        rows.sort(key=lambda row: (row.seconds_with_next, row.turns, -row.top_kept))
        return replace(advice, opportunities=tuple(rows))

    def _with_next(self, position: Array, face: int, row: Opportunity) -> Opportunity:
        """A row with a preview of the best pair after it, held as this one ends."""
        then = Situation.of(apply_turns(position, row.turns_fixed), face)
        chances = self._finder.find(then, hurry=True)
        if not chances.each:
            return replace(row, next_seconds=0.0)
        found = self.engine.answer(then, chances.tasks)
        if not len(found.lengths):
            return row  # the search was stopped
        prices = self._pricer.prices(
            found.turns, found.lengths, found.tasks, then.fixed_turns, (row.ends,),
            OPPOSITE[face], keep=1,
        )  # fmt: skip
        best = int(prices.seconds.argmin())
        number = int(found.tasks[best])
        return replace(
            row,
            next_plain=min(_shortest_of(chances, found, "plain").values(), default=None),
            next_turns=int(found.lengths.min()),
            next_seconds=float(prices.seconds[best]),
            next_technique=chances.each[number].technique,
            next_slots=chances.names[number],
        )

    def _ranked(
        self,
        situation: Situation,
        chances: Chances,
        found: Found,
        holding: Holding | None,
        most: int | None,
        chosen: Chosen = best_rows,
    ) -> list[_Ranked]:
        """The sequences that are ``chosen`` from all in their order, written for the hands."""
        up = OPPOSITE[situation.face]
        starts = (holding,) if holding else _cross_down(situation.face)
        prices = self._pricer.prices(
            found.turns, found.lengths, found.tasks, situation.fixed_turns, starts, up, most
        )
        top, pairs = kept(situation, found, chances.slots)
        return [
            _Ranked(
                int(found.tasks[row]),
                situation.fixed(found.turns[row].tolist()[: found.lengths[row]]),
                prices.written(row),
                int(top[row]),
                int(pairs[row]),
            )
            for row in chosen(prices.seconds, top, found, chances, most)
        ]

    def _explained(
        self,
        situation: Situation,
        chances: Chances,
        ranked: Sequence[_Ranked],
        yardstick: dict[tuple[int, ...], int],
    ) -> tuple[Opportunity, ...]:
        """Rows with their comparison, their sentence and what the rules say of each."""
        aligned = situation.offset == 0
        against = "plain" if aligned else "the cross and two plain pairs"
        others = [(chances.names[row.number], row.written.seconds) for row in ranked]
        rows = []
        for row in ranked:
            chance, slots = chances.each[row.number], chances.names[row.number]
            written, length = row.written, len(row.turns)
            words, compared = self._about[chance.technique], yardstick.get(chance.slots)
            aside = row.turns[0] % 3 + 1 if row.turns[0] // 3 == situation.face else 0
            through = chance.doors[aside]
            door = None if through is None else situation.slot_name(through)
            case = Case(
                situation, chance.technique, chance.slots, slots, written, row.top_kept,
                row.pairs_kept, others, words.level, self.level,
            )  # fmt: skip
            why = sentence(
                words.title, chance, slots, written.holding, length, door, compared, against
            )
            rows.append(
                Opportunity(
                    technique=chance.technique,
                    title=words.title,
                    slots=slots,
                    turns_fixed=row.turns,
                    moves=written.moves,
                    holding=written.holding,
                    turns=length,
                    plain_turns=compared if aligned else None,
                    top_kept=row.top_kept,
                    pairs_kept=row.pairs_kept,
                    seconds=written.seconds,
                    why=why,
                    door=door,
                    notes=apply_rules(case),
                )
            )
        return tuple(rows)


def _as_one(order: Order) -> Opportunity:
    """All steps of an order as one row."""
    first = order.steps[0]
    turns = tuple(merged.turn for merged in merge([t for s in order.steps for t in s.turns_fixed]))
    row = replace(
        first,
        technique="repair",
        title=_BESIDE["repair"].title,
        slots=order.slots,
        turns_fixed=turns,
        moves=tuple(move for step in order.steps for move in step.moves),
        turns=len(turns),
        seconds=order.seconds,
        plain_turns=None,
        door=None,
        notes=(),
    )
    return replace(row, why=repair_sentence(row))


@cache
def _cross_down(face: int) -> tuple[Holding, ...]:
    """The four holdings with a face down."""
    up = OPPOSITE[face]
    return tuple(Holding.of(up, front) for front in range(6) if front not in (up, face))


def _advice(
    situation: Situation, rows: tuple[Opportunity, ...], cross_turns: int | None = None
) -> Advice:
    solved = situation.slot_names(slot_bits(situation.solved))
    return Advice(situation.colour, situation.offset, solved, cross_turns, rows)


def _shortest_of(chances: Chances, found: Found, technique: str) -> dict[tuple[int, ...], int]:
    """Turns of the shortest sequence of one technique for each target."""
    lengths: dict[tuple[int, ...], int] = {}
    for number, chance in enumerate(chances.each):
        if chance.technique == technique:
            first = int(found.tasks.searchsorted(number))
            if first < len(found.tasks) and found.tasks[first] == number:
                lengths[chance.slots] = int(found.lengths[first])
    return lengths


def likely_cross(position: Array) -> int:
    """The face whose cross the position most likely belongs to.

    Among whole crosses with a free slot the one with the most solved slots (aligned ones
    first); else one whose slots are all solved; white if no cross is whole.
    """
    code = bytes(np.asarray(position, dtype=np.uint8).tolist())
    rows = [(frame.face, frame.row(0, code)) for frame in FRAMES]
    whole = [
        (row.solved != 15, row.solved.bit_count(), row.offset == 0, -face)
        for face, row in rows
        if row
    ]
    return -max(whole)[-1] if whole else 0
