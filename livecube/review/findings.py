"""Findings: what cost time in a solve, one sentence each."""

from __future__ import annotations

from math import floor
from statistics import median
from typing import TYPE_CHECKING, Final

from livecube.cube.notation import moves_text
from livecube.review.reviewed import Finding
from livecube.stages.progress import SURE
from livecube.timing.results import seconds_text

if TYPE_CHECKING:
    from collections.abc import Iterable

    from livecube.hands.automaton import Automaton
    from livecube.holding.written import WrittenStage
    from livecube.review.reviewed import Review, StageReview
    from livecube.stages.solve import Split

__all__ = ["find_costs", "find_regrips"]

_NOTABLE_S: Final = 0.1
"""Findings that cost less are left out."""


def find_costs(review: Review, hands: Automaton) -> tuple[Finding, ...]:
    """All findings of notable cost, the costliest first."""
    found = [
        *_slow_ways(review),
        *_other_orders(review),
        *_pauses(review),
        *_rotations(review),
        *_regrips(review, hands),
        *_openings(review),
    ]
    return tuple(
        sorted(
            (f for f in found if round(f.cost_s, 6) >= _NOTABLE_S),
            key=lambda f: f.cost_s,
            reverse=True,
        )
    )


def _title(stage: StageReview) -> str:
    split = stage.split
    return f"pair {' and '.join(split.slots)}" if split.slots else split.stage


def _within(title: str) -> str:
    """A technique's title in the middle of a sentence; a leading X stays upper case."""
    return title if title.startswith("X") else title[0].lower() + title[1:]


def _slow_ways(review: Review) -> list[Finding]:
    """Pairs that took longer than the fastest way into the same slot; predicted."""
    found = []
    for stage in review.stages:
        if (against := stage.against_plan) is None:
            continue
        row, right = against.own.steps[0], against.own is against.plan
        pair = "the right pair, the slow way" if right else "the slow way"
        sentence = (
            f"{_title(stage)}: {pair}; {_within(row.title)} ({moves_text(row.moves)}, "
            f"{row.holding}) would have saved about {against.slow_s:.2f} s."
        )
        found.append(Finding(against.slow_s, "predicted", sentence[0].upper() + sentence[1:]))
    return found


def _other_orders(review: Review) -> list[Finding]:
    """Pairs for which it was quicker to do another pair first; predicted."""
    found = []
    for stage in review.stages:
        if (against := stage.against_plan) is None:
            continue
        row = against.plan.steps[0]
        sentence = (
            f"Before {_title(stage)}: {' and '.join(row.slots)} first, by {_within(row.title)} "
            f"({moves_text(row.moves)}, {row.holding}), would have saved about "
            f"{against.order_s:.2f} s over all pairs."
        )
        found.append(Finding(against.order_s, "predicted", sentence))
    return found


def _pauses(review: Review) -> list[Finding]:
    """Pauses that stand out from those before the other stages."""
    splits = [s.split for s in review.stages if not s.split.shared and s.split.stage != "cross"]
    splits = [split for split in splits if not split.gap and split.stage != "auf"]
    if len(splits) <= 2:
        return []
    found = []
    for split in splits:
        usual = median(other.pause for other in splits if other is not split)
        sentence = (
            f"The pause before {_before(split)} was {seconds_text(split.pause)} s, "
            f"against {seconds_text(usual)} s before the other stages."
        )
        found.append(Finding(split.pause - usual, "measured", sentence))
    return found


def _before(split: Split) -> str:
    """The stage after a pause, in words."""
    if split.slots:
        return f"pair {' and '.join(split.slots)}"
    return {"orient": "the orientation", "permute": "the permutation"}.get(split.stage, split.stage)


def _rotations(review: Review) -> list[Finding]:
    """Rotations of pairs that an equally quick way avoids, where the holding is sure."""
    stages = [stage for stage in review.stages if stage.spare is not None]
    if not stages:
        return []
    times, cost = sum(s.spare.rotations for s in stages if s.spare), sum(map(_spare_s, stages))
    sure = min(stage.written.confidence for stage in stages)
    sentence = (
        f"The cube was rotated {_times(times)} where a way into the same slot needs no rotation "
        f"and is no slower: about {cost:.2f} s; the holding is at least {floor(100 * sure)} % "
        "certain."
    )
    return [Finding(cost, "predicted", sentence)]


def _spare_s(stage: StageReview) -> float:
    """Cost of spare rotations, without the part that a finding of :func:`_slow_ways` counts."""
    assert stage.spare is not None
    against = stage.against_plan
    if against is None or against.slow_s < _NOTABLE_S:
        return stage.spare.cost_s
    return max(0.0, min(stage.spare.cost_s, (stage.predicted_s or 0.0) - (stage.turned_s or 0.0)))


def _times(times: int) -> str:
    return "once" if times == 1 else f"{times} times"


def find_regrips(stages: Iterable[WrittenStage], hands: Automaton) -> list[float]:
    """Predicted extra seconds of each regrip inside a stage; between stages regrips are free."""
    return [
        extra / 1000 for stage in stages for extra in hands.regrips_ms(m.move for m in stage.moves)
    ]


def _regrips(review: Review, hands: Automaton) -> list[Finding]:
    """Regrips in cross and pairs, where the holding is sure.

    Later stages are learned algorithms, and their grips are learned with them.
    """
    stages = [stage.written for stage in review.stages if stage.split.stage in ("cross", "pair")]
    stages = [stage for stage in stages if stage.confidence >= SURE]
    extras = find_regrips(stages, hands)
    if not extras:
        return []
    cost, sure = sum(extras), min(stage.confidence for stage in stages)
    sentence = (
        f"The grip was wrong for the next move of cross or pairs {_times(len(extras))}: about "
        f"{cost:.2f} s; the holding is at least {floor(100 * sure)} % certain."
    )
    return [Finding(cost, "predicted", sentence)]


def _openings(review: Review) -> list[Finding]:
    best = max(review.openings, key=lambda opening: opening.saved_s, default=None)
    if best is None:
        return []
    row = best.row
    into = f" into {' and '.join(row.slots)}" if row.slots else ""
    sentence = (
        f"Inspection offered: {_within(row.title)}{into} ({moves_text(row.moves)}, {row.holding}), "
        f"about {best.saved_s:.2f} s less than what was done."
    )
    return [Finding(best.saved_s, "predicted", sentence)]
