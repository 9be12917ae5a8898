"""When a case is due again: spaced repetition by the published FSRS scheduler.

A card is one case of one technique for one person. The judgement of a try is the scheduler's
rating: *missed* is again, *laboured* hard, *sound* good, *fluent* easy. Nothing is random here,
and the time is a parameter.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from fsrs import Card, Rating, Scheduler

from livecube.drills.judging import HOW_WELL

if TYPE_CHECKING:
    from datetime import datetime

__all__ = ["DrillCard", "after_drill"]

_SCHEDULER: Final = Scheduler(enable_fuzzing=False)
_RATINGS: Final = dict(
    zip(HOW_WELL, (Rating.Again, Rating.Hard, Rating.Good, Rating.Easy), strict=True)
)
_NO_NUMBER: Final = 0
"""The scheduler's cards need numbers; our cards have names instead."""


@dataclass(frozen=True, slots=True)
class DrillCard:
    """One case of one technique, and when it is due."""

    technique: str
    case: str
    """As text, see :class:`livecube.drills.place.Case`."""
    due: datetime
    """With the time zone UTC."""
    state: str
    """The scheduler's own data, as JSON."""


def after_drill(
    card: DrillCard | None, technique: str, case: str, how_well: str, now: datetime
) -> DrillCard:
    """The card after a try, with its next due time; ``card``: None: never drilled before.

    ``now`` has the time zone UTC; ``how_well`` is one of :data:`.HOW_WELL`.
    """
    before = Card(_NO_NUMBER, due=now) if card is None else Card.from_json(card.state)
    after, _ = _SCHEDULER.review_card(before, _RATINGS[how_well], now)
    return DrillCard(technique, case, after.due, after.to_json())
