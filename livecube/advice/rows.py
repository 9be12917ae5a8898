"""Rows of advice: sequences found, priced and explained."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field, replace
from functools import reduce
from itertools import permutations
from typing import TYPE_CHECKING, Any, Final, NamedTuple

import numpy as np

from livecube.advice.plan import looking_before
from livecube.advice.words import Case, apply_rules, plan_words, sentence
from livecube.cube.geometry import OPPOSITE
from livecube.cube.holding import HOLDINGS, Holding
from livecube.cube.notation import moves_text
from livecube.cube.position import apply_turns, htm, in_one_order, merge, turns_text
from livecube.search.hand_arrays import UPRIGHT, holding_in_down_frame
from livecube.search.situation import (
    DOWN_ROTATIONS,
    PLACES_AT,
    SLOT_SYMMETRY,
    Situation,
    kept,
    slot_bits,
    turn_map,
)
from livecube.search.spelling import spelled
from livecube.search.task import fastest_of
from livecube.techniques.base import USUAL, About, Chance, Level, about, traits
from livecube.techniques.plain import Plain, plain_task
from livecube.timing.results import to_the_millisecond

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from livecube.advice.plan import Line, Plan
    from livecube.advice.words import Note
    from livecube.cube.holding import Move
    from livecube.search.answers import Answers
    from livecube.search.engine import Engine
    from livecube.search.task import Written
    from livecube.techniques.base import Technique, Traits

__all__ = ["Advice", "Opportunity", "PlainWay", "Priced", "Row", "Rows", "held_as", "starts_of"]

# An opportunity: one sequence of one technique, with its prices.


class PlainWay(NamedTuple):
    """The plain way into an opportunity's slots, to compare with; for two, the better order."""

    turns: int
    """Fewest turns (HTM); without an engine, those of the fastest way."""
    seconds: float
    """Seconds of turning of the fastest way."""
    looking: float
    """Seconds of looking before the pairs."""


class Priced(NamedTuple):
    """What turns cost the hands, by their table."""

    seconds: float
    first: float
    """Of it, the first turn and the rotations before it: they are made at the end of a pause."""


@dataclass(frozen=True, slots=True)
class Opportunity:
    """One sequence of one technique."""

    technique: str
    title: str
    """The usual name of the technique."""
    slots: tuple[str, ...]
    turns_fixed: tuple[int, ...]
    moves: tuple[Move, ...]
    """The same turns in the hands, beginning with ``holding``."""
    holding: Holding
    turns: int
    """Half-turn metric."""
    plain: PlainWay | None
    """The plain way into the same slots; None away from offset 0, or if it is unknown."""
    top_kept: int
    """Upper-layer pieces, except targets, that stay where they are, up to a turn of the layer."""
    pairs_kept: int
    """Made pairs of other slots that stay joined."""
    seconds: float
    """Predicted seconds of turning, until the cross is down again."""
    looking: float
    """Expected seconds of looking before the first turn."""
    why: str
    """One sentence that a person can act on."""
    door: str | None = None
    """The free slot that a keyhole uses; None: not a keyhole."""
    notes: tuple[Note, ...] = ()
    """Notes from the rules of the trade."""
    shortest: bool = False
    """Whether no sequence of the technique into these slots has fewer turns."""
    fastest: bool = True
    """Whether it takes at most 0.05 s more turning than the fastest of these sequences."""
    also: tuple[str, ...] = ()
    """In a plan: further slots that the sequence happens to fill."""
    then: Plan | None = None
    """In inspection: the plan for the pairs after it; None: not computed, or none found."""
    traits: Traits = field(default=USUAL, repr=False)
    """The traits of the technique."""

    @property
    def ends(self) -> Holding:
        """How the cube is held after the moves."""
        return reduce(Holding.after, self.moves, self.holding)

    @property
    def total(self) -> float:
        """Seconds of looking, of turning, and of the plan after it, if there is one."""
        return self.looking + self.seconds + (self.then.total if self.then else 0.0)

    @property
    def silenced(self) -> bool:
        """Whether a rule forbids a hint about it."""
        return any(note.silences for note in self.notes)

    def as_json(self) -> dict[str, Any]:
        """The row of machine-readable output."""
        return {
            "technique": self.technique,
            "slots": list(self.slots),
            "turns_fixed": turns_text(self.turns_fixed),
            "moves": moves_text(self.moves),
            "up": self.holding.up,
            "front": self.holding.front,
            "turns": self.turns,
            "shortest": self.shortest,
            "fastest": self.fastest,
            "plain_turns": self.plain and self.plain.turns,
            "plain_seconds": self.plain and to_the_millisecond(self.plain.seconds),
            "plain_looking": self.plain and to_the_millisecond(self.plain.looking),
            "top_kept": self.top_kept,
            "pairs_kept": self.pairs_kept,
            "seconds": to_the_millisecond(self.seconds),
            "looking": to_the_millisecond(self.looking),
            "door": self.door,
            "why": self.why,
            "notes": [{"rule": note.rule, "text": note.text} for note in self.notes],
            "silenced": self.silenced,
            **({"then": self.then.as_json()} if self.then else {}),
        }


@dataclass(frozen=True, slots=True)
class Advice:
    """All opportunities of one position for one cross colour, best first."""

    cross: str
    offset: int | None
    solved_slots: tuple[str, ...]
    cross_turns: int | None
    """Turns of the shortest cross; None if the cross is whole, or without an engine."""
    opportunities: tuple[Opportunity, ...]
    plan: Plan | None
    """The best plan; None if the cross is not whole, no slot is free, or there is no plan."""
    plans: tuple[Plan, ...]
    """For each first pair the best plan, the best of all first."""

    def as_json(self, advice_ms: float) -> dict[str, Any]:
        """The object of machine-readable output."""
        return {
            "cross": self.cross,
            "offset": self.offset,
            "solved_slots": list(self.solved_slots),
            "cross_turns": self.cross_turns,
            "advice_ms": round(advice_ms, 3),
            "opportunities": [row.as_json() for row in self.opportunities],
            "plan": self.plan and self.plan.as_json(),
            "plans": [plan.as_json() for plan in self.plans],
        }


_NOTHING_MOVED: Final = (False,) * 8
_FIRST_PARTS: Final = 12
"""Of a chance with a second part, at most this many first parts are continued."""
_REMEMBERED: Final = 10_000
"""Most prices of looking that are kept in memory."""
_BESIDE: Final = {"cross": About("Cross"), "repair": About("Repair")}
"""Rows that do not come from techniques."""


class Row(NamedTuple):
    """A sequence of a chance."""

    chance: Chance
    way: Written
    looking_ms: int
    shortest: bool = False
    fastest: bool = True


class Rows:
    """Finds the sequences of techniques and describes them as opportunities.

    ``engine`` finds the shortest sequences; without it only the fastest are found.
    """

    def __init__(
        self, answers: Answers, techniques: Sequence[Technique], engine: Engine | None
    ) -> None:
        self._answers = answers
        self._engine = engine
        self.level = Level.CALM
        """How much the solver wants to hear. Rows above it are marked as silenced, and stay."""
        self._by_id = {technique.id: technique for technique in techniques}
        self._traits = {technique.id: traits(technique) for technique in techniques}
        self._about = _BESIDE | {technique.id: about(technique) for technique in techniques}
        self._looked: dict[tuple[object, ...], int] = {}

    def fastest(
        self,
        situation: Situation,
        chances: Iterable[Chance],
        starts: Sequence[int],
        moved: Sequence[bool] = _NOTHING_MOVED,
    ) -> list[Row]:
        """The fastest ways of each chance, cheapest first for each; yardsticks are skipped.

        A chance in two parts that begins with the cross may have quick ways that are not proven to
        be the fastest.
        """
        chances = [chance for chance in chances if not self._traits_of(chance).is_yardstick]
        whole = [chance.task for chance in chances if chance.second is None]
        self._answers.look_up(situation, whole, starts)
        rows = []
        for chance in chances:
            parts = [chance.task] if chance.second is None else [chance.task, chance.second]
            ways, proven = self._answers.ways(situation, parts, starts), True
            if chance.then and not ways and situation.offset is None:
                ways, proven = self._composed(situation, chance, starts), False
            looking: dict[int, int] = {}  # it depends on the holding only
            for way in ways:
                if way.start not in looking:
                    looking[way.start] = self.looking_ms(situation, chance, way, moved)
                rows.append(Row(chance, way, looking[way.start], fastest=proven))
        return rows

    def _traits_of(self, chance: Chance) -> Traits:
        return self._traits.get(chance.technique, USUAL)

    def _composed(
        self, situation: Situation, chance: Chance, starts: Sequence[int]
    ) -> list[Written]:
        """Quick ways of a technique in two parts whose fastest way takes too long to find.

        First parts have the fewest turns. For each, the fastest second parts are looked up, and
        the cheapest writing of both parts together is computed. It is not proven to be the fastest.
        """
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
        ways = self._engine.spelled(self._answers.hands, whole, starts)
        return fastest_of(sorted(ways, key=lambda way: way.ms))

    def looking_ms(
        self,
        situation: Situation,
        chance: Chance,
        way: Written,
        moved: Sequence[bool] = _NOTHING_MOVED,
    ) -> int:
        """Milliseconds of looking before a sequence; 0 in inspection, which is not timed.

        ``moved``: which slot pieces the sequence before has moved.
        """
        if not chance.slots or chance.technique == "repair" or situation.offset is None:
            return 0
        front = int(self._answers.hands.front[way.start])
        seen = [
            int(SLOT_SYMMETRY[front, i // 4, situation.places[(front + i) % 4 + 4 * (i // 4)]])
            for i in range(8)
        ]
        touched = [moved[(front + i) % 4 + 4 * (i // 4)] for i in range(8)]
        slots = tuple((slot - front) % 4 for slot in chance.slots)
        # All ways of a chance from one front have the same price, so it is computed once.
        key = (chance.technique, slots, situation.offset, *seen, *touched)
        if key not in self._looked:
            if len(self._looked) >= _REMEMBERED:
                self._looked.clear()
            looked = looking_before(
                self._answers.automaton.looking,
                [chance._replace(slots=slots)],
                [self._traits_of(chance)],
                np.zeros(1, dtype=np.int64),
                np.array([seen]),
                np.array([touched]),
                PLACES_AT[situation.offset],
            )
            self._looked[key] = int(looked[0])
        return self._looked[key]

    def with_shortest(
        self,
        situation: Situation,
        chances: Sequence[Chance],
        starts: Sequence[int],
        rows: Sequence[Row],
    ) -> list[Row]:
        """The rows and all shortest sequences; a row that is a shortest one too is marked so.

        Sequences that differ only in the order of opposite turns count as the same.
        """
        from livecube.advice.plain_way import composed

        assert self._engine is not None
        found = composed(self._engine, situation, chances, self._by_id)
        told, known = list(rows), defaultdict[tuple[object, ...], list[int]](list)
        for number, row in enumerate(rows):
            key = row.chance.technique, row.chance.slots, in_one_order(row.way.turns)
            known[key].append(number)
        for chance, sequences in zip(chances, found, strict=True):
            for way in self._engine.spelled(self._answers.hands, sequences, starts):
                key = chance.technique, chance.slots, in_one_order(way.turns)
                same = known[key]
                for number in same:
                    told[number] = told[number]._replace(shortest=True)
                if not same:
                    looking = self.looking_ms(situation, chance, way)
                    known[key].append(len(told))
                    told.append(Row(chance, way, looking, shortest=True, fastest=False))
        return told

    def priced(self, turns: Sequence[int], face: int, starts: Sequence[int]) -> Priced:
        """Seconds of fixed-frame turns, merged, written the cheapest way.

        They begin with the best of ``starts`` and end with the cross on ``face`` down. Opposite
        turns may be made in either order.
        """
        there = turn_map(DOWN_ROTATIONS[face])
        down = [there[merged.turn] for merged in merge(turns)]
        ways = spelled(self._answers.hands, _orders(down), starts)
        best = min(ways, key=lambda way: way.ms)
        return Priced(best.ms / 1000, self._answers.first_ms(best) / 1000)

    def opportunities(
        self,
        situation: Situation,
        rows: Sequence[Row],
        starts: Sequence[int],
        lines: Sequence[Line] = (),
        *,
        against_plain: bool = False,
    ) -> list[Opportunity]:
        """Rows as opportunities: with comparison, sentence and the notes of the rules.

        ``lines``: plans, matched to rows by their first slots. ``against_plain``: whether to
        compare rows for two slots with the plain way too.
        """
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
        """One row as an opportunity; ``line``: the plan that begins with its slots."""
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
            traits=self._traits_of(chance),
        )
        case = Case(situation, chance.slots, told, words.level, self.level)
        told = replace(told, notes=apply_rules(case))
        leaves = "" if line is None else plan_words(situation, line)
        return replace(told, why=sentence(told, chance.why, leaves))

    def plain_way(
        self, situation: Situation, slots: tuple[int, ...], starts: Sequence[int]
    ) -> PlainWay | None:
        """The fastest plain way into slots, for two in the better order.

        None away from offset 0, if a slot is not free, or if no way is known.
        """
        if situation.offset != 0 or not {*slots} <= {*slot_bits(situation.free)}:
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
        """A plain way with the turns of the shortest one, if there is an engine to find it."""
        from livecube.advice.plain_way import two_plain_pairs

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
        if slot not in slot_bits(situation.free):
            return []
        chance = Chance(Plain.id, (slot,), plain_task(situation, slot), "")
        return self.fastest(situation, [chance], starts, moved)


_MOST_ORDERS: Final = 64


def _orders(turns: Sequence[int]) -> list[tuple[int, ...]]:
    """Merged turns with neighbouring opposite turns in each order; at most 64 orders."""
    orders: list[tuple[int, ...]] = [()]
    at = 0
    while at < len(turns):
        group = tuple(turns[at : at + 2])
        if len(group) < 2 or OPPOSITE[group[0] // 3] != group[1] // 3:
            group = group[:1]
        both = {group, group[::-1]} if 2 * len(orders) <= _MOST_ORDERS else {group}
        orders = [(*order, *one) for order in orders for one in sorted(both)]
        at += len(group)
    return orders


def held_as(number: int, face: int) -> Holding:
    """The fixed-frame holding for the number of a down-frame holding."""
    down = [turn // 3 for turn in turn_map(DOWN_ROTATIONS[face])[::3]]
    a, b, c, d, e, f = (down.index(one) for one in HOLDINGS[number].faces)
    return Holding((a, b, c, d, e, f))


def starts_of(holding: Holding | None, face: int) -> list[int]:
    """Numbers of the holdings, in the down frame, from which a sequence may begin."""
    return [*UPRIGHT] if holding is None else [holding_in_down_frame(holding, face)]
