"""News of lessons as plain lines and as JSON objects."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from livecube.cube.notation import facelets_text, moves_text
from livecube.lessons.lesson import Drill, Show, Solves, Text, Try, kind_of
from livecube.lessons.news import (
    LessonOver,
    PlacesAwaited,
    PlacesScarce,
    SolveDone,
    SolveReady,
    SolveTurned,
    StepBegun,
    StepDone,
    StepWalked,
    TryJudged,
)
from livecube.timing.results import seconds_text
from livecube.views.lines import counted

if TYPE_CHECKING:
    from livecube.lessons.lesson import Step
    from livecube.lessons.news import LessonNews

__all__ = [
    "amiss_sentence",
    "asked_words",
    "lesson_json",
    "lesson_lasting",
    "lesson_line",
    "over_sentence",
    "scarce_sentence",
    "solve_sentence",
    "step_sentence",
]


def asked_words(step: Step) -> str:
    """What a step asks for, in a few words; empty for text."""
    match step:
        case Show():
            return f"watch: {moves_text(step.moves)}"
        case Try():
            return step.ask or _try_words(step)
        case Drill():
            grade = f", {step.grade}" if step.grade else ""
            return (
                f"drill {counted(step.count, 'position')} for {step.technique}{grade}; "
                f"{step.mark} as asked will do"
            )
        case Solves():
            focus = f" with an eye on {step.focus}" if step.focus else ""
            return f"{counted(step.count, 'solve')}{focus}"
    return ""


def _try_words(step: Try) -> str:
    into = f" into {' and '.join(step.slots)}" if step.slots else ""
    by = f" by {step.technique}" if step.technique else ""
    most = f", in at most {counted(step.turns, 'turn')}" if step.turns else ""
    return f"do a pair{into}{by}{most}"


def lesson_line(news: LessonNews) -> str | None:
    """The lines of a piece of news; None if it is not worth one."""
    text: str | None = None
    match news:
        case StepBegun():
            words = asked_words(news.step)
            text = f"step {news.number} of {news.of}" + "".join(
                f": {one}" for one in (news.step.title, words) if one
            )
            if isinstance(news.step, Text):
                text = "\n".join([text, *(f"{'':10}{one}" for one in news.step.paragraphs)])
            elif news.shown is not None:
                text += f"\n{'':10}{_walked(StepWalked(news.t, news.number, news.shown, 0))}"
        case StepWalked():
            text = _walked(news)
        case TryJudged():
            text = amiss_sentence(news)
        case PlacesAwaited():
            text = "looking for positions"
        case PlacesScarce():
            text = scarce_sentence(news)
        case SolveReady():
            text = "scrambled; the first turn starts the solve"
        case SolveDone():
            text = solve_sentence(news)
        case StepDone():
            text = step_sentence(news)
        case LessonOver():
            text = over_sentence(news)
    return None if text is None else f"{news.t:8.2f}  {text}"


def _walked(news: StepWalked) -> str:
    step = news.shown.steps[news.after]
    words = f": {step.words}" if step.words else ""
    return f"{news.shown.move_words(news.after)}, held with {step.holding}{words}"


def amiss_sentence(judged: TryJudged) -> str:
    """Whether a try was as asked."""
    return f"Not yet: {judged.amiss}." if judged.amiss else "As asked."


def solve_sentence(done: SolveDone) -> str:
    """A solve, and how often the focus was possible and done in it."""
    result = done.result
    text = f"solve {done.solve}: {seconds_text(result.seconds)} s, {counted(result.turns, 'turn')}"
    if done.focus is None:
        return f"{text} (measured)."
    return (
        f"{text} (measured); {done.focus} was possible at {done.possible} of its beginnings, "
        f"and {counted(done.done, 'pair')} {'was' if done.done == 1 else 'were'} done by it."
    )


def scarce_sentence(scarce: PlacesScarce) -> str:
    """How many positions a drill has, and why not more."""
    grade = f" and that are {scarce.drill.grade}" if scarce.drill.grade else ""
    which = f"in which {scarce.drill.technique} is the best choice{grade}"
    if not scarce.found:
        return f"No position was found now {which}; the step stays open."
    return f"{scarce.found} of {scarce.drill.count} positions were found {which}; they are rare."


def step_sentence(done: StepDone) -> str:
    """How a step in which the student turned ended."""
    how = "passed" if done.passed else "not passed yet"
    noun = "solve" if done.kind == "solve" else "try"
    made = f"{done.made} {noun if done.made == 1 else {'try': 'tries'}.get(noun, noun + 's')}"
    as_asked = "" if done.kind == "solve" else f", {done.good} as asked"
    return f"Step {done.number} {how}: {made}{as_asked}."


def over_sentence(over: LessonOver) -> str:
    """The end of a lesson, and what is still open."""
    if not over.open:
        return f"That was {over.title}. Every step is passed."
    steps = ", ".join(map(str, over.open))
    return f"That was {over.title}. Not passed yet: step {steps}; --step goes there."


def lesson_lasting(news: LessonNews) -> list[str]:
    """The lines that stay on the terminal after the screen is closed."""
    match news:
        case SolveDone():
            return [solve_sentence(news)]
        case PlacesScarce():
            return [scarce_sentence(news)]
        case StepDone():
            return [step_sentence(news)]
        case LessonOver():
            return [over_sentence(news)]
    return []


def lesson_json(news: LessonNews) -> dict[str, Any]:
    """The JSON object of a piece of news. Keys are stable."""
    rest: dict[str, Any]
    match news:
        case StepBegun():
            name, rest = "step", {
                "of": news.of,
                "kind": kind_of(news.step),
                "title": news.step.title,
                "asked": asked_words(news.step),
            }  # fmt: skip
        case StepWalked():
            step = news.shown.steps[news.after]
            name, rest = "walked", {"after": news.after, "words": step.words}
        case TryJudged():
            name, rest = "try-judged", {"passed": not news.amiss, "amiss": news.amiss}
        case PlacesAwaited():
            name, rest = "places-awaited", {}
        case PlacesScarce():
            name, rest = "places-scarce", {"found": news.found, "count": news.drill.count}
        case SolveReady():
            name, rest = "solve-ready", {"solve": news.solve, "facelets": _facelets(news.position)}
        case SolveTurned():
            name, rest = "solve-turn", {"facelets": _facelets(news.position)}
        case SolveDone():
            name, rest = "solve-done", {
                "solve": news.solve,
                "seconds": round(news.result.seconds, 6),
                "turns": news.result.turns,
                "cross": news.result.cross,
                "focus": news.focus,
                "possible": news.possible,
                "done": news.done,
            }  # fmt: skip
        case StepDone():
            name, rest = "step-done", {
                "kind": news.kind,
                "passed": news.passed,
                "made": news.made,
                "good": news.good,
            }  # fmt: skip
        case LessonOver():
            over = {"title": news.title, "open": list(news.open)}
            return {"event": "lesson-over", "t": round(news.t, 6), **over}
    return {"event": name, "t": round(news.t, 6), "number": news.number, **rest}


def _facelets(position: bytes) -> str:
    return facelets_text(np.frombuffer(position, dtype=np.uint8))
