"""Making a review: the written solve, compared with the advisor's ways."""

from __future__ import annotations

from dataclasses import replace
from functools import reduce
from statistics import fmean
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from livecube.advice.inspection import openings
from livecube.advice.words import place_of
from livecube.cube.geometry import FACES
from livecube.cube.holding import SCRAMBLE_HOLDING, SLICE_SYMBOLS, Holding, parse_colour
from livecube.cube.position import TURN_BYTES, htm
from livecube.review.findings import find_costs, find_regrips
from livecube.review.reviewed import (
    AgainstPlan,
    Alternative,
    Opening,
    Review,
    Side,
    SpareRotations,
    StageReview,
)
from livecube.search.situation import Situation
from livecube.stages.progress import SURE
from livecube.timing.results import to_the_millisecond

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from livecube.advice.advisor import Advisor
    from livecube.advice.plan import Plan
    from livecube.advice.rows import Opportunity, Priced
    from livecube.cube.geometry import Array
    from livecube.hands.automaton import Automaton
    from livecube.holding.written import WrittenSolve, WrittenStage
    from livecube.stages.solve import Split

__all__ = [
    "compare_sides",
    "holdings_before",
    "pairs_on",
    "review_solve",
    "splits_of",
    "stage_span",
]

# Pairs by the side of their slot: left against right, front against back.


_SIDES: Final[tuple[Literal["left", "right", "front", "back"], ...]] = (
    "left",
    "right",
    "front",
    "back",
)


def compare_sides(stages: Sequence[StageReview]) -> tuple[Side, ...]:
    """Figures of the four sides, from pairs whose holding is sure; sides without pairs left out."""
    placed = [
        (place_of(stage.split.slots[0], stage.written.holding).split(), stage.split)
        for stage in stages
        if stage.split.stage == "pair" and not stage.split.shared and not stage.split.gap
        if stage.written.confidence >= SURE
    ]
    sides = []
    for name in _SIDES:
        its = [split for place, split in placed if name in place]
        if its:
            turns, seconds = fmean(s.turns for s in its), fmean(s.turning for s in its)
            sides.append(Side(name, len(its), turns, seconds))
    return tuple(sides)


# Which turns of a solve belong to which stage.


def splits_of(written: WrittenSolve) -> tuple[Split, ...]:
    """The stages that were done, in order; other functions number them by this order."""
    return tuple(stage.split for stage in written.stages if stage.split is not None)


def stage_span(splits: Sequence[Split], number: int, first_line: int) -> tuple[int, int]:
    """Turns of the solve before a stage, and up to its end; it began at ``first_line``."""
    ends = [split.end_turn or 0 for split in splits[: number + 1]]
    before = max(ends[:-1], default=first_line - 1)
    return before - first_line + 1, ends[-1] - first_line + 1


def pairs_on(splits: Sequence[Split], number: int, pairs: int) -> int:
    """The stage that completes ``pairs`` pairs, counted from stage ``number`` on.

    The last pair if fewer are left.
    """
    later = [i for i, split in enumerate(splits) if i >= number and split.stage == "pair"]
    return later[min(pairs, len(later)) - 1]


def holdings_before(written: WrittenSolve, cross: int) -> list[Holding | None]:
    """For each line of a solve, how the cube was held before the line's first rotation.

    None if this holding, or the holding in the line itself, is not sure. None too if the cross on
    face ``cross`` was not down: then the next moves depend on how it is brought down.
    """
    held, sure = reduce(Holding.after, written.before, SCRAMBLE_HOLDING), False
    before: list[Holding | None] = []
    for stage in written.stages:
        now_sure = stage.confidence >= SURE
        is_down = held.hand_face(cross) == FACES.index("D")
        before.append(held if sure and now_sure and is_down else None)
        if stage.moves:
            held, sure = reduce(Holding.after, (m.move for m in stage.moves), held), now_sure
    return before


_TOLD: Final = 3
"""Most alternatives at the beginning of a pair, and most later ones."""
_WORTH_S: Final = 0.05
"""Ways that save less are not alternatives: predictions are not that exact."""


def review_solve(
    written: WrittenSolve,
    start: bytes,
    advisor: Advisor,
    hands: Automaton,
    step: Callable[[int], None] = lambda stages: None,
) -> Review:
    """Review a solve that began in the position ``start`` (20 facelets).

    ``step`` is called after each stage, with 1. A pair with lost turns has no alternatives: the
    position at its beginning is unknown.
    """
    looker = _Looker(written, start, advisor, hands)
    stages = []
    for number, stage in enumerate(written.stages):
        if stage.split is not None:
            stages.append(looker.look(number, stage))
        step(1)
    offered = looker.openings()
    moves = [m.move for stage in written.stages for m in stage.moves]
    review = Review(
        written,
        tuple(stages),
        offered,
        rotations=sum(move.is_rotation for move in moves),
        wide_turns=sum(move.symbol.endswith("w") for move in moves),
        regrips=len(find_regrips(written.stages, hands)),
        sides=compare_sides(stages),
        findings=(),
    )
    return replace(review, findings=find_costs(review, hands))


class _Looker:
    """Reviews the stages of one solve."""

    def __init__(
        self, written: WrittenSolve, start: bytes, advisor: Advisor, hands: Automaton
    ) -> None:
        self._stages = written.stages
        self._splits = splits_of(written)
        self._advisor = advisor
        self._hands = hands
        self._first_line = written.of.first_line
        self._turns = tuple(written.of.part.turns)
        self._cross = written.of.solve.cross
        self._held = [] if self._cross is None else holdings_before(written, self._face)
        self._priced: dict[tuple[Holding | None, tuple[int, ...]], Priced] = {}
        self._positions = [start]
        for turn in self._turns:
            self._positions.append(self._positions[-1].translate(TURN_BYTES[turn]))

    def look(self, number: int, stage: WrittenStage) -> StageReview:
        """Review one stage."""
        split = stage.split
        assert split is not None
        predicted = self._predicted(stage)
        judged = split.stage == "pair" and not split.shared and not split.gap
        if not judged or self._cross is None:
            return StageReview(stage, predicted)
        begun, end = self._span(number)
        held = self._held[number]
        turned = self._priced_turns(self._turns[begun:end], held)
        position = self._position(begun)
        plans = self._advisor.plans(position, self._face, held)
        rows = self._rows(begun, held)
        ways = self._ways(number, begun, _best_of_each(rows))
        first = [way for way in ways if way.saved_s >= _WORTH_S][:_TOLD]
        best = max((way.saved_s for way in first), default=_WORTH_S)
        return StageReview(
            stage,
            predicted,
            (*first, *self._later(number, begun, end, best)),
            tuple(way for way in ways if way.saved_s > 0 or _is_taken(way, split)),
            self._advisor.prices(position, self._face, held, plans),
            _against_plan(plans, split.slots, turned),
            held,
            turned.seconds,
            None if held is None else _spare(stage, predicted, rows, self._hands),
            self._positions[begun],
        )

    def _span(self, number: int) -> tuple[int, int]:
        return stage_span(self._splits, number, self._first_line)

    def _rows(self, at: int, holding: Holding | None) -> list[Opportunity]:
        """The ways in a position that no rule silences, the quickest first."""
        advice = self._advisor.advise(
            self._position(at), self._face, holding, inspection=False, shortest=False, plans=False
        )
        rows = [row for row in advice.opportunities if not row.silenced]
        return sorted(rows, key=lambda row: row.seconds)

    def _later(self, number: int, begun: int, end: int, best_s: float) -> list[Alternative]:
        """Ways that opened within a pair, in order of time; each saves more than all before it.

        Only the last few; the first of all saves more than ``best_s``.
        """
        found: list[Alternative] = []
        for at in range(begun + 1, end):
            if Situation.of(self._position(at), self._face).offset is None:
                continue
            ways = self._ways(number, at, _best_of_each(self._rows(at, None)))
            way = max(ways, key=lambda way: way.saved_s, default=None)
            if way is not None and way.saved_s > best_s:
                found.append(way)
                best_s = way.saved_s
        return found[-_TOLD:]

    def _ways(self, number: int, at: int, rows: Sequence[Opportunity]) -> list[Alternative]:
        """Rows of a position within a stage, compared with the solve; the most saving first."""
        ways = [self._against(number, at, row) for row in rows]
        return sorted(ways, key=lambda way: way.saved_s, reverse=True)

    def _against(self, number: int, at: int, row: Opportunity) -> Alternative:
        """A row compared with the turns made until as many pairs were done as it fills slots."""
        _, end = self._span(pairs_on(self._splits, number, len(row.slots)))
        begun, _ = self._span(number)
        turns = self._turns
        saved_turns = htm(turns[:end]) - htm([*turns[:at], *row.turns_fixed])
        held = self._held[number]
        done_s = self._seconds(turns[begun:end], held)
        row_s = self._seconds((*turns[begun:at], *row.turns_fixed), held)
        return Alternative(at - begun, row, saved_turns, to_the_millisecond(done_s - row_s))

    def _seconds(self, turns: tuple[int, ...], held: Holding | None) -> float:
        """Predicted time of turns, written in the cheapest way."""
        return self._priced_turns(turns, held).seconds

    def _priced_turns(self, turns: tuple[int, ...], held: Holding | None) -> Priced:
        if (held, turns) not in self._priced:
            self._priced[held, turns] = self._advisor.priced(turns, self._face, held)
        return self._priced[held, turns]

    def openings(self) -> tuple[Opening, ...]:
        """Openings for the cross colour that inspection offered and that beat the solve."""
        if self._cross is None or not self._stages or self._stages[0].split is None:
            return ()
        rows = openings(self._advisor, self._position(0), (self._face,)) or ()
        found = []
        for row in rows:
            last = min(len(row.slots), len(self._splits) - 1)
            if any(split.gap for split in self._splits[: last + 1]):
                continue
            done = self._turns[: self._span(last)[1]]
            saved_s = to_the_millisecond(self._seconds(done, None) - row.seconds)
            if saved_s >= _WORTH_S:
                found.append(Opening(row, htm(done) - row.turns, saved_s))
        return tuple(found)

    def _predicted(self, stage: WrittenStage) -> float | None:
        moves = [m.move for m in stage.moves]
        if any(move.symbol in SLICE_SYMBOLS for move in moves):
            return None
        return self._hands.done_ms(moves) / 1000

    @property
    def _face(self) -> int:
        assert self._cross is not None
        return parse_colour(self._cross)

    def _position(self, at: int) -> Array:
        position: Array = np.frombuffer(self._positions[at], dtype=np.uint8)
        return position


def _best_of_each(rows: Sequence[Opportunity]) -> list[Opportunity]:
    """The first row of each technique and slots."""
    best: dict[tuple[str, tuple[str, ...]], Opportunity] = {}
    for row in rows:
        best.setdefault((row.technique, row.slots), row)
    return [*best.values()]


def _against_plan(
    plans: Sequence[Plan], slots: Sequence[str], turned: Priced
) -> AgainstPlan | None:
    """A pair with these turns against the plan; None if no plan begins with it."""
    own = next((plan for plan in plans if {*plan.steps[0].slots} == {*slots}), None)
    if own is None:
        return None
    return AgainstPlan(
        plans[0],
        own,
        to_the_millisecond(turned.seconds - own.steps[0].seconds),
        to_the_millisecond(turned.seconds - turned.first),
        to_the_millisecond(turned.first + own.steps[0].looking),
    )


def _is_taken(way: Alternative, split: Split) -> bool:
    return way.row.technique == split.technique and any(s in split.slots for s in way.row.slots)


def _spare(
    stage: WrittenStage, predicted: float | None, rows: Sequence[Opportunity], hands: Automaton
) -> SpareRotations | None:
    """Rotations of a pair that a row avoids without being slower; None if no row does.

    ``rows``: the quickest first.
    """
    rotations = [m.move for m in stage.moves if m.move.is_rotation]
    if not rotations or predicted is None or stage.split is None:
        return None
    for way in rows:
        still = way.slots == stage.split.slots and not any(move.is_rotation for move in way.moves)
        if still and way.seconds <= predicted:
            cost_s = to_the_millisecond(
                min(hands.done_ms(rotations) / 1000, predicted - way.seconds)
            )
            return SpareRotations(len(rotations), way, cost_s)
    return None
