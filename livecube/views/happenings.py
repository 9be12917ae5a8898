"""Happenings as JSON objects and as plain lines."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from livecube.advice.speaker import (
    Adjusted,
    Clue,
    Planned,
    Repair,
    Spoken,
    Taken,
    Telling,
    Unsaid,
    Withdrawn,
    best_chances,
)
from livecube.advice.words import place_of, what_sentence, where_sentence
from livecube.cube.holding import piece_colours
from livecube.cube.notation import moves_text
from livecube.cube.position import turn_name
from livecube.events import Battery, ClockAccount, DeviceInfo, Gap, HeldAs, LinkChange
from livecube.stages.progress import (
    CrossColour,
    HeldNow,
    HelpWanted,
    Reopened,
    Resynced,
    SolveBegun,
    SolveOver,
    StageDone,
    Turned,
)
from livecube.timing.results import seconds_text
from livecube.views.lines import folded, table_lines

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.advice.rows import Opportunity
    from livecube.advice.speaker import Happening
    from livecube.advice.words import Note
    from livecube.stages.solve import Solve, Split

__all__ = [
    "LINK_BACK",
    "LINK_LOST",
    "SHORT_TITLES",
    "STAGE_TITLES",
    "clock_sentence",
    "clue_text",
    "day_and_time",
    "end_json",
    "hands_json",
    "happening_json",
    "happening_line",
    "hint_text",
    "note_sentence",
    "solve_json",
    "solve_lines",
    "split_json",
    "split_title",
    "twisted_sentence",
    "unsaid_lines",
]


def day_and_time(moment: str) -> str:
    """Day and time in the system's zone, ``2026-03-01 19:20``; empty if the moment is empty.

    ``moment`` is ISO 8601 with its zone.
    """
    if not moment:
        return ""
    try:
        return datetime.fromisoformat(moment).astimezone().strftime("%Y-%m-%d %H:%M")
    except (ValueError, OverflowError):  # the very first or last day of the calendar
        return moment


# Machine-readable output: every happening as one JSON object. Keys are stable.


def _s(seconds: float) -> float:
    """Seconds rounded to the microsecond, which removes the noise of floating point."""
    return round(seconds, 6)


def happening_json(happening: Happening) -> dict[str, Any]:
    """The object of one happening."""
    match happening:
        case SolveOver():
            return {"event": "solve", "t": _s(happening.t), **solve_json(happening.solve)}
        case Spoken():
            name = "inspection" if happening.inspection else "opportunity"
            price = happening.price_s
            paid = {} if price is None else {"price": round(price, 3)}
            return _event(name, happening.t, happening.opportunity.as_json() | paid)
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
        case Gap():
            return _event("gap", happening.t, {"lost": happening.lost})
        case Battery():
            return _event("battery", happening.t, {"percent": happening.percent})
        case LinkChange():
            return _event("link", happening.t, {"up": happening.up})
        case ClockAccount():
            drift = happening.drift_ppm
            good = {
                "drift_ppm": None if drift is None else round(drift, 1),
                "late_ms": round(happening.late_ms, 1),
            }
            return _event("clock", happening.t, good)
        case DeviceInfo():
            return _event("device", happening.t, dict(happening.told))
        case HeldAs():
            held = happening.holding
            where = {"up": held and held.up, "front": held and held.front}
            return _event("holding", happening.t, where)
        case HelpWanted():
            return _event("help", happening.t, {"wanted": happening.wanted})
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
        "tells": clue.tells.name.lower(),
        "slots": list(row.slots),
        "technique": row.technique if clue.tells == Telling.WHAT else None,
        "up": row.holding.up,
        "front": row.holding.front,
    }


def _unsaid_json(unsaid: Unsaid) -> dict[str, Any]:
    best = best_chances(unsaid.missed)
    rows = [
        {"t": _s(hint.t), "since_start": _s(hint.t - unsaid.started), **hint.opportunity.as_json()}
        for hint in best
    ]
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


def hands_json(own_hands: int | None) -> dict[str, Any]:
    """The first object of a run: the number of solves that the hands were learned from.

    None: predicted seconds are not for somebody's own hands.
    """
    return {"event": "hands", "own_hands": own_hands}


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


# Happenings as plain lines, for pipes, files and terminals without a screen to draw on.


STAGE_TITLES: Final = {
    "cross": "cross",
    "pair": "pair",
    "orient": "orientation (OLL)",
    "permute": "permutation (PLL)",
    "auf": "closing turn (AUF)",
}
SHORT_TITLES: Final = {"orient": "OLL", "permute": "PLL", "auf": "AUF"}
"""Titles for small places; other stages keep their names."""


LINK_LOST: Final = "The connection to the cube is lost; trying to bring it back."
LINK_BACK: Final = "The connection to the cube is back."


def split_title(split: Split) -> str:
    """The name of a stage: *pair green-red*, *orientation (OLL)*."""
    return " ".join((STAGE_TITLES[split.stage], *split.slots))


def _how(split: Split) -> str:
    """The place in the hands, if it is known, the technique, the case and remarks."""
    parts = [place_of(slot, split.holding) for slot in split.slots if split.holding]
    parts += [part for part in (split.technique, split.case) if part]
    if split.offset:
        parts.append(f"offset {split.offset}")
    if split.inferred:
        parts.append("partly inferred")
    if split.gap:
        parts.append("turns lost: not measured")
    return ", ".join(parts)


def hint_text(opportunity: Opportunity) -> str:
    """An opportunity as one line: moves first, then the sentence."""
    sentences = " ".join((opportunity.why, *map(note_sentence, opportunity.notes)))
    return f"{moves_text(opportunity.moves)}   [{opportunity.holding}]   {sentences}"


def note_sentence(note: Note) -> str:
    """The note of a rule as a sentence."""
    return f"{note.text[0].upper()}{note.text[1:]}."


def twisted_sentence(resynced: Resynced) -> str:
    """The corners that were twisted by hand, as a sentence; empty if there are none."""
    if not resynced.twisted:
        return ""
    corners = " and ".join(map(piece_colours, resynced.twisted))
    return f"Twisted by hand, not by turns: {corners}."


def clock_sentence(told: ClockAccount) -> str:
    """How accurate the times are, as a sentence."""
    if told.drift_ppm is None:
        return (
            f"The cube has no clock: times are those of arrival, in steps of about "
            f"{told.late_ms:.0f} ms."
        )
    return (
        f"Times are the cube's own; its clock and this machine's drift apart by "
        f"{abs(told.drift_ppm):.0f} millionths, and 95 % of the packets were at most "
        f"{told.late_ms:.0f} ms late."
    )


def happening_line(happening: Happening) -> str | None:
    """The text for a happening, usually one line; None if it gets none."""
    match happening:
        case Turned() | Battery() | HeldAs() | HeldNow() | Planned():
            text = None
        case Adjusted():
            row = happening.opportunity
            text = f"now:  {moves_text(row.moves)}   [{row.holding}]"
        case Taken():
            text = f"taken: {_about(happening.opportunity)}"
        case Withdrawn():
            text = f"withdrawn: {_about(happening.opportunity)}"
        case Repair():
            text = f"repair: {hint_text(happening.way)}"
        case SolveBegun():
            text = f"solve begins with turn {happening.start_turn}"
        case StageDone():
            split = happening.split
            seconds, pause = seconds_text(split.seconds), seconds_text(split.pause)
            turns = f"{split.turns:3d} turn{'s' if split.turns != 1 else ' '}"
            text = (
                f"{split_title(split):<24}{seconds:>7} s {turns}   pause {pause} s   {_how(split)}"
            ).rstrip()
        case Reopened():
            text = f"given up: {', '.join(happening.slots)}"
        case CrossColour():
            text = f"the cross is {happening.cross}, not {happening.instead_of}"
        case Resynced():
            text = twisted_sentence(happening) or "the position was read from the cube"
        case Gap():
            text = "turns were lost" if happening.lost is None else f"{happening.lost} turns lost"
        case LinkChange():
            text = LINK_BACK if happening.up else LINK_LOST
        case ClockAccount():
            text = clock_sentence(happening)
        case HelpWanted():
            text = "help is wanted" if happening.wanted else "help is not wanted any more"
        case DeviceInfo():
            text = ", ".join(f"{name} {value}" for name, value in happening.told)
        case Spoken():
            begin = "begin" if happening.inspection else "hint"
            text = f"{begin}: {hint_text(happening.opportunity)}"
        case Clue():
            text = clue_text(happening)
        case Unsaid():
            return "\n".join(unsaid_lines(happening))
        case SolveOver():
            return "\n".join(solve_lines(happening.solve))
    return None if text is None else f"{happening.t:8.2f}  {text}"


def _about(opportunity: Opportunity) -> str:
    """Technique and slots of a hint: *Keyhole corner into green-red*."""
    into = f" into {' and '.join(opportunity.slots)}" if opportunity.slots else ""
    return f"{opportunity.title}{into}"


def clue_text(clue: Clue) -> str:
    """The part of a hint that a clue tells, as a sentence."""
    sentence = where_sentence if clue.tells == Telling.WHERE else what_sentence
    return sentence(clue.opportunity)


def unsaid_lines(unsaid: Unsaid, width: int | None = None, *, notes: bool = True) -> list[str]:
    """How many hints were kept back during a solve, and the best of those that were missed.

    Times count from the first turn of the solve. ``notes``: False: without what the rules of the
    trade say about them.
    """
    best = best_chances(unsaid.missed)
    count = f"{len(unsaid.hints)} hint{'s' if len(unsaid.hints) != 1 else ''} kept back"
    if not best:
        return [f"{count}; nothing beyond the ordinary insertions was missed", ""]
    rows = [(hint.t - unsaid.started, hint.opportunity) for hint in best]
    rows = [(t, row if notes else replace(row, notes=())) for t, row in rows]
    lines = [f"{_since(t)}  {hint_text(row)}" for t, row in rows]
    return [f"{count}; the best chances that were missed:", *folded(lines, width, 9), ""]


def _since(seconds: float) -> str:
    """Seconds since the first turn of a solve, as text; before it, *in inspection*."""
    return "in inspection" if seconds < 0 else f"{seconds_text(seconds):>6} s"


def solve_lines(solve: Solve, width: int | None = None) -> list[str]:
    """A solve in hindsight as a small table that fits ``width`` columns of text."""
    verb = "solved" if solve.solved else "not solved"
    lost = ", with turns lost" if solve.gap else ""
    head = (
        f"{verb}: {seconds_text(solve.seconds)} s, {solve.turns} turns, "
        f"{solve.cross or 'no'} cross{lost}"
    )
    rows: list[tuple[str, ...]] = [("stage", "seconds", "turns", "pause", "tps", "how")]
    rows += [_stage_cells(split) for split in solve.splits if split.end_turn is not None]
    told = table_lines(rows, width, (4, 3, 2), words=True, left=(0, 5), indent="  ")
    return ["", *folded([head], width), *told, ""]


def _stage_cells(split: Split) -> tuple[str, ...]:
    if split.shared:
        return split_title(split), "–", "–", "–", "–", _how(split)
    tps = "–" if split.tps is None else f"{split.tps:.1f}"
    seconds, pause = seconds_text(split.seconds), seconds_text(split.pause)
    return split_title(split), seconds, str(split.turns), pause, tps, _how(split)
