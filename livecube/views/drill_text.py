"""What drills tell, as plain lines."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from livecube.cube.notation import moves_text
from livecube.drills.beat import TOLERANCE
from livecube.drills.beat_session import BeatJudged, BeatReady, BeatTurned
from livecube.drills.fingers import LEFT, FingerAsked, FingerRound, FingersOver, FingerTurned
from livecube.drills.judging import DrillJudged
from livecube.drills.news import DrillReady
from livecube.review.findings import turns_counted
from livecube.views.text import STAGE_TITLES

if TYPE_CHECKING:
    from datetime import timedelta

    from livecube.drills.beat import BeatResult
    from livecube.drills.fingers import Pattern, Sides
    from livecube.drills.news import DrillNews
    from livecube.drills.place import DrillPlace

__all__ = [
    "CAUTION",
    "asked_sentence",
    "beat_lines",
    "drill_line",
    "fingers_sentence",
    "judged_sentence",
    "lasting_lines",
    "pattern_text",
    "round_sentence",
    "span_text",
]

CAUTION: Final = (
    "Loosen your grip, rest between the rounds, and stop if anything hurts or tingles "
    "(general caution, no medical advice)."
)
_MINUTE_S: Final = 60
_HOUR_S: Final = 60 * _MINUTE_S
_DAY_S: Final = 24 * _HOUR_S


def drill_line(news: DrillNews) -> str | None:
    """One line for what happened; None for what is not worth one."""
    text: str | None
    match news:
        case DrillReady():
            text = f"there: {asked_sentence(news.place)} The first turn starts the time."
        case DrillJudged():
            text = judged_sentence(news)
        case FingerAsked():
            text = f"round {news.number} of {news.rounds}: {pattern_text(news.pattern)}"
        case FingerTurned():
            text = "not that turn" if news.slip else None
        case FingerRound():
            text = round_sentence(news)
        case FingersOver():
            text = fingers_sentence(news.sides)
        case BeatReady():
            text = f"scrambled; solve it slowly, {news.tempo:g} turns a second, without pauses"
        case BeatTurned():
            text = None
        case BeatJudged():
            text = f"\n{'':10}".join(beat_lines(news.result, solved=news.solved))
    return None if text is None else f"{news.t:8.2f}  {text}"


def lasting_lines(news: DrillNews) -> list[str]:
    """What is worth reading when all is over."""
    match news:
        case DrillJudged():
            return [judged_sentence(news)]
        case FingerRound():
            return [round_sentence(news)]
        case FingersOver():
            return [fingers_sentence(news.sides)]
        case BeatJudged():
            return beat_lines(news.result, solved=news.solved)
    return []


def asked_sentence(place: DrillPlace) -> str:
    """What is to be found in a position."""
    into = "two slots" if len(place.row.slots) > 1 else "which slot"
    return f"{place.row.title}: into {into}, and how? ({place.grade})"


def judged_sentence(judged: DrillJudged) -> str:
    """What was done, against what was asked, in two sentences and when it comes again."""
    again = "" if judged.next_in is None else f" Again in {span_text(judged.next_in)}."
    return f"{_done(judged)} {_best(judged)}{again}"


def _done(judged: DrillJudged) -> str:
    how = f"{', '.join(judged.techniques)} into {' and '.join(judged.slots)}"
    if not judged.as_asked:
        how += f", not {judged.place.technique} into {' and '.join(judged.place.row.slots)}"
    took = f"{turns_counted(judged.turns)} in {judged.ms / 1000:.2f} s"
    pause = f"longest pause {judged.pause_ms / 1000:.2f} s"
    return (
        f"{judged.number}: {judged.how_well}: {how}; {took} after {judged.look_ms / 1000:.1f} s of "
        f"looking, {pause} (measured)."
    )


def _best(judged: DrillJudged) -> str:
    row = judged.place.row
    way = f"{moves_text(row.moves)} [{row.holding}]"
    hands = f"some {row.seconds:.2f} s (predicted)"
    if not judged.as_asked:
        return f"Asked was {way}: {turns_counted(row.turns)}, {hands}."
    if judged.over > 0:
        return f"{turns_counted(judged.over)} more than the fewest: {way}, {hands}."
    if judged.over < 0:
        return f"That is shorter than {way}, {hands}."
    return f"No way of this kind is shorter; the hands alone take {hands}."


def span_text(span: timedelta) -> str:
    """How long, in the unit that fits: *10 minutes*, *3 days*."""
    seconds = max(0.0, span.total_seconds())
    size, name = next(
        (one for one in ((_DAY_S, "day"), (_HOUR_S, "hour")) if seconds >= one[0]),
        (_MINUTE_S, "minute"),
    )
    number = max(1, round(seconds / size))
    return f"{number} {name}{'s' if number != 1 else ''}"


def pattern_text(pattern: Pattern) -> str:
    """What is turned in a round: *left ring finger: D D D*."""
    turns = " ".join("D" if quarters == LEFT else "D'" for quarters in pattern.quarters)
    fingers = "ring fingers, both in turn" if " " in pattern.name else f"{pattern.name} ring finger"
    return f"{fingers}: {turns}"


def round_sentence(done: FingerRound) -> str:
    """How fast and how even a round was."""
    slips = f"; {done.slips} wrong turn{'s' if done.slips != 1 else ''}" if done.slips else ""
    if done.mean_s is None:
        return f"round {done.number}: too few turns to say anything{slips}"
    even = "" if done.evenness is None else f", varying by {100 * done.evenness:.0f} %"
    return (
        f"round {done.number}, {done.pattern.name}: {1 / done.mean_s:.1f} turns a second, "
        f"{1000 * done.mean_s:.0f} ms from turn to turn{even} (measured){slips}"
    )


def fingers_sentence(sides: Sides | None) -> str:
    """Left against right."""
    if sides is None:
        return "Too few turns to compare left and right."
    left, right = 1000 * sides.left_s, 1000 * sides.right_s
    means = f"left {left:.0f} ms, right {right:.0f} ms from turn to turn (measured)"
    if not sides.differ:
        return f"{means}: no difference that could be told from noise."
    slower, share = ("left", left / right) if left > right else ("right", right / left)
    return f"{means}: the {slower} ring finger is slower by {100 * (share - 1):.0f} %."


def beat_lines(result: BeatResult, *, solved: bool = True) -> list[str]:
    """How often a turn missed its beat, and where; ``solved``: it was not broken off."""
    lines = [
        f"{'' if solved else 'Broken off. '}"
        f"{result.missed} of {turns_counted(len(result.turns))} missed their beat by more than "
        f"{100 * TOLERANCE:.0f} % of the time between two; {result.empty} beats were empty "
        f"({result.tempo:g} turns a second; measured)."
    ]
    lines += [
        f"{_stage(one.stage):28} {turns_counted(one.turns):>9}, {one.missed} missed, "
        f"{one.empty} empty before or within"
        for one in result.stages
    ]
    if off := result.farthest_off:
        told = ", ".join(
            f"turn {one.number} by {abs(one.off_s):.2f} s ({_stage(one.stage)}, "
            f"{'late' if one.off_s > 0 else 'early'})"
            for one in off
        )
        lines.append(f"Farthest off the beat: {told}.")
    if pauses := result.longest_pauses:
        told = ", ".join(
            f"{one.empty} empty before turn {one.number} ({_stage(one.stage)})" for one in pauses
        )
        lines.append(f"Longest pauses: {told}.")
    return lines


def _stage(name: str) -> str:
    stage, *slots = name.split()
    return " ".join((STAGE_TITLES.get(stage, stage), *slots))
