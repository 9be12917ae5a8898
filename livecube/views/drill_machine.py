"""What drills tell, as JSON objects. Keys are stable."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from livecube.cube.facelets import facelets_text
from livecube.drills.news import DrillReady

if TYPE_CHECKING:
    from livecube.drills.judging import DrillJudged
    from livecube.drills.news import DrillNews
    from livecube.drills.positions import DrillPlace

__all__ = ["drill_json"]


def drill_json(news: DrillNews) -> dict[str, Any]:
    """The object of what a drill tells."""
    if isinstance(news, DrillReady):
        name = "drill-ready"
        facelets = facelets_text(np.frombuffer(news.position, dtype=np.uint8))
        rest = {"facelets": facelets, **_place(news.place)}
    else:
        name, rest = "drill-judged", _judged(news)
    return {"event": name, "t": round(news.t, 6), "number": news.number, **rest}


def _place(place: DrillPlace) -> dict[str, Any]:
    return {
        "technique": place.technique,
        "case": str(place.case),
        "grade": place.grade,
        "margin_s": None if place.margin_s is None else round(place.margin_s, 3),
    }


def _judged(judged: DrillJudged) -> dict[str, Any]:
    next_in = judged.next_in
    return {
        **_place(judged.place),
        "how_well": judged.how_well,
        "as_asked": judged.as_asked,
        "techniques": list(judged.techniques),
        "slots": list(judged.slots),
        "turns": judged.turns,
        "over": judged.over,
        "ms": judged.ms,
        "look_ms": judged.look_ms,
        "pause_ms": judged.pause_ms,
        "asked": judged.place.row.as_json(),
        "next_in_s": None if next_in is None else round(next_in.total_seconds()),
    }
