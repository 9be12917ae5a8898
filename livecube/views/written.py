"""A written solve as lines of text, and as one JSON object."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from livecube.advice.words import place_of
from livecube.cube.notation import moves_text
from livecube.timing.results import seconds_text
from livecube.views.happenings import STAGE_TITLES
from livecube.views.lines import folded

if TYPE_CHECKING:
    from livecube.holding.written import WrittenSolve, WrittenStage

__all__ = ["written_json", "written_lines"]

_UNSURE = 0.8
"""Below this confidence, a line states the confidence."""
_WIDE = 44
"""Widest column of moves; after longer moves, comments begin further to the right."""


def written_lines(solve: WrittenSolve, number: int, width: int | None = None) -> list[str]:
    """One line per stage. All but the moves follows ``//``, so that the text can be read back.

    A line that is too long for the terminal is split into several lines.
    """
    of = solve.of.solve
    verb = "solved" if of.solved else "not solved"
    end = "; turns were lost" if of.gap else ""
    seconds = seconds_text(of.seconds)
    lines = [f"// solve {number}: {verb}, {seconds} s, {of.cross or 'no'} cross{end}"]
    rows = [(stage.text(), _about(stage)) for stage in solve.stages]
    if solve.before:
        rows.insert(0, (moves_text(solve.before), "from white up, green front"))
    column = min(_WIDE, max((len(moves) for moves, _ in rows), default=0))
    lines = _comment(lines[0].removeprefix("// "), width)
    for moves, about in rows:
        line = f"{moves:<{column}}  // {about}"
        if width is None or len(line) <= width:
            lines.append(line)
        else:
            lines += [*folded([moves], width, 0), *_comment(about, width)]
    return lines


def _comment(text: str, width: int | None) -> list[str]:
    return [f"// {line}" for line in folded([text], None if width is None else width - 3, 0)]


def _about(stage: WrittenStage) -> str:
    split = stage.split
    if split is None:
        return f"no stage; {_counted(stage)}"
    title = STAGE_TITLES[split.stage]
    if split.slots:
        places = (f"{slot} ({place_of(slot, stage.holding)})" for slot in split.slots)
        title = f"{title} {' and '.join(places)}"
    how = [split.technique] if split.technique else []
    if split.shared:
        return ", ".join([title, *how, "on the same turn"])
    paused = f", {seconds_text(split.pause)} s pause before" if split.pause else ""
    return f"{', '.join([title, *how])}; {_counted(stage)}; {seconds_text(split.seconds)} s{paused}"


def _counted(stage: WrittenStage) -> str:
    turns = stage.split.turns if stage.split else None
    counted = [] if turns is None else [f"{turns} HTM"]
    counted.append(f"{stage.execution_turns} ETM")
    if stage.confidence < _UNSURE:
        counted.append(f"holding {100 * stage.confidence:.0f} % certain")
    return ", ".join(counted)


def written_json(solve: WrittenSolve, number: int) -> dict[str, Any]:
    """The object of one written solve."""
    of = solve.of.solve
    return {
        "solve": number,
        "start_turn": of.start_turn,
        "cross": of.cross,
        "seconds": round(of.seconds, 6),
        "solved": of.solved,
        "gap": of.gap,
        "moves": solve.text(),
        "before": moves_text(solve.before),
        "stages": [_stage_json(stage) for stage in solve.stages],
    }


def _stage_json(stage: WrittenStage) -> dict[str, Any]:
    split = stage.split
    return {
        "stage": split and split.stage,
        "slots": list(split.slots) if split else [],
        "technique": split and split.technique,
        "shared": bool(split and split.shared),
        "moves": moves_text(m.move for m in stage.moves),
        "pauses": [
            {"before": i, "seconds": round(m.wait_s, 6)}
            for i, m in enumerate(stage.moves)
            if m.wait_s
        ],
        "turns": split.turns if split else None,
        "execution_turns": stage.execution_turns,
        "seconds": round(split.seconds, 6) if split else None,
        "pause": round(split.pause, 6) if split else None,
        "up": stage.holding.up,
        "front": stage.holding.front,
        "confidence": round(stage.confidence, 3),
    }
