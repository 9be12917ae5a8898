"""Machine-readable output: every happening as one JSON object. Keys are stable."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from livecube.advice.said import (
    Adjusted,
    Clue,
    Degree,
    Planned,
    Repair,
    Spoken,
    Taken,
    Unsaid,
    Withdrawn,
)
from livecube.advice.withheld import best_chances
from livecube.cube.holding import piece_colours
from livecube.cube.turns import turn_name
from livecube.holding.news import HeldNow
from livecube.stages.progress import (
    BatteryLevel,
    ClockTold,
    CrossColour,
    DeviceTold,
    HeldAs,
    LinkChanged,
    Lost,
    Reopened,
    Resynced,
    SolveBegun,
    SolveOver,
    StageDone,
    Turned,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.advice.opportunity import Opportunity
    from livecube.advice.said import Happening
    from livecube.stages.solve import Solve, Split

__all__ = ["end_json", "happening_json", "solve_json", "split_json"]


def _s(seconds: float) -> float:
    """Seconds to the microsecond: what floating point adds beyond is noise."""
    return round(seconds, 6)


def happening_json(happening: Happening) -> dict[str, Any]:
    """The object of one happening."""
    match happening:
        case SolveOver():
            return {"event": "solve", "t": _s(happening.t), **solve_json(happening.solve)}
        case Spoken():
            name = "inspection" if happening.inspection else "opportunity"
            return _event(name, happening.t, happening.opportunity.as_json())
        case Clue():
            return _event("clue", happening.t, _clue_json(happening))
        case Planned():
            plans = [plan.as_json() for plan in happening.plans]
            return _event("plan", happening.t, {"plan": plans[0], "plans": plans})
        case Unsaid():
            return _event("unsaid", happening.t, _unsaid_json(happening))
        case Adjusted():
            return _event("adjusted", happening.t, happening.opportunity.as_json())
        case Taken() | Withdrawn():
            ended = happening.opportunity
            what = {"technique": ended.technique, "slots": list(ended.slots)}
            name = "taken" if isinstance(happening, Taken) else "withdrawn"
            return _event(name, happening.t, what)
        case Repair():
            return _event("repair", happening.t, _repair_json(happening.way))
        case Turned():
            return _event(
                "turn",
                happening.t,
                {
                    "turn": turn_name(happening.turn),
                    "line": happening.line,
                    "cross": happening.cross,
                    "offset": happening.offset,
                    "solved_slots": list(happening.solved_slots),
                },
            )
        case StageDone():
            return _event("stage", happening.t, split_json(happening.split))
        case SolveBegun():
            return _event(
                "begin",
                happening.t,
                {
                    "id": happening.id,
                    "start_turn": happening.start_turn,
                    "started": _s(happening.started),
                },
            )
        case Reopened():
            slots = {"slots": list(happening.slots), "line": happening.line}
            return _event("reopened", happening.t, slots)
        case CrossColour():
            return _event(
                "cross-colour",
                happening.t,
                {
                    "cross": happening.cross,
                    "instead_of": happening.instead_of,
                    "line": happening.line,
                },
            )
        case Resynced():
            twisted = [piece_colours(piece) for piece in happening.twisted]
            return _event("resync", happening.t, {"twisted": twisted})
        case Lost():
            return _event("gap", happening.t, {"lost": happening.lost})
        case BatteryLevel():
            return _event("battery", happening.t, {"percent": happening.percent})
        case LinkChanged():
            return _event("link", happening.t, {"up": happening.up})
        case ClockTold():
            drift = happening.drift_ppm
            good = {
                "drift_ppm": None if drift is None else round(drift, 1),
                "late_ms": round(happening.late_ms, 1),
            }
            return _event("clock", happening.t, good)
        case DeviceTold():
            return _event("device", happening.t, dict(happening.told))
        case HeldAs():
            held = happening.holding
            where = {"up": held and held.up, "front": held and held.front}
            return _event("holding", happening.t, where)
        case HeldNow():
            held = happening.holding
            where = {"up": held and held.up, "front": held and held.front}
            sure = {"confidence": round(happening.confidence, 3)}
            return _event("held", happening.t, where | sure)


def _event(name: str, t: float, rest: dict[str, Any]) -> dict[str, Any]:
    return {"event": name, "t": _s(t), **rest}


def _repair_json(way: Opportunity) -> dict[str, Any]:
    row = way.as_json()
    kept = ("slots", "turns_fixed", "moves", "up", "front", "turns", "seconds", "why")
    return {key: row[key] for key in kept}


def _clue_json(clue: Clue) -> dict[str, Any]:
    row = clue.opportunity
    return {
        "degree": clue.degree.name.lower(),
        "slots": list(row.slots),
        "technique": row.technique if clue.degree == Degree.WHAT else None,
        "up": row.holding.up,
        "front": row.holding.front,
    }


def _unsaid_json(unsaid: Unsaid) -> dict[str, Any]:
    best = best_chances(unsaid.hints)
    rows = [{"t": _s(hint.t), **hint.opportunity.as_json()} for hint in best]
    return {"hints": len(unsaid.hints), "best": rows}


def split_json(split: Split) -> dict[str, Any]:
    """One stage."""
    holding = split.holding
    return {
        "stage": split.stage,
        "slots": list(split.slots),
        "end_turn": split.end_turn,
        "turns": split.turns,
        "seconds": _s(split.seconds),
        "pause": _s(split.pause),
        "turning": _s(split.turning),
        "tps": None if split.tps is None else round(split.tps, 3),
        "technique": split.technique,
        "case": split.case,
        "offset": split.offset,
        "shared": split.shared,
        "holding": holding and {"up": holding.up, "front": holding.front},
        "inferred": split.inferred,
        "gap": split.gap,
    }


def solve_json(solve: Solve) -> dict[str, Any]:
    """One solve with its eight stages."""
    return {
        "id": solve.id,
        "cross": solve.cross,
        "start_turn": solve.start_turn,
        "seconds": _s(solve.seconds),
        "turns": solve.turns,
        "solved": solve.solved,
        "gap": solve.gap,
        "stages": [split_json(split) for split in solve.splits],
    }


def end_json(turns: int, solves: int, advice_ms: Sequence[float]) -> dict[str, Any]:
    """The last object of a replay. Times of advice in milliseconds; null without advice."""
    p50, p99, most = (
        (round(float(v), 3) for v in np.percentile(advice_ms, [50, 99, 100]))
        if len(advice_ms)
        else (None, None, None)
    )
    return {
        "event": "end",
        "turns": turns,
        "solves": solves,
        "advice_ms": {"p50": p50, "p99": p99, "max": most},
    }
