"""Happenings as plain lines, for pipes, files and screens that cannot be drawn on."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

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
from livecube.advice.words import place_of, what_sentence, where_sentence
from livecube.cube.holding import piece_colours
from livecube.cube.notation import moves_text
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
    from livecube.advice.opportunity import Opportunity
    from livecube.advice.rules import Note
    from livecube.advice.said import Happening
    from livecube.stages.solve import Solve, Split

__all__ = [
    "LINK_BACK",
    "LINK_LOST",
    "STAGE_TITLES",
    "clock_sentence",
    "clue_text",
    "happening_line",
    "hint_text",
    "note_sentence",
    "solve_lines",
    "split_title",
    "twisted_sentence",
    "unsaid_lines",
]

STAGE_TITLES: Final = {
    "cross": "cross",
    "pair": "pair",
    "orient": "orientation",
    "permute": "permutation",
    "auf": "closing turn",
}


LINK_LOST: Final = "The connection to the cube is lost; trying to bring it back."
LINK_BACK: Final = "The connection to the cube is back."


def split_title(split: Split) -> str:
    """What a stage is called: *pair green-red*, *orientation*."""
    return " ".join((STAGE_TITLES[split.stage], *split.slots))


def _how(split: Split) -> str:
    """Where in the hands, if that is known, by which technique and with which case."""
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
    """What a rule says, as a sentence."""
    return f"{note.text[0].upper()}{note.text[1:]}."


def twisted_sentence(resynced: Resynced) -> str:
    """That corners were twisted by hand; empty if none were."""
    if not resynced.twisted:
        return ""
    corners = " and ".join(map(piece_colours, resynced.twisted))
    return f"Twisted by hand, not by turns: {corners}."


def clock_sentence(told: ClockTold) -> str:
    """How good the times are."""
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
    """One line for a happening; None for what is not worth one."""
    match happening:
        case Turned() | BatteryLevel() | HeldAs() | HeldNow() | Planned():
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
            text = (
                f"{split_title(split):<24}{split.seconds:7.2f} s {split.turns:3d} turns   "
                f"pause {split.pause:.2f} s   {_how(split)}"
            ).rstrip()
        case Reopened():
            text = f"given up: {', '.join(happening.slots)}"
        case CrossColour():
            text = f"the cross is {happening.cross}, not {happening.instead_of}"
        case Resynced():
            text = twisted_sentence(happening) or "the position was read from the cube"
        case Lost():
            text = "turns were lost" if happening.lost is None else f"{happening.lost} turns lost"
        case LinkChanged():
            text = LINK_BACK if happening.up else LINK_LOST
        case ClockTold():
            text = clock_sentence(happening)
        case DeviceTold():
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
    """What a hint was about: *Keyhole corner into green-red*."""
    into = f" into {' and '.join(opportunity.slots)}" if opportunity.slots else ""
    return f"{opportunity.title}{into}"


def clue_text(clue: Clue) -> str:
    """As much of a hint as its degree allows."""
    sentence = where_sentence if clue.degree == Degree.WHERE else what_sentence
    return sentence(clue.opportunity)


def unsaid_lines(unsaid: Unsaid) -> list[str]:
    """What was kept back during a solve: how much, and the best of it."""
    best = best_chances(unsaid.hints)
    count = f"{len(unsaid.hints)} hint{'s' if len(unsaid.hints) != 1 else ''} kept back"
    if not best:
        return [f"{count}; nothing beyond the ordinary insertions came up", ""]
    lines = [f"{hint.t:8.2f}  {hint_text(hint.opportunity)}" for hint in best]
    return [f"{count}; the best chances were:", *lines, ""]


def solve_lines(solve: Solve) -> list[str]:
    """A solve in hindsight as a small table."""
    verb = "solved" if solve.solved else "not solved"
    lines = [
        "",
        f"{verb}: {solve.seconds:.2f} s, {solve.turns} turns, "
        f"{solve.cross or 'no'} cross" + (", with turns lost" if solve.gap else ""),
        f"  {'stage':<24}{'seconds':>8}{'turns':>7}{'pause':>8}{'tps':>7}   how",
    ]
    for split in solve.splits:
        if split.end_turn is None:
            continue
        title = split_title(split)
        if split.shared:
            lines.append(f"  {title:<24}{'–':>8}{'–':>7}{'–':>8}{'–':>7}   {_how(split)}".rstrip())
            continue
        tps = "–" if split.tps is None else f"{split.tps:.1f}"
        lines.append(
            f"  {title:<24}{split.seconds:8.2f}{split.turns:7d}{split.pause:8.2f}{tps:>7}"
            f"   {_how(split)}".rstrip()
        )
    return [*lines, ""]
