"""The advisor: finds all opportunities of a position in seconds, and ranks them by plan."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import inf
from typing import TYPE_CHECKING, Final

import numpy as np

from livecube.advice.plan import Beam, Line, Plan
from livecube.advice.rows import Advice, Opportunity, Priced, Row, Rows, held_as, starts_of
from livecube.advice.words import (
    BEFORE_THE_EYES,
    before_the_eyes,
    cross_sentence,
    focus_note,
    repair_sentence,
)
from livecube.cube.geometry import FACES
from livecube.cube.position import apply_turns, htm
from livecube.search.hand_arrays import UPRIGHT, holding_in_down_frame
from livecube.search.situation import Situation, slot_bits
from livecube.search.task import Task
from livecube.stages.frame import FRAMES
from livecube.techniques.base import Chance, Level, about, goal_bits, traits

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.cube.geometry import Array
    from livecube.cube.holding import Holding
    from livecube.search.answers import Answers
    from livecube.search.engine import Engine
    from livecube.techniques.base import Technique

__all__ = ["Advisor", "Beginning", "Focus", "Way", "likely_cross"]

# The advisor's answer at a beginning: the only question while somebody solves.


@dataclass(frozen=True, slots=True)
class Focus:
    """The techniques that a solver practises, and how much they may cost."""

    techniques: frozenset[str]
    """Their ids. A way by one of them is the hint instead of the best way."""
    within_s: float
    """Its plan may take at most this many seconds more than the best plan."""


@dataclass(frozen=True, slots=True)
class Way:
    """One way to go on, and the seconds of the plan that begins with it."""

    row: Opportunity
    seconds: float


@dataclass(frozen=True, slots=True)
class Beginning:
    """The best ways to go on from a position in the middle of a solve."""

    rows: tuple[Opportunity, ...]
    """The best first, without rows that a rule of the trade silences."""
    seconds: float = inf
    """Seconds of the plan that begins with the first row; ``inf`` if there is none."""
    silence: str | None = None
    """The rule that forbids a hint at this level; None: the first row is the hint."""
    plans: tuple[Plan, ...] = ()
    """For each first pair the best plan, the best of all first."""
    price_s: float | None = None
    """With a focus: seconds by which the first row's plan is slower than the best plan. None: the
    first row does not use a technique of the focus."""
    standing: Way | None = None
    """The hint that stands, worked out from here: the same technique, into the same slots.
    None if no hint stands, or if its technique does not work from here."""


_D: Final = FACES.index("D")
_AT_ONCE: Final = 2
"""One search repairs at most this many slots."""
_AS_GOOD_MS: Final = 100
"""The plan that the solver follows is kept unless another is faster by more than this."""
_NO_SLOTS: Final[tuple[str, ...]] = ()


class Advisor:
    """Finds and prices every opportunity of a position. Not for two threads at once.

    ``engine`` finds the shortest sequences; without it only the fastest are found.
    """

    def __init__(
        self,
        answers: Answers,
        techniques: Sequence[Technique],
        level: Level = Level.CALM,
        engine: Engine | None = None,
    ) -> None:
        self.answers = answers
        self._engine = engine
        self._techniques = tuple(techniques)
        self._by_id = {technique.id: technique for technique in techniques}
        self._traits = {technique.id: traits(technique) for technique in techniques}
        self._levels = {technique.id: about(technique).level for technique in techniques}
        self._rows = Rows(answers, techniques, engine)
        self._beams: dict[Level, Beam] = {}
        self.level = level

    @property
    def level(self) -> Level:
        """How much the solver wants to hear. Rows above it are marked as silenced, and stay."""
        return self._rows.level

    @level.setter
    def level(self, level: Level) -> None:
        self._rows.level = level

    @property
    def engine(self) -> Engine:
        """The engine, which finds the shortest sequences."""
        assert self._engine is not None
        return self._engine

    @property
    def in_inspection(self) -> tuple[Technique, ...]:
        """The techniques that are looked for in inspection, beside the plain cross."""
        return tuple(one for one in self._techniques if self._traits[one.id].in_inspection)

    def speaks_of(self, technique: str) -> bool:
        """Whether this advisor knows a technique and its level allows hints about it."""
        return technique in self._by_id and self._levels[technique] <= self.level

    def only(self, techniques: Sequence[Technique]) -> Advisor:
        """An advisor for the same hands that knows only these techniques; for the same thread."""
        return Advisor(self.answers, techniques, self.level, self._engine)

    def at(self, level: Level) -> Advisor:
        """An advisor for the same hands at another level; for the same thread."""
        return Advisor(self.answers, self._techniques, level, self._engine)

    def twin(self) -> Advisor:
        """Another advisor of the same kind, for another thread; tables and book are shared."""
        answers = self.answers.twin()
        engine = self._engine and self._engine.twin()
        return Advisor(answers, self._techniques, self.level, engine)

    def advise(
        self,
        position: Array,
        face: int,
        holding: Holding | None = None,
        *,
        inspection: bool = True,
        looking: bool = True,
        shortest: bool = True,
        plans: bool = True,
        above_level: bool = True,
        slots: int | None = None,
    ) -> Advice:
        """The opportunities for the cross on ``face``, best first, and the plan.

        ``holding``: how the cube is held; None: the cross is down, and each row has the front that
        makes it cheapest. ``inspection``: whether to use the techniques of inspection too.
        ``looking``: whether looking time counts in ranks and plans. ``shortest``: whether to find
        all shortest sequences too, which needs the engine. ``plans``: whether to look for plans,
        which rank the rows. ``above_level``: whether to use techniques above the level too.
        ``slots``: only look for rows that fill this many slots; None: any.
        """
        situation = Situation.of(position, face)
        starts = starts_of(holding, face)
        chances = [
            chance
            for technique in self._techniques
            if (inspection or not self._traits[technique.id].in_inspection)
            and (above_level or self._levels[technique.id] <= self.level)
            for chance in technique.chances(situation)
            if slots in (None, len(chance.slots))
        ]
        rows = self._rows.fastest(situation, chances, starts)
        if shortest and self._engine is not None:
            rows = self._rows.with_shortest(situation, chances, starts, rows)
        lines = self._lines(situation, holding, self.level, looking=looking) if plans else []
        told = self._rows.opportunities(situation, rows, starts, lines, against_plain=True)
        found = self._plans(situation, lines)
        told.sort(key=lambda row: _rank(row, found, looking=looking))
        return Advice(
            situation.colour,
            situation.offset,
            situation.slot_names(slot_bits(situation.solved)),
            self._cross_turns(situation),
            tuple(told),
            next(iter(found), None),
            found,
        )

    def priced(self, turns: Sequence[int], face: int, holding: Holding | None = None) -> Priced:
        """Seconds of fixed-frame turns, written the cheapest way; see :meth:`.Rows.priced`."""
        return self._rows.priced(turns, face, starts_of(holding, face))

    def at_beginning(
        self,
        position: Array,
        face: int,
        holding: Holding | None = None,
        standing: Opportunity | None = None,
        going_on: tuple[str, ...] = _NO_SLOTS,
        focus: Focus | None = None,
    ) -> Beginning:
        """The answer in the middle of a solve: the best rows, and whether the first is a hint.

        ``standing``: the hint that stands, if any; the answer says how it is done from here.
        ``going_on``: the next slots of the plan that the solver follows. That plan is kept unless
        another is more than a tenth of a second faster. ``focus``: techniques that are the
        hint instead of the best way, at any level.
        """
        situation = Situation.of(position, face)
        lines = self._lines(situation, holding, self.level)
        for line in lines:
            slots = situation.slot_names(line.steps[0].chance.slots)
            if slots == going_on and line.ms <= lines[0].ms + _AS_GOOD_MS:
                lines = [line, *(other for other in lines if other is not line)]
                break
        plans = self._plans(situation, lines)
        price = None
        if focus is not None and plans:
            plans, price = self._focused(situation, position, holding, focus, plans)
        rows = tuple(plan.steps[0] for plan in plans)
        way = None
        if standing is not None:
            way = self._standing(situation, position, face, holding, standing, plans)
        if not rows:
            return Beginning((), standing=way)
        silence = None
        if price is not None:
            if way is not None and focus is not None and way.row.technique not in focus.techniques:
                way = None
        elif self.level > Level.CALM and before_the_eyes(situation, rows[0]):
            silence = BEFORE_THE_EYES
        return Beginning(rows, plans[0].total, silence, plans=plans, price_s=price, standing=way)

    def _focused(
        self,
        situation: Situation,
        position: Array,
        holding: Holding | None,
        focus: Focus,
        plans: tuple[Plan, ...],
    ) -> tuple[tuple[Plan, ...], float | None]:
        """The plans with the best one by a technique of the focus first, and its price in seconds.

        If none is cheap enough, the plans stay as they are and the price is None.
        """
        found, best = self._cheapest(situation, position, holding, focus, plans[0]), plans[0]
        if found is best:
            return plans, 0.0
        if found is None:
            return plans, None
        price = max(0.0, found.total - best.total)
        row = found.steps[0]
        notes = tuple(note for note in row.notes if not note.silences)
        told = replace(row, notes=(*notes, focus_note(price)))
        return (Plan((told, *found.steps[1:])), *plans), price

    def _cheapest(
        self,
        situation: Situation,
        position: Array,
        holding: Holding | None,
        focus: Focus,
        best: Plan,
    ) -> Plan | None:
        """The quickest plan that begins with a technique of the focus; None: each costs too much.

        ``best`` itself if it begins with one.
        """
        if best.steps[0].technique in focus.techniques:
            return best
        found, most = None, best.total + focus.within_s
        for row in self._quickest_of(situation, holding, focus):
            if row.total > most:
                continue
            after = apply_turns(position, row.turns_fixed)
            onward = self._best_plan(after, situation.face, self.upright(row, situation.face))
            plan = Plan((row, *(onward.steps if onward else ())))
            if plan.total <= most:
                found, most = plan, plan.total
        return found

    def prices(
        self, position: Array, face: int, holding: Holding | None, plans: tuple[Plan, ...]
    ) -> tuple[tuple[Opportunity, float], ...]:
        """The cheapest first step of each technique that can be a focus, and its price in seconds.

        The price is what a hint of the focus tells: by how much the plan that begins with this step
        is slower than the best one of ``plans``, which are those from here.
        """
        situation = Situation.of(position, face)
        if not plans:
            return ()
        found = []
        for name, its in self._traits.items():
            if its.in_inspection or its.is_yardstick:
                continue
            only = Focus(frozenset({name}), inf)
            plan = self._cheapest(situation, position, holding, only, plans[0])
            if plan is not None:
                found.append((plan.steps[0], max(0.0, plan.total - plans[0].total)))
        return tuple(found)

    def _quickest_of(
        self, situation: Situation, holding: Holding | None, focus: Focus
    ) -> list[Opportunity]:
        """The quickest row of each technique of the focus into each slot, the quickest first."""
        chances = [
            chance
            for technique in self._techniques
            if technique.id in focus.techniques and not self._traits[technique.id].in_inspection
            for chance in technique.chances(situation)
        ]
        starts = starts_of(holding, situation.face)
        quickest: dict[tuple[str, tuple[int, ...]], Row] = {}
        for row in self._rows.fastest(situation, chances, starts):
            key = row.chance.technique, row.chance.slots
            known = quickest.get(key)
            if known is None or row.way.ms + row.looking_ms < known.way.ms + known.looking_ms:
                quickest[key] = row
        told = self._rows.opportunities(situation, [*quickest.values()], starts, against_plain=True)
        return sorted(told, key=lambda row: row.total)

    def same_way(
        self, position: Array, face: int, holding: Holding | None, row: Opportunity
    ) -> Opportunity | None:
        """The fastest row here of the same technique into the same slots, or None."""
        situation = Situation.of(position, face)
        technique = self._by_id.get(row.technique)
        chances = [
            chance
            for chance in (technique.chances(situation) if technique else ())
            if situation.slot_names(chance.slots) == row.slots
        ]
        starts = starts_of(holding, face)
        found = self._rows.fastest(situation, chances, starts)
        return next(iter(self._rows.opportunities(situation, found[:1], starts)), None)

    def repair(
        self, position: Array, face: int, holding: Holding | None = None
    ) -> Opportunity | None:
        """The fastest way to solve all four slots; None: all are solved, or the cross is not whole.

        With more than two slots out it is the best plan, since a search would take long.
        """
        situation = Situation.of(position, face)
        out = slot_bits(situation.free)
        if not out:
            return None
        if len(out) > _AT_ONCE or self.answers.search is None:
            plans = self._plans(situation, self._lines(situation, holding, Level.BOLD))
            return _as_one(plans[0], situation.slot_names(out)) if plans else None
        chance = Chance("repair", tuple(out), Task(goal=goal_bits(15)), "all four in")
        starts = starts_of(holding, face)
        row = next(iter(self._rows.fastest(situation, [chance], starts)), None)
        if row is None:
            return None
        (told,) = self._rows.opportunities(situation, [row], starts)
        return replace(told, why=repair_sentence(told), notes=())

    def plans(
        self,
        position: Array,
        face: int,
        holding: Holding | None = None,
        *,
        looking: bool = True,
        level: Level | None = None,
    ) -> tuple[Plan, ...]:
        """For each first pair the best plan found, the best of all first."""
        situation = Situation.of(position, face)
        lines = self._lines(situation, holding, level or self.level, looking=looking)
        return self._plans(situation, lines)

    def _best_plan(self, position: Array, face: int, holding: Holding | None) -> Plan | None:
        """The first of :meth:`plans`; None: there is none."""
        situation = Situation.of(position, face)
        lines = self._lines(situation, holding, self.level)
        return next(iter(self._plans(situation, lines[:1])), None)

    def crosses(
        self, position: Array, face: int, holding: Holding | None = None
    ) -> tuple[Opportunity, ...]:
        """The fastest crosses on ``face``, best first; empty if the cross is whole at offset 0.

        The rows have the technique ``cross`` and no slots; ``holding`` as in :meth:`advise`.
        """
        situation = Situation.of(position, face)
        if situation.offset == 0:
            return ()
        chance = Chance("cross", (), Task(goal=0), "")
        starts = starts_of(holding, face)
        found = self._rows.fastest(situation, [chance], starts)
        rows = self._rows.opportunities(situation, found, starts)
        return tuple(replace(row, why=cross_sentence(row), notes=()) for row in rows)

    def with_plan(self, row: Opportunity, position: Array, face: int) -> Opportunity:
        """A row with the best plan for the slots that are free after it."""
        after = apply_turns(position, row.turns_fixed)
        return replace(row, then=self._best_plan(after, face, self.upright(row, face)))

    def _beam(self, level: Level) -> Beam:
        if level not in self._beams:
            usual = [
                technique
                for technique in self._techniques
                if self._is_planned(technique) and self._levels[technique.id] <= level
            ]
            self._beams[level] = Beam(self.answers, usual)
        return self._beams[level]

    def _is_planned(self, technique: Technique) -> bool:
        its = self._traits[technique.id]
        return its.sees_only_state and not its.in_inspection and not its.is_yardstick

    def _lines(
        self, situation: Situation, holding: Holding | None, level: Level, *, looking: bool = True
    ) -> list[Line]:
        start = None if holding is None else holding_in_down_frame(holding, situation.face)
        lines = self._beam(level).lines(situation, start, looking=looking)
        if lines or not situation.offset:
            return lines
        # No keyhole is possible: the layer is turned back, and a plan begins there.
        back = 3 * _D + 3 - situation.offset
        down = apply_turns(situation.position, [back])
        aligned = Situation.of_down(down, situation.face)
        lines = self._beam(level).lines(aligned, start, looking=looking)
        behind = [self._behind_turn(situation, back, line) for line in lines]
        return sorted(behind, key=lambda line: line.ms)

    def _behind_turn(self, situation: Situation, turn: int, line: Line) -> Line:
        """A line whose first step begins with a turn in the holding at its start."""
        hands, first = self.answers.hands, line.steps[0]
        start = first.way.start
        written = hands.spelled[start, turn].tolist()
        token = next(move for move in written if hands.after[start, move] == start)
        tokens = (token, *first.way.tokens)
        moves = self.answers.moves(tokens)
        way = first.way._replace(
            ms=self.answers.automaton.sequence_ms(moves) + int(hands.finish[first.way.end]),
            turns=(turn, *first.way.turns),
            tokens=tokens,
        )
        chance = first.chance._replace(why="the cross layer is turned back first")
        first, *others = first._replace(chance=chance, way=way), *line.steps[1:]
        if others:  # what the turn has moved has to be found again
            down = apply_turns(situation.position, way.turns)
            after = Situation.of_down(down, situation.face)
            moved = (after.places != situation.places).tolist()
            looking = self._rows.looking_ms(after, others[0].chance, others[0].way, moved)
            others[0] = others[0]._replace(looking_ms=looking)
        return Line((first, *others))

    def _plans(self, situation: Situation, lines: Sequence[Line]) -> tuple[Plan, ...]:
        """Lines as plans; only their first steps are compared with the plain way."""
        plans = []
        for line in lines:
            steps, here = [], situation
            for number, step in enumerate(line.steps):
                row = Row(step.chance, step.way, step.looking_ms)
                plain = None
                if number == 0:
                    plain = self._rows.plain_way(here, step.chance.slots, [step.way.start])
                told = self._rows.opportunity(here, row, plain, None if number else line)
                down = apply_turns(here.position, step.way.turns)
                after = Situation.of_down(down, here.face)
                filled = here.slot_names(slot_bits(after.solved & ~here.solved))
                also = tuple(slot for slot in filled if slot not in told.slots)
                steps.append(replace(told, also=also))
                here = after
            plans.append(Plan(tuple(steps)))
        return tuple(plans)

    def _standing(
        self,
        situation: Situation,
        position: Array,
        face: int,
        holding: Holding | None,
        standing: Opportunity,
        plans: Sequence[Plan],
    ) -> Way | None:
        """How a hint is done from here, and the seconds of the plan that begins with it."""
        for plan in plans:
            if (plan.steps[0].technique, plan.steps[0].slots) == (
                standing.technique,
                standing.slots,
            ):
                return Way(plan.steps[0], plan.total)
        row = self.same_way(position, face, holding, standing)
        if row is None:
            return None
        after = apply_turns(position, row.turns_fixed)
        onward = self._best_plan(after, face, self.upright(row, face))
        total = row.seconds + row.looking + (onward.total if onward else 0)
        return Way(row, total)

    def upright(self, row: Opportunity, face: int) -> Holding:
        """How the cube is held after a row, with the cross brought down again."""
        number = holding_in_down_frame(row.ends, face)
        return held_as(UPRIGHT[int(self.answers.hands.front[number])], face)

    def _cross_turns(self, situation: Situation) -> int | None:
        if situation.offset is not None or self._engine is None:
            return None
        return self.engine.shortest(situation, Task(goal=0))


def _rank(row: Opportunity, plans: Sequence[Plan], *, looking: bool) -> tuple[float, ...]:
    """Sort key: fastest rows first, by the plan that begins with their pair; then others."""
    plan = next((one for one in plans if one.steps[0].slots == row.slots), None)
    first = plan is not None and plan.steps[0].turns_fixed == row.turns_fixed
    worth = plan.total if plan is not None and row.fastest else float("inf")
    cost = row.seconds + (row.looking if looking else 0)
    return (not row.fastest, worth, not first, cost, row.turns, -row.top_kept)


def _as_one(plan: Plan, slots: tuple[str, ...]) -> Opportunity:
    """All steps of a plan as one row for ``slots``."""
    turns = tuple(turn for step in plan.steps for turn in step.turns_fixed)
    row = replace(
        plan.steps[0],
        technique="repair",
        title="Repair",
        slots=slots,
        turns_fixed=turns,
        moves=tuple(move for step in plan.steps for move in step.moves),
        turns=htm(turns),
        seconds=plan.seconds,
        plain=None,
        door=None,
        notes=(),
    )
    return replace(row, why=repair_sentence(row))


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
