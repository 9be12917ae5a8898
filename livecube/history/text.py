"""Solves of the history as plain lines and as JSON objects."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from livecube.timing.averages import AVERAGES_OF, best_average, mean
from livecube.timing.results import (
    penalties_json,
    penalties_sentence,
    penalties_text,
    result_json,
    result_text,
    seconds_text,
    time_text,
)
from livecube.views.happenings import STAGE_TITLES, day_and_time

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import tzinfo

    from livecube.solves.records import Chance, KeptSolve, KeptStage, Listed

__all__ = ["chance_json", "kept_json", "kept_lines", "listed_json", "listed_lines", "summary_lines"]

_HEAD: Final = (
    f"{'solve':>6}  {'session':>7}  {'when':<17}{'result':>10}  {'turns':>5}  {'cross':<7} remarks"
)


def listed_lines(solves: Sequence[Listed], zone: tzinfo | None = None) -> list[str]:
    """A table of solves, with times in a zone; None: the system's zone."""
    return [_HEAD, *(_listed_line(solve, zone) for solve in solves)] if solves else ["no solves"]


def _listed_line(solve: Listed, zone: tzinfo | None) -> str:
    when = day_and_time(solve.started, zone)
    session = "–" if solve.session is None else str(solve.session)
    return (
        f"{solve.number:6d}  {session:>7}  {when:<17}{result_text(solve.result):>10}  "
        f"{solve.turns:5d}  {solve.cross or '–':<7} {', '.join(_remarks(solve))}"
    ).rstrip()


def _remarks(solve: Listed) -> list[str]:
    remarks = []
    if solve.corrected is not None:
        was, now = penalties_text(solve.measured), penalties_text(solve.corrected)
        remarks.append(f"{now}, measured {was}")
    elif solve.measured:
        kinds = penalties_text(solve.measured)
        remarks.append(f"{kinds}: {penalties_sentence(solve.measured)}")
    if solve.gap:
        remarks.append("turns lost")
    return [*remarks, *(f"#{tag}" for tag in solve.tags)]


def summary_lines(solves: Sequence[Listed]) -> list[str]:
    """A summary of many solves."""
    results = [solve.result for solve in solves]
    times = [result for result in results if not isinstance(result, str)]
    if not times:
        return []
    parts = [f"{len(results)} solves", f"mean of the times {result_text(mean(times))}"]
    parts.append(f"best {time_text(min(times))}")
    for count in AVERAGES_OF:
        best = best_average(results, count)
        if best is not None:
            parts.append(f"best average of {count} {result_text(best)}")
    return ["", "   ".join(parts)]


def kept_lines(
    solve: KeptSolve, chances: Sequence[Chance], zone: tzinfo | None = None
) -> list[str]:
    """One solve with its stages; ``zone`` as in :func:`listed_lines`."""
    one = solve.listed
    when = day_and_time(one.started, zone) or "undated"
    session = "" if one.session is None else f"   session {one.session}"
    inspection = "not timed" if one.inspection_ms is None else f"{_seconds(one.inspection_ms)} s"
    lines = [
        f"solve {one.number}   {when}   {one.person}{session}",
        f"  result      {one.workings}",
        f"  scramble    {one.scramble or 'unknown'}",
        f"  inspection  {inspection}",
        f"  {one.turns} turns, {one.cross or 'no'} cross" + (", turns lost" if one.gap else ""),
    ]
    if one.tags:
        lines.append(f"  tags        {', '.join(one.tags)}")
    lines.append(f"  {'stage':<24}{'seconds':>8}{'turns':>7}{'pause':>8}   how")
    lines += [_stage_line(stage) for stage in solve.stages if stage.end_turn is not None]
    lines += [_chance_line(chance) for chance in chances]
    return [*lines, f"  log         {solve.log}"]


def _stage_line(stage: KeptStage) -> str:
    title = " ".join((STAGE_TITLES[stage.stage], *stage.slots))
    how = ", ".join(part for part in (stage.technique, stage.case) if part)
    if stage.shared:
        return f"  {title:<24}{'–':>8}{'–':>7}{'–':>8}   {how}".rstrip()
    return (
        f"  {title:<24}{_seconds(stage.ms):>8}{stage.turns:7d}{_seconds(stage.pause_ms):>8}   {how}"
    ).rstrip()


def _seconds(ms: int) -> str:
    return seconds_text(ms / 1000)


def _chance_line(chance: Chance) -> str:
    verb = "taken" if chance.taken else "missed"
    return (
        f"  chance {verb}: {chance.technique} {chance.slot}, {chance.saved_ms / 1000:+.2f} s "
        "predicted"
    )


# As JSON objects. Keys are stable.


def listed_json(solve: Listed) -> dict[str, Any]:
    """A solve of the history, without its stages."""
    return {
        "number": solve.number,
        "person": solve.person,
        "started": solve.started,
        "session": solve.session,
        "cross": solve.cross,
        "ms": solve.ms,
        **result_json(solve.result),
        "turns": solve.turns,
        "solved": solve.solved,
        "gap": solve.gap,
        "scramble": solve.scramble,
        "inspection_ms": solve.inspection_ms,
        "penalties": penalties_json(solve.measured),
        "corrected": None if solve.corrected is None else penalties_json(solve.corrected),
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
    """A chance that a review found in a stage."""
    return {
        "stage": chance.stage,
        "technique": chance.technique,
        "slot": chance.slot,
        "taken": chance.taken,
        "saved_ms": chance.saved_ms,
    }
