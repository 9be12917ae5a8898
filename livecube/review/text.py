"""A review as lines of text. Predicted figures are marked; all others were measured."""

from __future__ import annotations

from math import floor
from typing import TYPE_CHECKING, Any, Final

from livecube.advice.words import place_of, turns_counted
from livecube.cube.code import position_code
from livecube.cube.notation import moves_text
from livecube.stages.progress import SURE
from livecube.timing.results import seconds_text
from livecube.views.happenings import split_json, split_title
from livecube.views.lines import folded, table_rows

if TYPE_CHECKING:
    from collections.abc import Iterator

    from livecube.review.reviewed import (
        AgainstPlan,
        Alternative,
        Finding,
        Opening,
        Review,
        StageReview,
    )

__all__ = ["costs_told", "review_json", "review_lines"]

_SENTENCES: Final = 3


def review_lines(review: Review, title: str, width: int | None = None) -> list[str]:
    """The review of one solve, folded at ``width`` columns; None: not folded."""
    of = review.written.of.solve
    verb = "solved" if of.solved else "not solved"
    lost = "; turns were lost, and their stages are not judged" if of.gap else ""
    head = (
        f"{title}: {verb}, {seconds_text(of.seconds)} s, {of.turns} turns{_a_second(of.tps)}, "
        f"{of.cross or 'no'} cross{lost}"
    )
    below = [*_sides(review), _rotations(review), *_openings(review)]
    return [
        *folded([head, "", *_findings(review)], width, 3),
        *_stages(review, width),
        "",
        *folded(below, width),
    ]


def _stages(review: Review, width: int | None) -> Iterator[str]:
    """One row for each stage, and the better ways below each pair."""
    heads = ("stage", "seconds", "pause", "turning", "turns", "tps", "predicted", "how")
    rows: list[tuple[str, ...]] = [heads]
    rows += map(_stage, review.stages)
    told = table_rows(rows, width, (5, 3, 6, 4, 2), words=True, left=(0, 7))
    yield from told[0]
    for stage, lines in zip(review.stages, told[1:], strict=True):
        yield from lines
        if stage.alternatives:
            yield f"    code before it: {_code(stage)}"
        yield from folded(map(_alternative, stage.alternatives), width, 4)


def _code(stage: StageReview) -> str | None:
    """The code of the position at the beginning of a pair, and of the holding if it is sure."""
    return None if stage.began is None else position_code(stage.began, stage.held)


def costs_told(review: Review) -> tuple[str, ...]:
    """The costliest findings, one sentence each, the costliest first."""
    return tuple(map(_with_cost, review.findings[:_SENTENCES]))


def _with_cost(finding: Finding) -> str:
    """The sentence of a finding, its cost if the sentence lacks it, and *measured* or not."""
    cost = f"{finding.cost_s:.2f} s"
    kind = finding.kind if cost in finding.sentence else f"{cost}, {finding.kind}"
    return f"{finding.sentence} ({kind})"


def _a_second(tps: float | None) -> str:
    return "" if tps is None else f" ({tps:.1f} a second)"


def _findings(review: Review) -> Iterator[str]:
    if not review.findings:
        yield from ("Nothing in particular cost time.", "")
        return
    yield "What mattered most:"
    for number, sentence in enumerate(costs_told(review), start=1):
        yield f"{number}. {sentence}"
    yield ""


def _stage(stage: StageReview) -> tuple[str, ...]:
    split = stage.split
    if split.shared:
        how = ", ".join(filter(None, ("on the same turn as the stage before", _how(stage))))
        return split_title(split), *["–"] * 6, how
    return (
        split_title(split),
        seconds_text(split.seconds),
        seconds_text(split.pause),
        seconds_text(split.turning),
        str(split.turns),
        "–" if split.tps is None else f"{split.tps:.1f}",
        "–" if stage.predicted_s is None else f"{stage.predicted_s:.2f}",
        _how(stage),
    )


def _how(stage: StageReview) -> str:
    split, sure = stage.split, stage.written.confidence >= SURE
    places = [place_of(slot, stage.written.holding) for slot in split.slots if sure]
    marks = ["turns lost: not measured"] if split.gap else []
    return ", ".join([*places, *filter(None, (split.technique, split.case)), *marks])


def _alternative(way: Alternative) -> str:
    row = way.row
    when = f"after {turns_counted(way.after)}" if way.after else "at once"
    into = " and ".join(row.slots)
    return (
        f"    {when}: {moves_text(row.moves)}   [{row.holding}]   {row.title} into {into}; "
        f"{_turns(way.saved_turns)}, {way.saved_s:.2f} s less (predicted)"
    )


def _turns(saved: int) -> str:
    if saved == 0:
        return "as many turns"
    return f"{turns_counted(abs(saved))} {'fewer' if saved > 0 else 'more'}"


def _sides(review: Review) -> Iterator[str]:
    for side in review.sides:
        pairs = f"{side.pairs} pair{'s' if side.pairs != 1 else ''}"
        yield f"{side.name:<6}{pairs:>8}, {side.turns:.1f} turns and {side.seconds:.2f} s a pair"


def _rotations(review: Review) -> str:
    """Counts of rotations, wide turns and regrips, and how sure they are."""
    moved = [line.confidence for line in review.written.stages if line.moves]
    spare = sum(stage.spare.rotations for stage in review.stages if stage.spare)
    return (
        f"{_many(review.rotations, 'rotation')}, {_many(review.wide_turns, 'wide turn')}, at "
        f"least {floor(100 * min(moved, default=1.0))} % certain; "
        f"{_many(review.regrips, 'regrip')} (predicted); rotations that an equally quick way "
        f"avoids, at least {floor(100 * SURE)} % certain: {spare}"
    )


def _many(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"


def _openings(review: Review) -> Iterator[str]:
    if review.openings:
        yield "inspection offered:"
    for opening in review.openings:
        yield f"    {_opening(opening)}"


def _opening(opening: Opening) -> str:
    row = opening.row
    into = f" into {' and '.join(row.slots)}" if row.slots else ""
    less = f"{opening.saved_s:.2f} s less (predicted)"
    return (
        f"{moves_text(row.moves)}   [{row.holding}]   {row.title}{into}; "
        f"{_turns(opening.saved_turns)}, {less} than what was done"
    )


# A review as one JSON object.


def review_json(review: Review) -> dict[str, Any]:
    """The JSON object of a review."""
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
        "held": stage.held and {"up": stage.held.up, "front": stage.held.front},
        "turned": None if stage.turned_s is None else round(stage.turned_s, 3),
        "code": _code(stage),
        "spare": None
        if stage.spare is None
        else {
            "rotations": stage.spare.rotations,
            "cost": round(stage.spare.cost_s, 3),
            "way": stage.spare.way.as_json(),
        },
        "alternatives": [_alternative_json(way) for way in stage.alternatives],
        "against_plan": _against_plan_json(stage.against_plan),
    }


def _against_plan_json(against: AgainstPlan | None) -> dict[str, Any] | None:
    """Predicted seconds lost by the slow way and by beginning with this pair; both plans."""
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
