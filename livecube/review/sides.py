"""Left against right, front against back: how pairs went by the side of their slot."""

from __future__ import annotations

from statistics import fmean
from typing import TYPE_CHECKING, Final, Literal

from livecube.advice.words import place_of
from livecube.holding.news import SURE
from livecube.review.values import Side

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.review.values import StageReview

__all__ = ["compare_sides"]

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
