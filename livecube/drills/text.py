"""News of drills as plain lines and as JSON objects."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

from livecube.advice.words import turns_counted
from livecube.cube.code import position_code
from livecube.cube.notation import facelets_text, moves_text
from livecube.drills.beat import TOLERANCE, BeatJudged, BeatReady, BeatTurned
from livecube.drills.fingers import LEFT, FingerAsked, FingerRound, FingersOver, FingerTurned
from livecube.drills.judging import DrillJudged
from livecube.drills.news import DrillReady
from livecube.drills.place import MissedPlace
from livecube.timing.results import seconds_text
from livecube.views.happenings import SHORT_TITLES, STAGE_TITLES

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import timedelta

    from livecube.drills.beat import BeatResult
    from livecube.drills.fingers import Pattern, Sides
    from livecube.drills.news import DrillNews
    from livecube.drills.place import DrillPlace

__all__ = [
    "CAUTION",
    "asked_sentence",
    "beat_json",
    "beat_lines",
    "drill_json",
    "drill_line",
    "fingers_sentence",
    "judged_sentence",
    "lasting_lines",
    "pattern_text",
    "round_json",
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
    """The text for the news, usually one line; None if it gets none."""
    text: str | None
    match news:
        case DrillReady():
            text = f"set up: {asked_sentence(news.place)} The first turn starts the time."
        case DrillJudged():
            text = judged_sentence(news)
        case FingerAsked():
            text = f"round {news.number} of {news.rounds}: {pattern_text(news.pattern)}"
        case FingerTurned():
            text = "wrong turn" if news.slip else None
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
    """The lines that stay on the terminal after the screen is closed."""
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
    """The question of a position."""
    into = "two slots" if len(place.row.slots) > 1 else "which slot"
    of = ""
    if isinstance(place, MissedPlace):
        of = f"; missed in solve {place.solve}, pair {place.pair}: {place.saved_s:.2f} s"
    return f"{place.row.title}: into {into}, and how? ({place.grade}{of})"


def judged_sentence(judged: DrillJudged) -> str:
    """The try, the asked way, and when the case comes again, in short sentences."""
    again = "" if judged.next_in is None else f" Again in {span_text(judged.next_in)}."
    return f"{_done(judged)} {_best(judged)}{again} Code {position_code(judged.began)}."


def _done(judged: DrillJudged) -> str:
    how = f"{', '.join(judged.techniques)} into {' and '.join(judged.slots)}"
    if not judged.as_asked:
        how += f", not {judged.place.technique} into {' and '.join(judged.place.row.slots)}"
    took = f"{turns_counted(judged.turns)} in {seconds_text(judged.ms / 1000)} s"
    pause = f"longest pause {seconds_text(judged.pause_ms / 1000)} s"
    return (
        f"{judged.number}: {judged.how_well}{' (shown)' if judged.shown else ''}: {how}; {took} "
        f"after {judged.look_ms / 1000:.1f} s of "
        f"looking, {pause} (measured)."
    )


def _best(judged: DrillJudged) -> str:
    row = judged.place.row
    way = f"{moves_text(row.moves)} [{row.holding}]"
    hands = f"about {row.seconds:.2f} s (predicted)"
    if not judged.as_asked:
        return f"The asked way was {way}: {turns_counted(row.turns)}, {hands}."
    if judged.over > 0:
        return f"{turns_counted(judged.over)} more than the quickest way: {way}, {hands}."
    if judged.over < 0:
        return f"That is shorter than the quickest way: {way}, {hands}."
    return f"The quickest way has as many turns; the hands alone take {hands}."


def span_text(span: timedelta) -> str:
    """A time span in a fitting unit: *10 minutes*, *3 days*."""
    seconds = max(0.0, span.total_seconds())
    size, name = next(
        (one for one in ((_DAY_S, "day"), (_HOUR_S, "hour")) if seconds >= one[0]),
        (_MINUTE_S, "minute"),
    )
    number = max(1, round(seconds / size))
    return f"{number} {name}{'s' if number != 1 else ''}"


def pattern_text(pattern: Pattern) -> str:
    """The turns of a round: *left ring finger: D D D*."""
    turns = " ".join("D" if quarters == LEFT else "D'" for quarters in pattern.quarters)
    fingers = "ring fingers, both in turn" if " " in pattern.name else f"{pattern.name} ring finger"
    return f"{fingers}: {turns}"


def round_sentence(done: FingerRound) -> str:
    """Speed and evenness of a round."""
    slips = f"; {done.slips} wrong turn{'s' if done.slips != 1 else ''}" if done.slips else ""
    if done.mean_s is None:
        return f"round {done.number}: too few turns to measure{slips}"
    even = "" if done.evenness is None else f", varying by {100 * done.evenness:.0f} %"
    return (
        f"round {done.number}, {done.pattern.name}: {1 / done.mean_s:.1f} turns a second, "
        f"{1000 * done.mean_s:.0f} ms from turn to turn{even} (measured){slips}"
    )


def fingers_sentence(sides: Sides | None) -> str:
    """Left and right compared."""
    if sides is None:
        return "Too few turns to compare left and right."
    left, right = 1000 * sides.left_s, 1000 * sides.right_s
    means = f"left {left:.0f} ms, right {right:.0f} ms from turn to turn (measured)"
    if not sides.differ:
        return f"{means}: no significant difference."
    slower, share = ("left", left / right) if left > right else ("right", right / left)
    return f"{means}: the {slower} ring finger is slower by {100 * (share - 1):.0f} %."


def beat_lines(result: BeatResult, *, solved: bool = True) -> list[str]:
    """How often a turn missed its beat, and where; ``solved``: False: stopped early."""
    lines = [
        f"{'' if solved else 'Stopped early. '}"
        f"{result.missed} of {turns_counted(len(result.turns))} missed their beat by more than "
        f"{100 * TOLERANCE:.0f} %; {result.empty} beats were empty ({result.tempo:g} turns a "
        "second; measured)."
    ]
    lines += [
        f"{_stage(one.stage, STAGE_TITLES):18}  {turns_counted(one.turns):>8}, "
        f"{one.missed} missed, {one.empty} empty"
        for one in result.stages
    ]
    if off := result.farthest_off:
        told = ", ".join(
            f"turn {one.number} by {abs(one.off_s):.2f} s ({_stage(one.stage, SHORT_TITLES)}, "
            f"{'late' if one.off_s > 0 else 'early'})"
            for one in off
        )
        lines.append(f"Farthest off the beat: {told}.")
    if pauses := result.longest_pauses:
        told = ", ".join(
            f"{one.empty} empty before turn {one.number} ({_stage(one.stage, SHORT_TITLES)})"
            for one in pauses
        )
        lines.append(f"Longest pauses: {told}.")
    return lines


def _stage(name: str, titles: Mapping[str, str]) -> str:
    stage, *slots = name.split()
    return " ".join((titles.get(stage, stage), *slots))


# News of drills as JSON objects. Keys are stable.


def drill_json(news: DrillNews) -> dict[str, Any]:
    """The JSON object of the news."""
    name, rest = _event(news)
    return {"event": name, "t": round(news.t, 6), **rest}


def _event(news: DrillNews) -> tuple[str, dict[str, Any]]:
    match news:
        case DrillReady():
            facelets = _facelets(news.position)
            return "drill-ready", {
                "number": news.number,
                "facelets": facelets,
                "code": position_code(news.position),
                **_place(news.place),
            }
        case DrillJudged():
            code = position_code(news.began)
            return "drill-judged", {"number": news.number, "code": code, **_judged(news)}
        case FingerAsked():
            return "finger-round", {
                "number": news.number,
                "rounds": news.rounds,
                "pattern": news.pattern.name,
                "moves": _moves(news.pattern),
            }
        case FingerTurned():
            return "finger-turn", {"number": news.number, "done": news.done, "slip": news.slip}
        case FingerRound():
            return "finger-round-done", round_json(news)
        case FingersOver():
            sides = news.sides
            return "fingers-done", {
                "rounds": [round_json(one) for one in news.rounds],
                "left_ms": None if sides is None else round(1000 * sides.left_s, 1),
                "right_ms": None if sides is None else round(1000 * sides.right_s, 1),
                "differ": None if sides is None else sides.differ,
            }
        case BeatReady():
            return "beat-ready", {"tempo": news.tempo, "facelets": _facelets(news.position)}
        case BeatTurned():
            return "beat-turn", {"number": news.number, "facelets": _facelets(news.position)}
        case BeatJudged():
            return "beat-judged", {"solved": news.solved, **beat_json(news.result)}


def _facelets(position: bytes) -> str:
    return facelets_text(np.frombuffer(position, dtype=np.uint8))


def _moves(pattern: Pattern) -> str:
    return " ".join("D" if quarters == LEFT else "D'" for quarters in pattern.quarters)


def _place(place: DrillPlace) -> dict[str, Any]:
    return {
        "technique": place.technique,
        "case": str(place.case),
        "grade": place.grade,
        "margin_s": None if place.margin_s is None else round(place.margin_s, 3),
        "missed": None
        if not isinstance(place, MissedPlace)
        else {"solve": place.solve, "pair": place.pair, "saved_predicted": round(place.saved_s, 3)},
    }


def _judged(judged: DrillJudged) -> dict[str, Any]:
    next_in = judged.next_in
    return {
        **_place(judged.place),
        "how_well": judged.how_well,
        "as_asked": judged.as_asked,
        "shown": judged.shown,
        "techniques": list(judged.techniques),
        "slots": list(judged.slots),
        "turns": judged.turns,
        "over": judged.over,
        "ms": judged.ms,
        "look_ms": judged.look_ms,
        "pause_ms": judged.pause_ms,
        "asked": judged.place.row.as_json(),
        "next_in_s": None if next_in is None else round(next_in.total_seconds()),
    }


def round_json(done: FingerRound) -> dict[str, Any]:
    """The figures of one round of the finger drill."""
    return {
        "number": done.number,
        "pattern": done.pattern.name,
        "intervals_ms": [round(1000 * seconds, 1) for seconds in done.seconds],
        "mean_ms": None if done.mean_s is None else round(1000 * done.mean_s, 1),
        "evenness": None if done.evenness is None else round(done.evenness, 4),
        "slips": done.slips,
    }


def beat_json(result: BeatResult) -> dict[str, Any]:
    """The figures of a solve to a beat."""
    return {
        "tempo": result.tempo,
        "turns": len(result.turns),
        "missed": result.missed,
        "empty": result.empty,
        "stages": [
            {"stage": one.stage, "turns": one.turns, "missed": one.missed, "empty": one.empty}
            for one in result.stages
        ],
        "off_ms": [round(1000 * turn.off_s, 1) for turn in result.turns],
        "empty_before": [turn.empty for turn in result.turns],
    }
