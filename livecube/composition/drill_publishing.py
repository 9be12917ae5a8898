"""What a dashboard is told of drills: each try and all rounds, in values that it knows."""

from __future__ import annotations

from statistics import fmean
from typing import TYPE_CHECKING

from livecube.dashboard.drilling import BeatDone, DrillDone, FingersDone
from livecube.drills.beat_session import BeatJudged
from livecube.drills.fingers import FingersOver
from livecube.drills.judging import DrillJudged
from livecube.review.trying import SetUpGuided
from livecube.stages.progress import LinkChanged

if TYPE_CHECKING:
    from livecube.edges.dashboard_sink import Told
    from livecube.edges.sink import Item

__all__ = ["drill_told"]


def drill_told(item: Item) -> Told:
    """For :class:`~livecube.edges.dashboard_sink.DashboardSink`.

    Who follows a set-up has a cube in the hands.
    """
    match item:
        case DrillJudged():
            return DrillDone(
                t=item.t,
                number=item.number,
                technique=item.place.row.technique,
                case=str(item.case),
                grade=item.place.grade,
                how_well=item.how_well,
                as_asked=item.as_asked,
                ms=item.ms,
                look_ms=item.look_ms,
                turns=item.turns,
                fewest=item.place.row.turns,
            )
        case FingersOver():
            return _fingers(item)
        case BeatJudged(t, result, solved):
            return BeatDone(t, result.tempo, len(result.turns), result.missed, result.empty, solved)
        case SetUpGuided():
            return LinkChanged(item.t, up=True)
    return item


def _fingers(over: FingersOver) -> FingersDone:
    seconds = [second for one in over.rounds for second in one.seconds]
    variations = [one.evenness for one in over.rounds if one.evenness is not None]
    return FingersDone(
        t=over.t,
        rounds=len(over.rounds),
        turns=len(seconds),
        turns_per_second=_per_second(seconds),
        variation=fmean(variations) if variations else None,
        left_per_second=_per_second(_of(over, "left")),
        right_per_second=_per_second(_of(over, "right")),
        slips=sum(one.slips for one in over.rounds),
    )


def _of(over: FingersOver, name: str) -> list[float]:
    return [second for one in over.rounds if one.pattern.name == name for second in one.seconds]


def _per_second(seconds: list[float]) -> float | None:
    return 1 / mean if seconds and (mean := fmean(seconds)) > 0 else None
