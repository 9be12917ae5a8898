"""Lessons and tasks in the history: steps that were turned, where a person stopped, tasks."""

from __future__ import annotations

import json
import zipfile
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any, Final, Literal, Protocol

from livecube.cube.position import turns_text
from livecube.drills.history import DrillBook
from livecube.drills.judging import DrillJudged
from livecube.errors import LessonError
from livecube.history.store import now_text
from livecube.lessons.news import LessonOver, SolveDone, StepBegun, StepDone
from livecube.logs.lines import Header
from livecube.solves.reading import solves_in

if TYPE_CHECKING:
    from pathlib import Path

    from livecube.drills.keeping import DrillKeeper
    from livecube.history.store import History
    from livecube.lessons.course import CourseNews
    from livecube.lessons.lesson import Lesson

__all__ = ["LessonBook", "LessonKeeper", "Source", "exported_rows"]

_LARGEST: Final = 200_000_000
"""Bytes of a file in an export; larger ones are not read."""
_NEEDED: Final[dict[str, dict[str, type]]] = {
    "try": {"technique": str, "grade": str, "how_well": str, "tried": str},
    "step": {"lesson": str, "step": int, "passed": int, "done": str},
}
"""Keys of the rows that tell progress."""


class LessonBook:
    """The lessons of the person of a book of drills."""

    def __init__(self, book: DrillBook) -> None:
        self._book = book
        self._database = book.database

    @classmethod
    def of(cls, history: History, name: str) -> LessonBook:
        """The book of the person with this name, who may be new."""
        return cls(DrillBook(history, name))

    def take(self, identity: str, content: str) -> bool:
        """Keep a task's file; returns whether it is new."""
        with self._book.history.together():
            cursor = self._database.execute(
                "INSERT INTO task (person, taken, identity, content) VALUES (?, ?, ?, ?) "
                "ON CONFLICT (person, identity) DO NOTHING",
                (self._book.keeper(), now_text(), identity, content),
            )
        return bool(cursor.rowcount)

    def tasks(self) -> list[str]:
        """The files of the person's tasks, in the order in which they were taken."""
        rows = self._database.execute(
            "SELECT content FROM task WHERE person = ? ORDER BY id", (self._book.person(),)
        )
        return [content for (content,) in rows]

    def keep_step(self, lesson: str, done: StepDone, at: str) -> None:
        """Keep a step that is over; ``at``: when, in UTC."""
        with self._book.history.together():
            self._database.execute(
                "INSERT INTO lesson_step (person, done, lesson, step, kind, passed, made, good) "
                "VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                (self._book.keeper(), at, lesson, done.number, done.kind, done.passed, done.made,
                 done.good),
            )  # fmt: skip

    def keep_stop(self, lesson: str, step: int, steps: int) -> None:
        """Keep where the person is: the next time, the lesson begins at this step."""
        with self._book.history.together():
            self._database.execute(
                "INSERT INTO lesson_stop (person, lesson, stopped, step, steps) "
                "VALUES (?, ?, ?, ?, ?) ON CONFLICT (person, lesson) DO UPDATE SET "
                "stopped = excluded.stopped, step = excluded.step, steps = excluded.steps",
                (self._book.keeper(), lesson, now_text(), step, steps),
            )

    def keep_solve(self, name: str, done: SolveDone, source: Source) -> None:
        """Keep a solve of the person with this name."""
        began = datetime.now(UTC) - timedelta(seconds=done.made[-1].t)
        header = Header(
            began.isoformat(timespec="seconds").replace("+00:00", "Z"),
            source.name,
            source.clock,
            turns_text(done.scramble),
            source.link,
        )
        for found in solves_in(header, done.made):
            self._book.history.keep(found, name)

    def stop(self, lesson: str, steps: int) -> int:
        """The step at which a lesson of so many steps goes on; 1 if it is new, or was over."""
        row = self._database.execute(
            "SELECT step FROM lesson_stop WHERE person = ? AND lesson = ?",
            (self._book.person(), lesson),
        ).fetchone()
        return int(row[0]) if row is not None and row[0] <= steps else 1

    def stops(self) -> dict[str, tuple[int, int]]:
        """For each lesson that was begun: the step where it goes on, and its steps."""
        rows = self._database.execute(
            "SELECT lesson, step, steps FROM lesson_stop WHERE person = ?", (self._book.person(),)
        )
        return {lesson: (step, steps) for lesson, step, steps in rows}

    def passed(self, lesson: str) -> frozenset[int]:
        """Numbers of the steps that the person has passed."""
        rows = self._database.execute(
            "SELECT DISTINCT step FROM lesson_step WHERE person = ? AND lesson = ? AND passed",
            (self._book.person(), lesson),
        )
        return frozenset(step for (step,) in rows)


class Source(Protocol):
    """Where the turns come from, as logs tell it."""

    @property
    def name(self) -> str:
        """The decoder, or another source."""
        ...

    @property
    def clock(self) -> Literal["cube", "host"]:
        """Whose clock the times are read from."""
        ...

    @property
    def link(self) -> str:
        """How the events come."""
        ...


class LessonKeeper:
    """Keeps what is done in one lesson, now or later, through the keeper of a person's drills.

    ``seed``: of the drills' positions, if they were drawn with one.
    """

    def __init__(self, lesson: Lesson, keeper: DrillKeeper, name: str, seed: int | None) -> None:
        self._lesson = lesson
        self._keeper = keeper
        self._name = name
        self._seed = seed
        book = LessonBook(keeper.book)
        self.stop = book.stop(lesson.name, len(lesson.steps))
        """The step at which the lesson goes on."""
        self.passed = book.passed(lesson.name)
        """Numbers of the steps that were passed before."""

    def keep(self, news: CourseNews, source: Source) -> CourseNews:
        """Keep what has to be kept of a piece of news; returns it as it is shown."""
        name, steps = self._lesson.name, len(self._lesson.steps)
        match news:
            case DrillJudged():
                return self._keeper.keep(news, self._seed)
            case StepDone():
                at = now_text()
                self._keeper.add(lambda book: LessonBook(book).keep_step(name, news, at))
            case StepBegun():
                self._keeper.add(lambda book: LessonBook(book).keep_stop(name, news.number, steps))
            case LessonOver():
                self._keeper.add(lambda book: LessonBook(book).keep_stop(name, steps + 1, steps))
            case SolveDone():
                self._keeper.add(lambda book: LessonBook(book).keep_solve(self._name, news, source))
        return news


def exported_rows(path: Path) -> tuple[str, list[dict[str, Any]], list[dict[str, Any]]]:
    """A person's name, tries of drills, and steps of lessons, from what an export wrote.

    Raises :class:`~livecube.errors.LessonError` if the file is no such export.
    """
    try:
        with zipfile.ZipFile(path) as whole:
            if any(one.file_size > _LARGEST for one in whole.infolist()):
                raise LessonError(str(path), 0, "holds a file that is too large to be an export")
            name = json.loads(whole.read("person.json"))["name"]
            if not isinstance(name, str):
                raise TypeError("the name is no text")
            drills = _exported(whole.read("drills.jsonl"), "try")
            steps = _exported(whole.read("lessons.jsonl"), "step")
    except OSError as error:
        raise LessonError(str(path), 0, f"cannot be read: {error.strerror or error}") from None
    except (zipfile.BadZipFile, KeyError, TypeError, ValueError, RuntimeError) as error:
        raise LessonError(
            str(path), 0, f"is no export of a person ({error}); livecube people export writes one"
        ) from None
    return name, drills, steps


def _exported(lines: bytes, what: str) -> list[dict[str, Any]]:
    rows = [json.loads(line) for line in lines.decode("utf-8").splitlines()]
    told = [row for row in rows if row["what"] == what]
    for row in told:
        for key, kind in _NEEDED[what].items():
            if not isinstance(row[key], kind):
                raise TypeError(f"{key} of a row is wrong")
    return told
