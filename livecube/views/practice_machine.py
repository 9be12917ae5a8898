"""What practice tells and the history holds, as JSON objects. Keys are stable."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from livecube.cube.turns import turns_text
from livecube.practice.news import (
    Abandoned,
    BreakAdvised,
    Called,
    Corrected,
    Discarded,
    Guided,
    InspectionBegun,
    Judged,
    Reviewed,
    ScrambleAsked,
    SolveStarted,
)
from livecube.timing.results import result_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.practice.news import PracticeNews, Tally
    from livecube.solves.records import Chance, KeptSolve, KeptStage, Listed
    from livecube.timing.results import Penalty, Result

__all__ = ["chance_json", "kept_json", "listed_json", "practice_json"]


def practice_json(news: PracticeNews) -> dict[str, Any]:
    """The object of what practice tells."""
    match news:
        case ScrambleAsked():
            name, rest = (
                "scramble",
                {
                    "number": news.number,
                    "turns": turns_text(news.turns),
                    "by_hand": news.by_hand,
                },
            )
        case Guided():
            guidance = news.guidance
            name, rest = (
                "scrambling",
                {
                    "upcoming": turns_text(guidance.upcoming),
                    "back": turns_text(guidance.back),
                    "reached": guidance.reached,
                },
            )
        case InspectionBegun():
            name, rest = (
                "inspecting",
                {
                    "number": news.number,
                    "scramble": turns_text(news.scramble),
                    "timed": news.timed,
                },
            )
        case Called():
            name, rest = "call", {"seconds": news.seconds}
        case SolveStarted():
            inspection = {"inspection_ms": news.inspection_ms}
            name, rest = "start", {"number": news.number, **inspection}
        case Judged():
            name, rest = (
                "result",
                {
                    "number": news.number,
                    "ms": news.ms,
                    "inspection_ms": news.inspection_ms,
                    "penalties": _penalties(news.penalties),
                    **_result(result_of(news.ms, news.penalties)),
                    **_tally(news.tally),
                },
            )
        case Corrected():
            counts = news.measured if news.penalties is None else news.penalties
            name, rest = (
                "corrected",
                {
                    "number": news.number,
                    "ms": news.ms,
                    "penalties": _penalties(news.measured),
                    "corrected": None if news.penalties is None else _penalties(news.penalties),
                    **_result(result_of(news.ms, counts)),
                    **_tally(news.tally),
                },
            )
        case Discarded():
            name, rest = (
                "discarded",
                {
                    "number": news.number,
                    "away": news.away,
                    **_tally(news.tally),
                },
            )
        case Abandoned():
            name, rest = "abandoned", {"number": news.number}
        case BreakAdvised():
            name, rest = (
                "break",
                {
                    "minutes": round(news.due.minutes, 1),
                    "turns": news.due.turns,
                },
            )
        case Reviewed():
            name, rest = (
                "reviewed",
                {
                    "number": news.number,
                    "kept": news.kept,
                    "sentences": list(news.sentences),
                },
            )
    return {"event": name, "t": round(news.t, 6), **rest}


def _penalties(penalties: Sequence[Penalty]) -> list[dict[str, str]]:
    return [{"kind": one.kind, "reason": one.reason} for one in penalties]


def _result(result: Result) -> dict[str, Any]:
    """Milliseconds that count, or null and why."""
    is_time = not isinstance(result, str)
    return {"result_ms": result if is_time else None, "no_time": None if is_time else result}


def _tally(tally: Tally) -> dict[str, Any]:
    averages = {name.replace(" ", "_"): _result(result) for name, result in tally.averages}
    return {"averages": averages, "best_ms": tally.best, "solves": len(tally.results)}


def listed_json(solve: Listed) -> dict[str, Any]:
    """A solve of the history, without its stages."""
    return {
        "number": solve.number,
        "person": solve.person,
        "started": solve.started,
        "session": solve.session,
        "cross": solve.cross,
        "ms": solve.ms,
        **_result(solve.result),
        "turns": solve.turns,
        "solved": solve.solved,
        "gap": solve.gap,
        "scramble": solve.scramble,
        "inspection_ms": solve.inspection_ms,
        "penalties": _penalties(solve.measured),
        "corrected": None if solve.corrected is None else _penalties(solve.corrected),
        "tags": list(solve.tags),
        "identity": solve.identity,
    }


def kept_json(solve: KeptSolve) -> dict[str, Any]:
    """A solve of the history with its stages."""
    stages = [_stage_json(stage) for stage in solve.stages]
    return {**listed_json(solve.listed), "stages": stages, "log": solve.log}


def _stage_json(stage: KeptStage) -> dict[str, Any]:
    return {
        "stage": stage.stage,
        "slots": list(stage.slots),
        "end_turn": stage.end_turn,
        "turns": stage.turns,
        "ms": stage.ms,
        "pause_ms": stage.pause_ms,
        "technique": stage.technique,
        "case": stage.case,
        "offset": stage.offset,
        "shared": stage.shared,
        "inferred": stage.inferred,
        "gap": stage.gap,
        "holding": stage.holding,
    }


def chance_json(chance: Chance) -> dict[str, Any]:
    """What a technique would have been worth in a stage."""
    return {
        "stage": chance.stage,
        "technique": chance.technique,
        "slot": chance.slot,
        "taken": chance.taken,
        "saved_ms": chance.saved_ms,
    }
