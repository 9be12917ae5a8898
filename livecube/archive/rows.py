"""From a found solve and its review to rows of the data set's tables."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any, Final

from livecube.cube.notation import moves_text
from livecube.cube.position import turn_name
from livecube.timing.results import DNF

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.holding.observations import SolvePart
    from livecube.review.reviewed import AgainstPlan, Review
    from livecube.solves.records import Chance, KeptSolve, KeptStage, Price

__all__ = ["UNDATED", "month_of", "number_of", "rows_of", "splits_of"]

UNDATED: Final = "undated"
"""Month of a solve whose time is unknown."""
_SPLIT_OF: Final = {
    "cross": "cross_ms",
    "pair": "pairs_ms",
    "orient": "orient_ms",
    "permute": "permute_ms",
    "auf": "permute_ms",
}


def rows_of(
    kept: KeptSolve,
    session: str | None,
    review: Review,
    chances: Sequence[Chance],
    prices: Sequence[Price],
) -> dict[str, list[dict[str, Any]]]:
    """The rows of one solve, by table; see :mod:`livecube.archive.schema`."""
    solve = number_of(kept.listed.identity)
    of = review.written.of
    stages = [_stage_row(solve, n, one, of.first_line) for n, one in enumerate(kept.stages)]
    return {
        "solves": [_solve_row(kept, session)],
        "stages": stages,
        "turns": _turn_rows(solve, of.part),
        "chances": [{"solve": solve, **one._asdict()} for one in chances],
        "prices": [{"solve": solve, **one._asdict()} for one in prices],
        "plans": [
            _plan_row(solve, n, stage.against_plan)
            for n, stage in enumerate(review.stages)
            if stage.against_plan is not None
        ],
    }


def number_of(identity: str) -> int:
    """The solve's number in all tables: the first 63 bits of its identity (hexadecimal)."""
    return int(identity[:16], 16) >> 1


def month_of(started: str) -> str:
    """The month of a time (ISO 8601 in UTC), ``2026-03``."""
    return started[:7] or UNDATED


def _solve_row(kept: KeptSolve, session: str | None) -> dict[str, Any]:
    listed = kept.listed
    kinds = [penalty.kind for penalty in listed.penalties]
    return {
        "solve": number_of(listed.identity),
        "identity": listed.identity,
        "person": listed.person,
        "month": month_of(listed.started),
        "started": datetime.fromisoformat(listed.started) if listed.started else None,
        "session": session,
        "cross": listed.cross,
        "ms": listed.ms,
        "plus": kinds.count("+2"),
        "is_dnf": DNF in kinds,
        "turns": listed.turns,
        "solved": listed.solved,
        "gap": listed.gap,
        "scramble": listed.scramble,
        "inspection_ms": listed.inspection_ms,
        "tags": list(listed.tags),
        **splits_of(kept.stages),
    }


def splits_of(stages: Sequence[KeptStage]) -> dict[str, Any]:
    """Sums of a solve's stages: its four splits, all pauses, and whether all were measured."""
    sums = dict.fromkeys(_SPLIT_OF.values(), 0)
    for stage in stages:
        sums[_SPLIT_OF[stage.stage]] += stage.ms
    return {
        **sums,
        "pause_ms": sum(stage.pause_ms for stage in stages),
        "whole": all(stage.end_turn is not None and not stage.gap for stage in stages),
    }


def _stage_row(solve: int, number: int, stage: KeptStage, first_line: int) -> dict[str, Any]:
    return {
        "solve": solve,
        "stage": number,
        "kind": stage.stage,
        "slots": list(stage.slots),
        "end_turn": None if stage.end_turn is None else stage.end_turn - first_line + 1,
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


def _turn_rows(solve: int, part: SolvePart) -> list[dict[str, Any]]:
    return [
        {"solve": solve, "place": place, "ms": round(1000 * (t - part.times[0])), "turn": turn}
        for place, (turn, t) in enumerate(zip(map(turn_name, part.turns), part.times, strict=True))
    ]


def _plan_row(solve: int, stage: int, against: AgainstPlan) -> dict[str, Any]:
    first = against.plan.steps[0]
    return {
        "solve": solve,
        "stage": stage,
        "plan_ms": round(1000 * against.plan.total),
        "own_ms": round(1000 * against.own.total),
        "slow_ms": round(1000 * against.slow_s),
        "turning_ms": round(1000 * against.turning_s),
        "pause_ms": round(1000 * against.pause_s),
        "technique": first.technique,
        "slots": [*first.slots, *first.also],
        "moves": moves_text(first.moves),
    }
