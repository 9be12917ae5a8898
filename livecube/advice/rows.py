"""Rows of advice: sequences found, priced and explained."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from itertools import permutations
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from livecube.advice.beam import looking_before
from livecube.advice.opportunity import Opportunity, PlainWay
from livecube.advice.rules import Case, apply_rules
from livecube.advice.words import plan_words, sentence
from livecube.cube.holding import HOLDINGS, Holding
from livecube.cube.position import apply_turns
from livecube.cube.turns import htm, merge
from livecube.search.coordinates import DOWN_ROTATIONS, SLOT_SYMMETRY, turn_map
from livecube.search.hand_arrays import UPRIGHT, holding_in_down_frame
from livecube.search.keeping import kept
from livecube.search.situation import PLACES_AT, Situation
from livecube.search.written import FASTEST_MS, MOST_WAYS
from livecube.techniques.base import About, Chance, Level, about
from livecube.techniques.plain import plain_task

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from livecube.advice.beam import Line
    from livecube.search.answers import Answers
    from livecube.search.engine import Engine
    from livecube.search.written import Written
    from livecube.techniques.base import Technique

__all__ = ["Row", "Rows", "held_as", "starts_of"]

_NOTHING_MOVED: Final = (False,) * 8
_FIRST_PARTS: Final = 12
"""So many first parts of a technique that goes on by another are carried on."""
_BESIDE: Final = {"cross": About("Cross"), "repair": About("Repair")}
"""What is answered beside the techniques."""


class Row(NamedTuple):
    """A sequence of a chance."""

    chance: Chance
    way: Written
    looking_ms: int
    shortest: bool = False
    fastest: bool = True


class Rows:
    """Finds the sequences of techniques and tells them as opportunities.

    ``engine`` finds the shortest ones; without it there are only the fastest.
    """

    def __init__(
        self, answers: Answers, techniques: Sequence[Technique], engine: Engine | None
    ) -> None:
        self._answers = answers
        self._engine = engine
        self.level = Level.CALM
        """How much the solver wants to hear; rows above it are silenced, not left out."""
        self._by_id = {technique.id: technique for technique in techniques}
        self._about = _BESIDE | {technique.id: about(technique) for technique in techniques}

    def fastest(
        self,
        situation: Situation,
        chances: Iterable[Chance],
        starts: Sequence[int],
        moved: Sequence[bool] = _NOTHING_MOVED,
    ) -> list[Row]:
        """The fastest ways of each chance, cheapest first for each; none of a yardstick."""
        rows = []
        for chance in chances:
            if getattr(self._by_id.get(chance.technique), "is_yardstick", False):
                continue
            for way in self._ways(situation, chance, starts):
                looking = self._looking(situation, chance, way, moved)
                rows.append(Row(chance, way, looking))
        return rows

    def _ways(self, situation: Situation, chance: Chance, starts: Sequence[int]) -> list[Written]:
        if chance.then:
            return self._composed(situation, chance, starts)
        return self._answers.ways(situation, [chance.task], starts)

    def _composed(
        self, situation: Situation, chance: Chance, starts: Sequence[int]
    ) -> list[Written]:
        """A technique that goes on by another, which no one search can find.

        The first part is one with the fewest turns; behind each the fastest second part is looked
        up, and both together are spelled anew. So the whole is not proven to be the fastest.
        """
        from livecube.search.spelling import spelled  # late: it needs the kernels

        if self._engine is None:
            return []
        wholes = set()
        for first in self._engine.solve(situation, [chance.task])[0][:_FIRST_PARTS]:
            down = apply_turns(situation.position, first)
            after = Situation.of_down(down, situation.face)
            for name in chance.then:
                for onward in self._by_id[name].chances(after):
                    if onward.slots == chance.then_into:
                        for second in self._answers.ways(
                            after, [onward.task], [*UPRIGHT], however_dear=False
                        ):
                            wholes.add(first + second.turns)
        whole = [turns for turns in wholes if htm(turns) == len(turns)]
        ways = sorted(spelled(self._answers.hands, whole, starts), key=lambda way: way.ms)
        return [way for way in ways if way.ms <= ways[0].ms + FASTEST_MS][:MOST_WAYS]

    def _looking(
        self,
        situation: Situation,
        chance: Chance,
        way: Written,
        moved: Sequence[bool] = _NOTHING_MOVED,
    ) -> int:
        """Milliseconds of looking before a sequence; none in inspection, which has its own time.

        ``moved``: which slot pieces the sequence before has moved.
        """
        if not chance.slots or chance.technique == "repair" or situation.offset is None:
            return 0
        front = int(self._answers.hands.front[way.start])
        seen = [
            int(SLOT_SYMMETRY[front, i // 4, situation.places[(front + i) % 4 + 4 * (i // 4)]])
            for i in range(8)
        ]
        home = PLACES_AT[situation.offset or 0]
        slots = tuple((slot - front) % 4 for slot in chance.slots)
        return int(
            looking_before(
                self._answers.automaton.looking,
                [chance._replace(slots=slots)],
                np.zeros(1, dtype=np.int64),
                np.array([seen]),
                np.array([[moved[(front + i) % 4 + 4 * (i // 4)] for i in range(8)]]),
                home,
            )[0]
        )

    def with_shortest(
        self,
        situation: Situation,
        chances: Sequence[Chance],
        starts: Sequence[int],
        rows: Sequence[Row],
    ) -> list[Row]:
        """All shortest sequences too; one that is a fastest as well is one row.

        Opposite turns in another order make the same sequence here.
        """
        from livecube.advice.two_steps import composed
        from livecube.search.spelling import spelled

        assert self._engine is not None
        found = composed(self._engine, situation, chances, self._by_id)
        told, known = list(rows), defaultdict[tuple[object, ...], list[int]](list)
        for number, row in enumerate(rows):
            key = row.chance.technique, row.chance.slots, _in_one_order(row.way.turns)
            known[key].append(number)
        for chance, sequences in zip(chances, found, strict=True):
            for way in spelled(self._answers.hands, sequences, starts):
                key = chance.technique, chance.slots, _in_one_order(way.turns)
                same = known[key]
                for number in same:
                    told[number] = told[number]._replace(shortest=True)
                if not same:
                    looking = self._looking(situation, chance, way)
                    known[key].append(len(told))
                    told.append(Row(chance, way, looking, shortest=True, fastest=False))
        return told

    def told(
        self,
        situation: Situation,
        rows: Sequence[Row],
        starts: Sequence[int],
        lines: Sequence[Line] = (),
        *,
        against_plain: bool = False,
    ) -> list[Opportunity]:
        """Rows with their comparison, their sentence and what the rules say of each."""
        plain: dict[tuple[int, ...], PlainWay | None] = {}
        told = []
        for row in rows:
            slots = row.chance.slots
            if slots and slots not in plain:
                wanted = against_plain or len(slots) == 1
                plain[slots] = self.plain_way(situation, slots, starts) if wanted else None
            line = next((one for one in lines if one.steps[0].chance.slots == slots), None)
            told.append(self.opportunity(situation, row, plain.get(slots), line))
        return told

    def opportunity(
        self, situation: Situation, row: Row, plain: PlainWay | None, line: Line | None
    ) -> Opportunity:
        """One row as it is told; ``line``: the plan that begins with it."""
        chance, way = row.chance, row.way
        names = situation.slot_names(chance.slots)
        words = self._about[chance.technique]
        top, pairs = kept(situation, way.turns, chance.slots)
        aside = way.turns[0] % 3 + 1 if way.turns and way.turns[0] // 3 == 5 else 0
        through = chance.doors[aside]
        told = Opportunity(
            technique=chance.technique,
            title=words.title,
            slots=names,
            turns_fixed=situation.fixed(way.turns),
            moves=self._answers.moves(way.tokens),
            holding=held_as(way.start, situation.face),
            turns=htm(way.turns),
            plain=plain,
            top_kept=top,
            pairs_kept=pairs,
            seconds=way.ms / 1000,
            looking=row.looking_ms / 1000,
            why="",
            door=None if through is None else situation.slot_name(through),
            shortest=row.shortest,
            fastest=row.fastest,
        )
        case = Case(situation, chance.slots, told, words.level, self.level)
        told = replace(told, notes=apply_rules(case))
        leaves = "" if line is None else plan_words(situation, line)
        return replace(told, why=sentence(told, chance.why, leaves))

    def plain_way(
        self, situation: Situation, slots: tuple[int, ...], starts: Sequence[int]
    ) -> PlainWay | None:
        """The fastest plain way into slots, for two the better order; None away from offset 0."""
        if situation.offset != 0 or any(not situation.free >> slot & 1 for slot in slots):
            return None
        best: PlainWay | None = None
        for first, *others in permutations(slots):
            for row in self._plain_rows(situation, first, starts):
                way = PlainWay(htm(row.way.turns), row.way.ms / 1000, row.looking_ms / 1000)
                if others:
                    down = apply_turns(situation.position, row.way.turns)
                    after = Situation.of_down(down, situation.face)
                    end = [int(UPRIGHT[self._answers.hands.front[row.way.end]])]
                    moved = (after.places != situation.places).tolist()
                    onward = self._plain_rows(after, others[0], end, moved)
                    if not onward:
                        continue
                    way = PlainWay(
                        way.turns + htm(onward[0].way.turns),
                        way.seconds + onward[0].way.ms / 1000,
                        way.looking + onward[0].looking_ms / 1000,
                    )
                if best is None or way.seconds + way.looking < best.seconds + best.looking:
                    best = way
        return best and self._fewest_turns(situation, slots, best)

    def _fewest_turns(
        self, situation: Situation, slots: tuple[int, ...], way: PlainWay
    ) -> PlainWay:
        """A plain way whose turns are those of the shortest one, where that can be known."""
        from livecube.advice.two_steps import two_plain_pairs

        if self._engine is None:
            return way
        if len(slots) == 2:
            return way._replace(turns=two_plain_pairs(self._engine, situation, slots))
        return way._replace(turns=self._engine.shortest(situation, plain_task(situation, slots[0])))

    def _plain_rows(
        self,
        situation: Situation,
        slot: int,
        starts: Sequence[int],
        moved: Sequence[bool] = _NOTHING_MOVED,
    ) -> list[Row]:
        if not situation.free >> slot & 1:
            return []
        chance = Chance("plain", (slot,), plain_task(situation, slot), "")
        return self.fastest(situation, [chance], starts, moved)


def _in_one_order(turns: Sequence[int]) -> tuple[int, ...]:
    """Turns with neighbouring turns of opposite faces in one order."""
    return tuple(merged.turn for merged in merge(turns))


def held_as(number: int, face: int) -> Holding:
    """A holding of the down frame as one of the fixed frame."""
    down = [turn // 3 for turn in turn_map(DOWN_ROTATIONS[face])[::3]]
    a, b, c, d, e, f = (down.index(one) for one in HOLDINGS[number].faces)
    return Holding((a, b, c, d, e, f))


def starts_of(holding: Holding | None, face: int) -> list[int]:
    """Numbers of the holdings, in the down frame, from which a sequence may begin."""
    return [*UPRIGHT] if holding is None else [holding_in_down_frame(holding, face)]
