"""The objects of messages. Their form is published in the schemas beside this module."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from livecube.stages.solve import Solve, Split

__all__ = ["solve_payload", "stage_payload"]


def _s(seconds: float) -> float:
    return round(seconds, 3)


def stage_payload(split: Split) -> dict[str, Any]:
    """One stage with its split."""
    return {
        "stage": split.stage,
        "slots": list(split.slots),
        "done": split.end_turn is not None,
        "seconds": _s(split.seconds),
        "pause_seconds": _s(split.pause),
        "turning_seconds": _s(split.turning),
        "turns": split.turns,
        "turns_per_second": None if split.tps is None else round(split.tps, 3),
        "technique": split.technique,
        "case": split.case,
        "shared": split.shared,
        "inferred": split.inferred,
        "gap": split.gap,
    }


def solve_payload(solve: Solve) -> dict[str, Any]:
    """A solve with its eight stages, in hindsight."""
    return {
        "cross": solve.cross,
        "seconds": _s(solve.seconds),
        "turns": solve.turns,
        "solved": solve.solved,
        "gap": solve.gap,
        "stages": [stage_payload(split) for split in solve.splits],
    }
