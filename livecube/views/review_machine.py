"""A review as one JSON object."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from livecube.views.machine import split_json

if TYPE_CHECKING:
    from livecube.review.values import AgainstPlan, Alternative, Review, StageReview

__all__ = ["review_json"]


def review_json(review: Review) -> dict[str, Any]:
    """The object of a review."""
    of = review.written.of.solve
    return {
        "cross": of.cross,
        "start_turn": of.start_turn,
        "seconds": round(of.seconds, 6),
        "turns": of.turns,
        "tps": None if of.tps is None else round(of.tps, 3),
        "solved": of.solved,
        "gap": of.gap,
        "stages": [_stage_json(stage) for stage in review.stages],
        "openings": [
            {
                **opening.row.as_json(),
                "saved_turns": opening.saved_turns,
                "saved_predicted": round(opening.saved_s, 3),
            }
            for opening in review.openings
        ],
        "rotations": review.rotations,
        "wide_turns": review.wide_turns,
        "regrips": review.regrips,
        "sides": [
            {
                "side": side.name,
                "pairs": side.pairs,
                "turns": round(side.turns, 3),
                "seconds": round(side.seconds, 6),
            }
            for side in review.sides
        ],
        "findings": [
            {"cost": round(f.cost_s, 3), "kind": f.kind, "text": f.sentence}
            for f in review.findings
        ],
    }


def _stage_json(stage: StageReview) -> dict[str, Any]:
    return {
        **split_json(stage.split),
        "predicted": None if stage.predicted_s is None else round(stage.predicted_s, 3),
        "confidence": round(stage.written.confidence, 3),
        "alternatives": [_alternative_json(way) for way in stage.alternatives],
        "against_plan": _against_plan_json(stage.against_plan),
    }


def _against_plan_json(against: AgainstPlan | None) -> dict[str, Any] | None:
    """What the slow way, and what beginning with this pair, are predicted to have cost."""
    if against is None:
        return None
    return {
        "slow": round(against.slow_s, 3),
        "order": round(against.order_s, 3),
        "plan": against.plan.as_json(),
        "own": against.own.as_json(),
    }


def _alternative_json(way: Alternative) -> dict[str, Any]:
    return {
        "after": way.after,
        "saved_turns": way.saved_turns,
        "saved_predicted": round(way.saved_s, 3),
        **way.row.as_json(),
    }
