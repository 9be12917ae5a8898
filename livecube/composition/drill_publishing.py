"""What a dashboard is told of drills: each try on a position, in values that it knows."""

from __future__ import annotations

from typing import TYPE_CHECKING

from livecube.dashboard.drilling import DrillDone
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
        case SetUpGuided():
            return LinkChanged(item.t, up=True)
    return item
