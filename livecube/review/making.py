"""Making a review: the solve as it is written, beside what the advisor would have done."""

from __future__ import annotations

from dataclasses import replace
from statistics import fmean
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from livecube.advice.inspection import openings
from livecube.advice.words import place_of
from livecube.cube.holding import SLICE_SYMBOLS, parse_colour
from livecube.cube.position import TURN_BYTES, htm
from livecube.review.findings import find_costs, find_regrips
from livecube.review.values import AgainstPlan, Alternative, Opening, Review, Side, StageReview
from livecube.search.situation import Situation
from livecube.stages.progress import SURE

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from livecube.advice.advisor import Advisor
    from livecube.advice.rows import Opportunity
    from livecube.cube.geometry import Array
    from livecube.cube.holding import Holding
    from livecube.hands.automaton import Automaton
    from livecube.holding.written import WrittenSolve, WrittenStage
    from livecube.stages.solve import Split

__all__ = ["compare_sides", "pairs_on", "review_solve", "splits_of", "stage_span"]

# Left against right, front against back: how pairs went by the side of their slot.


_SIDES: Final[tuple[Literal["left", "right", "front", "back"], ...]] = (
    "left",
    "right",
    "front",
    "back",
)


def compare_sides(stages: Sequence[StageReview]) -> tuple[Side, ...]:
    """The four sides, without those into which no pair went whose holding is sure."""
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
    """The stages that were done, in order, as they are numbered here."""
    return tuple(stage.split for stage in written.stages if stage.split is not None)


def stage_span(splits: Sequence[Split], number: int, first_line: int) -> tuple[int, int]:
    """Turns of the solve before a stage, and at its end; the solve began at ``first_line``."""
    ends = [split.end_turn or 0 for split in splits[: number + 1]]
    before = max(ends[:-1], default=first_line - 1)
    return before - first_line + 1, ends[-1] - first_line + 1


def pairs_on(splits: Sequence[Split], number: int, pairs: int) -> int:
    """The stage with which so many pairs are done, that with ``number`` counted."""
    later = [i for i, split in enumerate(splits) if i >= number and split.stage == "pair"]
    return later[min(pairs, len(later)) - 1]


_TOLD: Final = 3
"""Alternatives that are told when a pair begins, and as many later ones."""
_WORTH_S: Final = 0.05
"""What saves less is not told: predictions are not that good."""


def review_solve(
    written: WrittenSolve,
    start: bytes,
    advisor: Advisor,
    hands: Automaton,
    step: Callable[[int], None] = lambda stages: None,
) -> Review:
    """Review a solve that began in the position ``start`` (20 facelets).

    ``step`` is called with the number of stages that have been looked at. A pair with turns that
    were lost has no alternatives: nobody knows where it began.
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
        regrips=len(find_regrips(written, hands)),
        sides=compare_sides(stages),
        findings=(),
    )
    return replace(review, findings=find_costs(review, hands))


class _Looker:
    """Looks at the positions of one solve."""

    def __init__(
        self, written: WrittenSolve, start: bytes, advisor: Advisor, hands: Automaton
    ) -> None:
        self._stages = written.stages
        self._splits = splits_of(written)
        self._advisor = advisor
        self._hands = hands
        self._first_line = written.of.first_line
        self._turns = written.of.part.turns
        self._cross = written.of.solve.cross
        self._positions = [start]
        for turn in self._turns:
            self._positions.append(self._positions[-1].translate(TURN_BYTES[turn]))

    def look(self, number: int, stage: WrittenStage) -> StageReview:
        """Look at one stage."""
        split = stage.split
        assert split is not None
        predicted = self._predicted(stage)
        judged = split.stage == "pair" and not split.shared and not split.gap
        if not judged or self._cross is None or predicted is None:
            return StageReview(stage, predicted)
        begun, end = self._span(number)
        holding = stage.holding if stage.confidence >= SURE else None
        ways = self._ways(number, begun, holding)
        first = [way for way in ways if way.saved_s >= _WORTH_S][:_TOLD]
        best = max((way.saved_s for way in first), default=_WORTH_S)
        later = self._later(number, begun, end, best)
        against = self._against_plan(begun, holding, split.slots, predicted)
        return StageReview(stage, predicted, (*first, *later), tuple(ways), against)

    def _span(self, number: int) -> tuple[int, int]:
        return stage_span(self._splits, number, self._first_line)

    def _rows(self, at: int, holding: Holding | None) -> list[Opportunity]:
        """For each technique and slot the best row, as far as the level speaks of it."""
        advice = self._advisor.advise(
            self._position(at), self._face, holding, inspection=False, shortest=False, plans=False
        )
        rows: dict[tuple[str, tuple[str, ...]], Opportunity] = {}
        for row in advice.opportunities:
            if not row.silenced:
                rows.setdefault((row.technique, row.slots), row)
        return sorted(rows.values(), key=lambda row: row.seconds)

    def _against_plan(
        self, at: int, holding: Holding | None, slots: Sequence[str], predicted: float
    ) -> AgainstPlan | None:
        """A pair against the plan; None if there is no plan that begins with it."""
        plans = self._advisor.plans(self._position(at), self._face, holding)
        own = next((plan for plan in plans if {*plan.steps[0].slots} == {*slots}), None)
        if own is None:
            return None
        return AgainstPlan(plans[0], own, predicted - own.steps[0].seconds)

    def _later(self, number: int, begun: int, end: int, best_s: float) -> list[Alternative]:
        """What turned up in the middle of a pair and beats all before it, in its order."""
        found: list[Alternative] = []
        for at in range(begun + 1, end):
            if Situation.of(self._position(at), self._face).offset is None:
                continue
            ways = self._ways(number, at, None)
            way = max(ways, key=lambda way: way.saved_s, default=None)
            if way is not None and way.saved_s > best_s:
                found.append(replace(way, after=at - begun))
                best_s = way.saved_s
        return found[-_TOLD:]

    def _ways(self, number: int, at: int, holding: Holding | None) -> list[Alternative]:
        """The rows of a position within a stage, against what was done."""
        ways = (self._against(number, at, row) for row in self._rows(at, holding))
        return [way for way in ways if way is not None]

    def _against(self, number: int, at: int, row: Opportunity) -> Alternative | None:
        """A row against what was done from there to the end of as many pairs as it fills."""
        last = pairs_on(self._splits, number, len(row.slots))
        _, end = self._span(last)
        turns = htm(self._turns[at:end])
        begun, _ = self._span(number)
        seconds = self._predicted_for(self._stages[number : last + 1])
        if seconds is None:
            return None
        if at > begun:
            # Moves are not cut in the middle: what is left takes its share of the turns.
            seconds *= turns / max(1, htm(self._turns[begun:end]))
        return Alternative(0, row, turns - row.turns, seconds - row.seconds)

    def openings(self) -> tuple[Opening, ...]:
        """What inspection offered for the colour of the cross, if it beats what was done."""
        if self._cross is None or not self._stages or self._stages[0].split is None:
            return ()
        rows = openings(self._advisor, self._position(0), (self._face,)) or ()
        found = []
        for row in rows:
            done = self._stages[: 1 + len(row.slots)]
            turns = sum(s.split.turns for s in done if s.split)
            seconds = self._predicted_for(done)
            if seconds is not None:
                found.append(Opening(row, turns - row.turns, seconds - row.seconds))
        return tuple(found)

    def _predicted_for(self, stages: Sequence[WrittenStage]) -> float | None:
        seconds = [self._predicted(stage) for stage in stages]
        known = [one for one in seconds if one is not None]
        return sum(known) if len(known) == len(seconds) else None

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
