"""Solves of the history as plain lines and as JSON objects."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from livecube.solves.people import Whose, shown_name
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
from livecube.views.lines import counted, folded, table_lines

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.entries import Value
    from livecube.solves.people import PersonKept
    from livecube.solves.records import Chance, KeptSolve, KeptStage, Listed

__all__ = [
    "chance_json",
    "kept_json",
    "kept_lines",
    "listed_json",
    "listed_lines",
    "people_lines",
    "person_json",
    "summary_lines",
]


_ALONE: Final = Whose(None, None)


def listed_lines(
    solves: Sequence[Listed], width: int | None = None, whose: Whose = _ALONE
) -> list[str]:
    """A table of solves, with times in the system's zone.

    Columns that do not fit into ``width`` are left out; None: no limit. It says ``whose`` they are
    if there are several people.
    """
    head = [] if whose.title is None else [f"solves of {whose.title}", ""]
    if not solves:
        return [*head[:1], "no solves"]
    rows: list[tuple[str, ...]] = [
        ("solve", "session", "when", "result", "turns", "cross", "remarks")
    ]
    rows += [_listed_cells(solve) for solve in solves]
    if whose.title is None or whose.person is not None:
        return [*head, *table_lines(rows, width, (1, 5, 4), words=True, left=(2, 5, 6))]
    names = ["person", *(shown_name(solve.person) for solve in solves)]
    rows = [(row[0], name, *row[1:]) for row, name in zip(rows, names, strict=True)]
    return [*head, *table_lines(rows, width, (2, 6, 5), words=True, left=(1, 3, 6, 7))]


def _listed_cells(solve: Listed) -> tuple[str, ...]:
    return (
        str(solve.number),
        "–" if solve.session is None else str(solve.session),
        day_and_time(solve.started),
        result_text(solve.result),
        str(solve.turns),
        solve.cross or "–",
        ", ".join(_remarks(solve)),
    )


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
    parts = [counted(len(results), "solve"), f"mean of the times {result_text(mean(times))}"]
    parts.append(f"best {time_text(min(times))}")
    for count in AVERAGES_OF:
        best = best_average(results, count)
        if best is not None:
            parts.append(f"best average of {count} {result_text(best)}")
    return ["", "   ".join(parts)]


def kept_lines(
    solve: KeptSolve,
    chances: Sequence[Chance],
    width: int | None = None,
    *,
    named: bool = False,
) -> list[str]:
    """One solve with its stages; ``width`` as in :func:`listed_lines`.

    ``named``: it says whose it is.
    """
    one = solve.listed
    when = day_and_time(one.started) or "undated"
    session = "" if one.session is None else f"   session {one.session}"
    person = f"   {shown_name(one.person)}" if named else ""
    inspection = "not timed" if one.inspection_ms is None else f"{_seconds(one.inspection_ms)} s"
    lines = [
        f"solve {one.number}   {when}{person}{session}",
        f"  result      {one.workings}",
        f"  scramble    {one.scramble or 'unknown'}",
        f"  inspection  {inspection}",
        f"  {one.turns} turns, {one.cross or 'no'} cross" + (", turns lost" if one.gap else ""),
    ]
    if one.tags:
        lines.append(f"  tags        {', '.join(one.tags)}")
    rows: list[tuple[str, ...]] = [("stage", "seconds", "turns", "pause", "how")]
    rows += [_stage_cells(stage) for stage in solve.stages if stage.end_turn is not None]
    stages = table_lines(rows, width, (3, 2), words=True, left=(0, 4), indent="  ")
    below = [*map(_chance_line, chances), f"  log         {solve.log}"]
    return [*folded(lines, width, 12), *stages, *folded(below, width, 12)]


def _stage_cells(stage: KeptStage) -> tuple[str, ...]:
    title = " ".join((STAGE_TITLES[stage.stage], *stage.slots))
    how = ", ".join(part for part in (stage.technique, stage.case) if part)
    if stage.shared:
        return title, "–", "–", "–", how
    return title, _seconds(stage.ms), str(stage.turns), _seconds(stage.pause_ms), how


def _seconds(ms: int) -> str:
    return seconds_text(ms / 1000)


def _chance_line(chance: Chance) -> str:
    verb = "taken" if chance.taken else "missed"
    return (
        f"  chance {verb}: {chance.technique} {chance.slot}, {chance.saved_ms / 1000:+.2f} s "
        "predicted"
    )


_LEARNED: Final = {"holding": "how the cube is held", "hands": "what moves and looks cost"}


def people_lines(people: Sequence[PersonKept], width: int | None = None) -> list[str]:
    """Each person with a count of what is kept, their own settings, cubes, what was learned."""
    lines = []
    for one in people:
        day = day_and_time(one.last or "")[:10]
        told = [f"{one.solves} solve{'' if one.solves == 1 else 's'}"]
        told += [f"the last one on {day}"] if day else []
        told += [f"{one.drills} drill{'' if one.drills == 1 else 's'}"] if one.drills else []
        lines.append(f"{shown_name(one.person.name)}: {', '.join(told)}")
        settings = [f"{name} {_plainly(value)}" for name, value in one.person.settings.items()]
        lines += [f"  settings  {', '.join(settings)}"] if settings else []
        lines += [f"  cubes     {', '.join(one.person.cubes)}"] if one.person.cubes else []
        lines += [
            f"  learned   {_LEARNED.get(of.kind, of.kind)}, from {of.solves} solves, on "
            f"{day_and_time(of.made)[:10]}"
            for of in one.learned
        ]
    return folded(lines or ["nobody yet; livecube people add NAME adds a person"], width, 12)


def _plainly(value: Value) -> str:
    return ("on" if value else "off") if isinstance(value, bool) else str(value)


# As JSON objects. Keys are stable.


def person_json(kept: PersonKept) -> dict[str, Any]:
    """A person of the roster, with a count of what is kept."""
    return {
        "name": kept.person.name,
        "solves": kept.solves,
        "last": kept.last,
        "drills": kept.drills,
        "settings": dict(kept.person.settings),
        "cubes": list(kept.person.cubes),
        "learned": [
            {"kind": one.kind, "made": one.made, "solves": one.solves} for one in kept.learned
        ],
    }


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
