"""Tasks: a file from the coach to the student, and progress from what was turned."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from command import started
from test_lessons import NAMES, SMALL

from livecube.drills.history import DrillBook
from livecube.errors import LessonError
from livecube.history.folder import data_folder
from livecube.history.store import History
from livecube.lessons.keeping import LessonBook
from livecube.lessons.lesson import Drill, Try
from livecube.lessons.news import StepDone
from livecube.lessons.tasks import day_named, done_of, lesson_of, parse_task

FORMATS = Path(__file__).parent.parent / "livecube/formats"
CODE = "3KYP-SG2S-WBJX-U8TB"
TASK: dict[str, Any] = {
    "livecube_task": 1,
    "task": "5f0c2a9be1d34477",
    "title": "Until Friday",
    "given": "2026-05-25T17:00:00Z",
    "by": "2026-05-29",
    "parts": [
        {"drill": "keyhole-corner", "count": 3, "grade": "hard"},
        {"lesson": "small-one", "text": SMALL},
        {"codes": [CODE, CODE]},
    ],
}


def test_a_task_goes_from_the_coach_to_the_student_and_back(tmp_path: Path) -> None:
    lesson, file, sent = (str(tmp_path / name) for name in ("small.md", "task.json", "ann.zip"))
    Path(lesson).write_text(SMALL, encoding="utf-8")
    parts = ("2 keyhole-corner hard", f"lesson {lesson}", f"{CODE} {CODE}")
    done = started("task", "give", file, *parts, "--by", "2026-05-29", "--title", "Until Friday")
    assert done.returncode == 0, done.stderr
    told = json.loads(Path(file).read_text(encoding="utf-8"))
    schema = json.loads((FORMATS / "task.schema.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator(schema).validate(told)
    for words in ("taken: Until Friday", "you have it already"):
        assert words in started("task", "take", file, "--person", "Ann").stdout
    with History(data_folder()) as history:
        book = DrillBook(history, "Ann")
        lessons, later = LessonBook(book), "2999-01-01T00:00:00Z"
        lessons.keep_step("small-one", StepDone(0.0, 3, "try", True, 1, 1), later)
        lessons.keep_step("small-one", StepDone(0.0, 4, "drill", False, 2, 0), later)
        name = f"task-{told['task']}-3"
        lessons.keep_step(name, StepDone(0.0, 2, "try", True, 1, 1), later)
        lessons.keep_step(name, StepDone(0.0, 1, "try", True, 1, 1), "1999-01-01T00:00:00Z")
    (own,) = [json.loads(line) for line in started("task", "--json").stdout.splitlines()]
    assert [(part["done"], part["of"]) for part in own["parts"]] == [(0, 2), (1, 3), (1, 2)]
    assert (own["done"], own["late"], own["by"]) == (False, True, "2026-05-29")
    assert started("people", "export", "Ann", sent).returncode == 0
    for arguments in ((), (sent,)):
        progress = started("task", "progress", file, *arguments, "--json").stdout
        (one,) = [json.loads(line) for line in progress.splitlines()]
        assert one["person"] == "Ann"
        assert one["parts"] == own["parts"]
    assert started("people", "forget", "Ann", "--yes").returncode == 0
    with History(data_folder(), reading=True) as history:
        for table in ("lesson_step", "lesson_stop", "task"):
            assert not history.database.execute(f"SELECT * FROM {table}").fetchall()


def test_a_drill_counts_what_was_done_as_asked_since_it_was_given() -> None:
    task = parse_task(json.dumps(TASK), "task", NAMES, {})
    right = {"technique": "keyhole-corner", "grade": "hard", "how_well": "sound",
             "tried": "2026-05-26T08:00:00Z"}  # fmt: skip
    others = [
        right | {"technique": "plain"},
        right | {"grade": "easy"},
        right | {"how_well": "missed"},
        right | {"tried": "2026-05-25T16:59:59Z"},
    ]
    assert done_of(task, 1, [right, right, *others], []) == (2, 3)
    assert done_of(task, 1, [right] * 9, []) == (3, 3)


def test_each_part_can_be_taken_like_a_lesson() -> None:
    task = parse_task(json.dumps(TASK), "task", NAMES, {})
    (drill,) = lesson_of(task, 1, 2).steps
    assert isinstance(drill, Drill)
    assert (drill.technique, drill.grade, drill.count) == ("keyhole-corner", "hard", 2)
    assert lesson_of(task, 2, 3).name == "small-one"
    codes = lesson_of(task, 3, 2, [0, 5])
    assert codes.name == "task-5f0c2a9be1d34477-3"
    assert [step.face for step in codes.steps if isinstance(step, Try)] == [0, 5]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"livecube_task": 2}, "livecube_task is not 1"),
        ({"task": "../x"}, "task is missing"),
        ({"title": "a\nb"}, "title is missing"),
        ({"given": "yesterday"}, "given is missing"),
        ({"by": "2026-02-30"}, "by is missing"),
        ({"parts": []}, "parts is missing"),
        ({"parts": [1]}, "parts, 1: is no object"),
        ({"parts": [{}]}, "neither drill, lesson nor codes"),
        ({"parts": [{"drill": "x", "count": 1}]}, "'x' is no technique"),
        ({"parts": [{"drill": "plain", "count": 0}]}, "count is not a number"),
        ({"parts": [{"drill": "plain", "count": 1, "grade": "x"}]}, "grade is not"),
        ({"parts": [{"lesson": "x", "text": None}]}, "no lesson that ships"),
        ({"parts": [{"lesson": "x", "text": "x"}]}, "lesson x, line 1"),
        ({"parts": [{"codes": ["x"]}]}, "a code has 16 characters"),
    ],
)
def test_a_task_with_a_mistake_is_refused(change: dict[str, Any], words: str) -> None:
    with pytest.raises(LessonError, match=words):
        parse_task(json.dumps(TASK | change), "task", NAMES, {})


def test_no_task_and_no_export_are_refused(tmp_path: Path) -> None:
    for text in ("", "[]", "[" * 100_000, '{"livecube_task": 1}', "{,"):
        with pytest.raises(LessonError):
            parse_task(text, "task", NAMES, {})
    file, export = tmp_path / "task.json", tmp_path / "x.zip"
    file.write_text(json.dumps(TASK), encoding="utf-8")
    export.write_text("no zip")
    done = started("task", "progress", str(file), str(export))
    assert done.returncode == 2
    assert "is no export of a person" in " ".join(done.stderr.split())


def test_days_have_names() -> None:
    monday = date(2026, 5, 25)
    assert day_named("friday", monday) == "2026-05-29"
    assert day_named("Monday", monday) == "2026-05-25"
    assert day_named("2026-06-01", monday) == "2026-06-01"
    with pytest.raises(ValueError, match="no day"):
        day_named("soon", monday)
