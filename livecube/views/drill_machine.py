"""What drills tell, as JSON objects. Keys are stable."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from livecube.cube.facelets import facelets_text
from livecube.drills.beat_session import BeatJudged, BeatReady, BeatTurned
from livecube.drills.fingers import LEFT, FingerAsked, FingerRound, FingersOver, FingerTurned
from livecube.drills.judging import DrillJudged
from livecube.drills.news import DrillReady

if TYPE_CHECKING:
    from livecube.drills.beat import BeatResult
    from livecube.drills.fingers import Pattern
    from livecube.drills.news import DrillNews
    from livecube.drills.place import DrillPlace

__all__ = ["beat_json", "drill_json", "round_json"]


def drill_json(news: DrillNews) -> dict[str, Any]:
    """The object of what a drill tells."""
    name, rest = _told(news)
    return {"event": name, "t": round(news.t, 6), **rest}


def _told(news: DrillNews) -> tuple[str, dict[str, Any]]:
    match news:
        case DrillReady():
            facelets = facelets_text(np.frombuffer(news.position, dtype=np.uint8))
            return "drill-ready", {
                "number": news.number,
                "facelets": facelets,
                **_place(news.place),
            }
        case DrillJudged():
            return "drill-judged", {"number": news.number, **_judged(news)}
        case FingerAsked():
            return "finger-round", {
                "number": news.number,
                "rounds": news.rounds,
                "pattern": news.pattern.name,
                "moves": _moves(news.pattern),
            }
        case FingerTurned():
            return "finger-turn", {"number": news.number, "done": news.done, "slip": news.slip}
        case FingerRound():
            return "finger-round-done", round_json(news)
        case FingersOver():
            sides = news.sides
            return "fingers-done", {
                "rounds": [round_json(one) for one in news.rounds],
                "left_ms": None if sides is None else round(1000 * sides.left_s, 1),
                "right_ms": None if sides is None else round(1000 * sides.right_s, 1),
                "differ": None if sides is None else sides.differ,
            }
        case BeatReady():
            return "beat-ready", {"tempo": news.tempo}
        case BeatTurned():
            return "beat-turn", {"number": news.number}
        case BeatJudged():
            return "beat-judged", {"solved": news.solved, **beat_json(news.result)}


def _moves(pattern: Pattern) -> str:
    return " ".join("D" if quarters == LEFT else "D'" for quarters in pattern.quarters)


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


def round_json(done: FingerRound) -> dict[str, Any]:
    """The figures of one round of the finger drill."""
    return {
        "number": done.number,
        "pattern": done.pattern.name,
        "intervals_ms": [round(1000 * seconds, 1) for seconds in done.seconds],
        "mean_ms": None if done.mean_s is None else round(1000 * done.mean_s, 1),
        "evenness": None if done.evenness is None else round(done.evenness, 4),
        "slips": done.slips,
    }


def beat_json(result: BeatResult) -> dict[str, Any]:
    """The figures of a solve to a beat."""
    return {
        "tempo": result.tempo,
        "turns": len(result.turns),
        "missed": result.missed,
        "empty": result.empty,
        "stages": [
            {"stage": one.stage, "turns": one.turns, "missed": one.missed, "empty": one.empty}
            for one in result.stages
        ],
        "off_ms": [round(1000 * turn.off_s, 1) for turn in result.turns],
        "empty_before": [turn.empty for turn in result.turns],
    }
