"""News of practice as plain lines, as words to be said aloud, and as JSON objects."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from livecube.cube.position import turns_text
from livecube.practice.news import (
    Abandoned,
    BreakAdvised,
    Called,
    Corrected,
    Discarded,
    Guided,
    InspectionBegun,
    Judged,
    Reviewed,
    ScrambleAsked,
    SolveStarted,
)
from livecube.timing.results import (
    penalties_json,
    penalties_sentence,
    penalties_text,
    result_json,
    result_of,
    result_text,
    workings_text,
)

if TYPE_CHECKING:
    from livecube.practice.gestures import BreakDue
    from livecube.practice.news import PracticeNews, Tally
    from livecube.timing.results import Penalty

__all__ = [
    "LIMITS",
    "break_sentence",
    "corrected_sentence",
    "costs_sentence",
    "practice_json",
    "practice_line",
    "practice_words",
    "result_sentence",
    "reviewed_sentence",
    "tally_text",
]

LIMITS: Final = {15: "two seconds more from now on", 17: "no result from now on"}
"""The consequence after these seconds of inspection."""


def practice_line(news: PracticeNews) -> str | None:
    """One line for the news; None if it gets none."""
    text: str | None
    match news:
        case ScrambleAsked():
            asked = "as you like" if news.by_hand else turns_text(news.turns)
            text = f"scramble {news.number}: {asked}"
        case Guided() if news.guidance.back:
            text = f"wrong turn; undo it with {turns_text(news.guidance.back)}"
        case Guided():
            text = "scrambled" if news.guidance.reached else None
        case InspectionBegun():
            text = f"inspection begins: {turns_text(news.scramble)}"
        case Called():
            limit = LIMITS.get(news.seconds)
            text = f"{news.seconds} seconds" + (f": {limit}" if limit else "")
        case SolveStarted():
            text = None
        case Judged():
            text = f"{result_sentence(news)}   {tally_text(news.tally)}"
        case Corrected():
            text = f"{corrected_sentence(news)}   {tally_text(news.tally)}"
        case Discarded():
            verb = "thrown away" if news.away else "taken back"
            text = f"solve {news.number} {verb}   {tally_text(news.tally)}"
        case Abandoned():
            text = f"solve {news.number} given up"
        case BreakAdvised():
            text = break_sentence(news.due)
        case Reviewed():
            text = reviewed_sentence(news)
    return None if text is None else f"{news.t:8.2f}  {text.rstrip()}"


def result_sentence(judged: Judged) -> str:
    """The result of a solve and the reason: *solve 3: 12.67 + 2 = 14.67 (one turn short)*."""
    why = penalties_sentence(judged.penalties)
    return f"solve {judged.number}: {workings_text(judged.ms, judged.penalties)}" + (
        f" ({why})" if why else ""
    )


def corrected_sentence(news: Corrected) -> str:
    """The corrected result of a solve: *solve 3: 12.67 + 2 = 14.67 now, measured 12.67*."""
    decided = news.measured if news.penalties is None else news.penalties
    was = "" if news.penalties is None else f", measured {workings_text(news.ms, news.measured)}"
    return f"solve {news.number}: {workings_text(news.ms, decided)} now{was}"


def reviewed_sentence(news: Reviewed) -> str:
    """The largest losses of time in a solve, with its number."""
    return f"solve {news.number}: {costs_sentence(news)}"


def costs_sentence(news: Reviewed) -> str:
    """The largest losses of time in a solve."""
    return " ".join(news.sentences) or "Nothing in particular cost time."


def tally_text(tally: Tally) -> str:
    """The current averages in one line."""
    shown = [f"{name} {result_text(result)}" for name, result in tally.averages]
    best = [] if tally.best is None else [f"best {result_text(tally.best)}"]
    return "   ".join([*shown, *best])


def break_sentence(due: BreakDue) -> str:
    """The reminder of a break."""
    return (
        f"{due.minutes:.0f} minutes and {due.turns} turns without a break; give your hands a short "
        "rest."
    )


def practice_words(news: PracticeNews) -> str | None:
    """The words to say aloud; None: nothing new to say."""
    match news:
        case Guided() if news.guidance.back:
            return "back"
        case Called():
            return f"{news.seconds} seconds"
        case Judged():
            return _spoken(news.ms, news.penalties)
        case Corrected():
            return penalties_text(news.measured if news.penalties is None else news.penalties)
        case Discarded():
            return "thrown away" if news.away else "taken back"
        case BreakAdvised():
            return "time for a break"
    return None


def _spoken(ms: int, penalties: tuple[Penalty, ...]) -> str:
    result = result_of(ms, penalties)
    return "no result" if isinstance(result, str) else result_text(result)


# News of practice as JSON objects. Keys are stable.


def practice_json(news: PracticeNews) -> dict[str, Any]:
    """The JSON object of the news."""
    match news:
        case ScrambleAsked():
            name, rest = (
                "scramble",
                {
                    "number": news.number,
                    "turns": turns_text(news.turns),
                    "by_hand": news.by_hand,
                },
            )
        case Guided():
            guidance = news.guidance
            name, rest = (
                "scrambling",
                {
                    "upcoming": turns_text(guidance.upcoming),
                    "back": turns_text(guidance.back),
                    "reached": guidance.reached,
                },
            )
        case InspectionBegun():
            name, rest = (
                "inspecting",
                {
                    "number": news.number,
                    "scramble": turns_text(news.scramble),
                    "timed": news.timed,
                },
            )
        case Called():
            name, rest = "call", {"seconds": news.seconds}
        case SolveStarted():
            inspection = {"inspection_ms": news.inspection_ms}
            name, rest = "start", {"number": news.number, **inspection}
        case Judged():
            name, rest = (
                "result",
                {
                    "number": news.number,
                    "ms": news.ms,
                    "inspection_ms": news.inspection_ms,
                    "penalties": penalties_json(news.penalties),
                    **result_json(result_of(news.ms, news.penalties)),
                    **_tally(news.tally),
                },
            )
        case Corrected():
            counts = news.measured if news.penalties is None else news.penalties
            name, rest = (
                "corrected",
                {
                    "number": news.number,
                    "ms": news.ms,
                    "penalties": penalties_json(news.measured),
                    "corrected": None if news.penalties is None else penalties_json(news.penalties),
                    **result_json(result_of(news.ms, counts)),
                    **_tally(news.tally),
                },
            )
        case Discarded():
            name, rest = (
                "discarded",
                {
                    "number": news.number,
                    "away": news.away,
                    **_tally(news.tally),
                },
            )
        case Abandoned():
            name, rest = "abandoned", {"number": news.number}
        case BreakAdvised():
            name, rest = (
                "break",
                {
                    "minutes": round(news.due.minutes, 1),
                    "turns": news.due.turns,
                },
            )
        case Reviewed():
            name, rest = (
                "reviewed",
                {
                    "number": news.number,
                    "kept": news.kept,
                    "sentences": list(news.sentences),
                },
            )
    return {"event": name, "t": round(news.t, 6), **rest}


def _tally(tally: Tally) -> dict[str, Any]:
    averages = {name.replace(" ", "_"): result_json(result) for name, result in tally.averages}
    return {"averages": averages, "best_ms": tally.best, "solves": len(tally.results)}
