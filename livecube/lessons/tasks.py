"""Tasks that a coach sets: a file of parts, and how far a student has come. Pure.

``formats/task.md`` documents the file. Progress comes from what was turned: tries of drills, and
steps of lessons, since the task was given.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any, Final, TypeAlias

from livecube.cube.code import parse_code
from livecube.errors import LessonError, PositionError
from livecube.lessons.lesson import Drill, Lesson, Try
from livecube.lessons.reading import GRADES, parse_lesson

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Mapping, Sequence

    from livecube.lessons.lesson import Step

__all__ = [
    "CodesPart",
    "DrillPart",
    "LessonPart",
    "Part",
    "Task",
    "day_named",
    "done_of",
    "lesson_of",
    "parse_task",
    "part_words",
    "task_text",
]

_DAYS: Final = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
_DATE: Final = re.compile(r"\d{4}-\d\d-\d\d")
_TIME: Final = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ")
_IDENTITY: Final = re.compile(r"[a-z0-9]{8,32}")
_MOST_BYTES: Final = 1_000_000
_MOST_PARTS: Final = 20
_MOST_COUNT: Final = 1000
_MOST_CODES: Final = 50


@dataclass(frozen=True, slots=True)
class DrillPart:
    """So many positions of a technique, done as asked."""

    technique: str
    count: int
    grade: str | None


@dataclass(frozen=True, slots=True)
class LessonPart:
    """A lesson; ``text``: the whole of it, if it does not ship."""

    lesson: Lesson
    text: str | None


@dataclass(frozen=True, slots=True)
class CodesPart:
    """Positions to try, by their codes."""

    codes: tuple[str, ...]


Part: TypeAlias = DrillPart | LessonPart | CodesPart


@dataclass(frozen=True, slots=True)
class Task:
    """A task."""

    identity: str
    """Its own, so that a file that is taken twice is one task."""
    title: str
    given: str
    """When it was given: ISO 8601 in UTC."""
    by: str | None
    """The last day, ISO 8601; None: no hurry."""
    parts: tuple[Part, ...]


def day_named(text: str, today: date) -> str:
    """A day as ISO 8601: such a date, or the next day with this name (today counts).

    Raises ``ValueError``.
    """
    name = text.lower()
    if name in _DAYS:
        return (today + timedelta((_DAYS.index(name) - today.weekday()) % 7)).isoformat()
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError:
        raise ValueError(
            f"{text!r} is no day; write it as 2026-05-29, or as {', '.join(_DAYS)}"
        ) from None


# The file.


def task_text(task: Task) -> str:
    """The text of a task's file."""
    parts = [_part_json(part) for part in task.parts]
    told = {
        "livecube_task": 1,
        "task": task.identity,
        "title": task.title,
        "given": task.given,
        "by": task.by,
        "parts": parts,
    }
    return json.dumps(told, indent=2, ensure_ascii=False) + "\n"


def _part_json(part: Part) -> dict[str, Any]:
    match part:
        case DrillPart():
            return {"drill": part.technique, "count": part.count, "grade": part.grade}
        case LessonPart():
            return {"lesson": part.lesson.name, "text": part.text}
        case CodesPart():
            return {"codes": list(part.codes)}


def parse_task(
    text: str, file: str, techniques: Collection[str], shipped: Mapping[str, str]
) -> Task:
    """The task of a text; ``shipped``: the texts of the lessons that ship, by name.

    Raises :class:`~livecube.errors.LessonError`, which names the entry.
    """
    if len(text) > _MOST_BYTES:
        raise LessonError(file, 0, f"is longer than {_MOST_BYTES:,} characters")
    try:
        told = json.loads(text)
    except json.JSONDecodeError as error:
        raise LessonError(file, error.lineno, f"is no JSON: {error.msg}") from None
    except RecursionError:
        raise LessonError(file, 0, "is no task: it is nested too deeply") from None
    if not isinstance(told, dict) or told.get("livecube_task") != 1:
        raise LessonError(file, 0, "is no task: livecube_task is not 1")
    by = told.get("by")
    checks: tuple[tuple[str, bool], ...] = (
        ("task", _is_text(told.get("task"), _IDENTITY)),
        ("title", _is_line(told.get("title"))),
        ("given", _is_text(told.get("given"), _TIME)),
        ("by", by is None or (_is_text(by, _DATE) and _is_day(by))),
        ("parts", isinstance(told.get("parts"), list) and 0 < len(told["parts"]) <= _MOST_PARTS),
    )
    for name, is_right in checks:
        if not is_right:
            raise LessonError(file, 0, f"{name} is missing or is not as the form says")
    parts = tuple(
        _part(one, f"parts, {number}", file, techniques, shipped)
        for number, one in enumerate(told["parts"], 1)
    )
    return Task(told["task"], told["title"], told["given"], by, parts)


def _is_text(value: object, form: re.Pattern[str]) -> bool:
    return isinstance(value, str) and form.fullmatch(value) is not None


def _is_line(value: object) -> bool:
    return isinstance(value, str) and value.isprintable() and 0 < len(value) <= 200


def _is_day(text: str) -> bool:
    try:
        date.fromisoformat(text)
    except ValueError:
        return False
    return True


def _part(
    told: object, where: str, file: str, techniques: Collection[str], shipped: Mapping[str, str]
) -> Part:
    if not isinstance(told, dict):
        raise LessonError(file, 0, f"{where}: is no object")
    if "drill" in told:
        technique, count, grade = told["drill"], told.get("count"), told.get("grade")
        if technique not in techniques:
            raise LessonError(
                file, 0, f"{where}: {technique!r} is no technique; one of {', '.join(techniques)}"
            )
        if not isinstance(count, int) or not 1 <= count <= _MOST_COUNT:
            raise LessonError(file, 0, f"{where}: count is not a number from 1 to {_MOST_COUNT}")
        if grade not in (None, *GRADES):
            raise LessonError(file, 0, f"{where}: grade is not one of {', '.join(GRADES)}")
        return DrillPart(technique, count, grade)
    if "lesson" in told:
        name, text = told["lesson"], told.get("text")
        source = text if isinstance(text, str) else shipped.get(str(name))
        if source is None:
            raise LessonError(file, 0, f"{where}: no lesson that ships is called {name!r}")
        lesson = parse_lesson(source, f"{file}, lesson {name}", techniques)
        return LessonPart(lesson, text if isinstance(text, str) else None)
    codes = told.get("codes")
    if not isinstance(codes, list) or not 0 < len(codes) <= _MOST_CODES:
        raise LessonError(file, 0, f"{where}: has neither drill, lesson nor codes")
    for code in codes:
        try:
            parse_code(str(code))
        except PositionError as error:
            raise LessonError(file, 0, f"{where}: {code}: {error}") from None
    return CodesPart(tuple(map(str, codes)))


def part_words(part: Part) -> str:
    """A part in a few words."""
    match part:
        case DrillPart():
            grade = f", {part.grade}" if part.grade else ""
            return f"{part.count} positions for {part.technique}{grade}"
        case LessonPart():
            return f"lesson {part.lesson.name}: {part.lesson.title}"
        case CodesPart():
            return f"{len(part.codes)} position{'s' * (len(part.codes) != 1)} to try"


# Progress: from the rows of the history, or of an export.


def done_of(
    task: Task, number: int, drills: Iterable[Mapping[str, Any]], steps: Iterable[Mapping[str, Any]]
) -> tuple[int, int]:
    """How much of a part is done, and of how much; ``number`` counts the parts from 1.

    ``drills`` and ``steps`` are rows of tries and of lessons' steps, as the history keeps them.
    """
    part = task.parts[number - 1]
    if isinstance(part, DrillPart):
        done = sum(
            row["technique"] == part.technique
            and part.grade in (None, row["grade"])
            and row["how_well"] != "missed"
            and row["tried"] >= task.given
            for row in drills
        )
        return min(done, part.count), part.count
    lesson = part.lesson.name if isinstance(part, LessonPart) else _name(task, number)
    wanted = part.lesson.turned if isinstance(part, LessonPart) else range(1, len(part.codes) + 1)
    passed = {
        row["step"]
        for row in steps
        if row["lesson"] == lesson and row["passed"] and row["done"] >= task.given
    }
    return len(passed & {*wanted}), len(wanted)


def _name(task: Task, number: int) -> str:
    """The name under which the positions of a part are kept."""
    return f"task-{task.identity}-{number}"


def lesson_of(task: Task, number: int, left: int, face_of: Sequence[int] = ()) -> Lesson:
    """A part as a lesson to take; ``left``: positions of a drill that are still to do.

    ``face_of``: for each code the face of its cross.
    """
    part = task.parts[number - 1]
    if isinstance(part, LessonPart):
        return part.lesson
    steps: tuple[Step, ...]
    if isinstance(part, DrillPart):
        count = max(1, min(left, 100))
        steps = (Drill(0, task.title, part.technique, part.grade, count, count, 0),)
    else:
        positions = [parse_code(code) for code in part.codes]
        steps = tuple(
            Try(0, task.title, bytes(position.tolist()), face, holding, "", None, (), None, ())
            for (position, holding), face in zip(positions, face_of, strict=True)
        )
    return Lesson(_name(task, number), task.title, part_words(part), steps)
