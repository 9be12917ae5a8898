"""The objects in messages. The schemas beside this module publish their form."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, Final

from livecube.timing.results import penalties_text, result_of

if TYPE_CHECKING:
    from collections.abc import Iterable

    from livecube.dashboard.drilling import BeatDone, DrillDone, FingersDone
    from livecube.stages.solve import Solve, Split
    from livecube.timing.results import Penalty

__all__ = [
    "StagesSoFar",
    "availability",
    "beat_payload",
    "drill_payload",
    "fingers_payload",
    "judged_payload",
    "seq_of",
    "solve_payload",
    "stage_payload",
]


_LAST_LAYER: Final = ("orient", "permute", "auf")


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


class StagesSoFar:
    """The stages of a solve as they are done, each in the form of :func:`stage_payload`.

    Pairs stand in the order in which they were done, and are removed when their slot is reopened.
    """

    def __init__(self) -> None:
        self._alone: dict[str, dict[str, Any]] = {}
        self._pairs: list[dict[str, Any]] = []

    def done(self, stage: str, payload: dict[str, Any]) -> None:
        """Note a finished stage."""
        if stage == "pair":
            self.reopened(payload["slots"])
            self._pairs.append(payload)
        else:
            self._alone[stage] = payload

    def reopened(self, slots: Iterable[str]) -> None:
        """Note reopened slots."""
        self._pairs = [one for one in self._pairs if not {*one["slots"]} & {*slots}]

    def told(self) -> list[dict[str, Any] | None]:
        """The eight stages, in the order of a solve; None: not done yet."""
        pairs = [*self._pairs, *(None,) * 4][:4]
        cross, *last_layer = (self._alone.get(name) for name in ("cross", *_LAST_LAYER))
        return [cross, *pairs, *last_layer]


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


def judged_payload(ms: int, penalties: tuple[Penalty, ...]) -> dict[str, Any]:
    """The result of a solve with this time and these penalties."""
    result = result_of(ms, penalties)
    return {
        "result_seconds": None if isinstance(result, str) else _s(result / 1000),
        "penalty": penalties_text(penalties),
        "penalties": [{"kind": one.kind, "reason": one.reason} for one in penalties],
    }


def drill_payload(done: DrillDone) -> dict[str, Any]:
    """One try of a drill."""
    return {
        "technique": done.technique,
        "case": done.case,
        "grade": done.grade,
        "how_well": done.how_well,
        "as_asked": done.as_asked,
        "seconds": _s(done.ms / 1000),
        "look_seconds": _s(done.look_ms / 1000),
        "turns": done.turns,
        "fewest_turns": done.fewest,
        "code": done.code,
    }


def fingers_payload(done: FingersDone) -> dict[str, Any]:
    """Rounds of the ring-finger drill."""
    return {
        "rounds": done.rounds,
        "turns": done.turns,
        "turns_per_second": _figure(done.turns_per_second),
        "variation": _figure(done.variation),
        "left_turns_per_second": _figure(done.left_per_second),
        "right_turns_per_second": _figure(done.right_per_second),
        "slips": done.slips,
    }


def beat_payload(done: BeatDone) -> dict[str, Any]:
    """A solve to a beat."""
    return {
        "beats_per_second": done.tempo,
        "turns": done.turns,
        "missed": done.missed,
        "empty": done.empty,
        "solved": done.solved,
    }


def _figure(value: float | None) -> float | None:
    return None if value is None else round(value, 3)


def availability(desk: str, state: str, new_id: str) -> dict[str, Any]:
    """The body on :data:`~.topics.AVAILABILITY`: ``online``, or ``offline`` as the last will."""
    return {"id": new_id, "desk": desk, "state": state}


def seq_of(payload: bytes) -> int:
    """Number of the message within its desk; 0 if the payload is unusable."""
    try:
        seq = json.loads(payload)["seq"]
    except (ValueError, KeyError, TypeError, RecursionError):
        return 0
    return seq if isinstance(seq, int) and seq > 0 else 0
