"""``livecube task``: tasks given by a coach, run by a student; progress from what was turned."""

from __future__ import annotations

import json
import secrets
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from livecube.cli.broker_options import offering_options
from livecube.cli.drill_options import drilling_options
from livecube.cli.lesson import take_lesson
from livecube.cli.whose import asked_for, keeper, read_roster
from livecube.composition.assembly import technique_names
from livecube.edges.log_files import new_file
from livecube.edges.saying import say
from livecube.errors import UsageError
from livecube.history.folder import data_folder
from livecube.history.people import People
from livecube.history.store import DATABASE, History, now_text
from livecube.lessons.keeping import LessonBook, exported_rows
from livecube.lessons.shipped import SHIPPED, read_lesson, read_text, shipped_texts
from livecube.lessons.tasks import (
    CodesPart,
    DrillPart,
    LessonPart,
    Task,
    day_named,
    done_of,
    lesson_of,
    parse_task,
    part_words,
    task_text,
)
from livecube.solves.people import known_person, person_meant, shown_name

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from typing import Any

    from livecube.cli.drill_options import Drilling
    from livecube.dashboard.sending import Plan
    from livecube.lessons.tasks import Part

__all__ = ["task"]

_json = click.option("--json", "as_json", is_flag=True, help="One JSON object a line.")


@click.group(invoke_without_command=True)
@click.option("--person", help="Whose tasks.")
@_json
@click.pass_context
def task(context: click.Context, person: str | None, as_json: bool) -> None:
    """List your tasks, and how far you have come in each.

    Your coach gives you a task as a file: livecube task take FILE. livecube task run does the
    next part of it. What you turn counts, from the moment when the task was given.
    """
    if context.invoked_subcommand is not None:
        return
    kept = _kept(person)
    if not kept and not as_json:
        say("There is no task. livecube task take FILE takes one that your coach gave you.")
    for number, (one, drills, steps) in kept.items():
        _tell(one, drills, steps, as_json, number=number)


@task.command()
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@click.argument("parts", nargs=-1, required=True, metavar="PART…")
@click.option("--title", help="A line; left out: the parts in words.")
@click.option("--by", metavar="DAY", help="The last day: 2026-05-29, or friday.")
def give(file: Path, parts: tuple[str, ...], title: str | None, by: str | None) -> None:
    """Write a task into the new FILE, to hand to a student.

    A PART is positions of a technique ("20 keyhole-corner hard"), a lesson ("lesson
    keyhole-corners", or a file), or codes of positions, separated by blanks.
    """
    told, words = _set_task(parts, title, by)
    text = task_text(told)
    parse_task(text, str(file), technique_names(), shipped_texts())  # nobody gets an unusable one
    with new_file(file) as out:
        out.write(text)
    say(f"written: {file}: {words}")


def _set_task(parts: tuple[str, ...], title: str | None, by: str | None) -> tuple[Task, str]:
    """A task of these parts, and the parts in words."""
    made = tuple(_part(text) for text in parts)
    try:
        day = None if by is None else day_named(by, date.today())
    except ValueError as error:
        raise UsageError(f"--by, {error}") from None
    words = "; ".join(map(part_words, made))[:200]
    return Task(secrets.token_hex(8), title or words, now_text(), day, made), words


def _part(text: str) -> Part:
    first, *rest = text.split() or [""]
    if first.isdecimal() and rest:
        return DrillPart(rest[0], int(first), rest[1] if len(rest) > 1 else None)
    if first == "lesson" and len(rest) == 1:
        lesson, _ = read_lesson(rest[0], technique_names())
        return LessonPart(lesson, None if rest[0] in SHIPPED else read_text(rest[0]))
    return CodesPart(tuple(text.split()))


@task.command()
@click.argument("desk")
@click.argument("parts", nargs=-1, required=True, metavar="PART…")
@click.option("--title", help="A line; left out: the parts in words.")
@click.option("--by", metavar="DAY", help="The last day: 2026-05-29, or friday.")
@click.option("--as", "coach", metavar="NAME", help="Your name there; left out: the broker's user.")
@offering_options
def offer(
    desk: str,
    parts: tuple[str, ...],
    title: str | None,
    by: str | None,
    coach: str | None,
    plan: Plan,
) -> None:
    """Offer a task to the DESK of a student, over the broker.

    A PART is as for livecube task give; a single one may be a file that it wrote. The student's
    livecube has to run, and to name you as its coach. It shows the offer; the student takes or
    declines it.
    """
    import asyncio

    from livecube.dashboard.offers import MOST_BYTES, offer_payload, read_offer
    from livecube.dashboard.tools import send_offer

    name = coach or plan.access.address.user
    if name is None:
        raise UsageError("say who offers: --as NAME, or a user in the broker's address")
    if len(parts) == 1 and Path(parts[0]).suffix == ".json":
        text = read_text(parts[0])
    else:
        text = task_text(_set_task(parts, title, by)[0])
    told = parse_task(text, "the offer", technique_names(), shipped_texts())
    payload = offer_payload(secrets.token_hex(8), now_text(), text)
    if read_offer(payload.encode(), name, shipped_texts()) is None:
        raise UsageError(
            f"this is too much for an offer: {MOST_BYTES // 1024} kB and 60 positions at most; give"
            " it as a file"
        )
    is_heard = asyncio.run(send_offer(plan, name, desk, payload))
    say(f"offered to {desk}: {told.title}")
    if not is_heard:
        say(f"nobody hears it: livecube must run at {desk}, with coach = {name!r} in [offers]")


@task.command()
@click.argument("file")
@click.option("--person", help="Whose task it is.")
def take(file: str, person: str | None) -> None:
    """Take the task in FILE, which a coach gave you."""
    text = read_text(file)
    told = parse_task(text, file, technique_names(), shipped_texts())
    name = keeper(person)
    with History(data_folder()) as history:
        is_new = LessonBook.of(history, name).take(told.identity, text)
    say(f"{'taken' if is_new else 'you have it already'}: {told.title}")


@task.command()
@click.argument("number", type=click.IntRange(1), default=1)
@drilling_options
def run(number: int, drilling: Drilling) -> None:
    """Do the next part of the task with this NUMBER, as livecube task lists them.

    Without NUMBER the first one. A part is done like a lesson: see livecube lesson NAME --help.
    """
    if not drilling.is_kept:
        raise UsageError("what you turn for a task has to be kept; give --person")
    kept = _kept(drilling.person)
    if number not in kept:
        raise UsageError(f"there is no task {number}; livecube task lists them")
    told, drills, steps = kept[number]
    for at, part in enumerate(told.parts, 1):
        done, of = done_of(told, at, drills, steps)
        if done < of:
            from livecube.advice.advisor import likely_cross
            from livecube.cube.code import parse_code

            faces = (
                [likely_cross(parse_code(code)[0]) for code in part.codes]
                if isinstance(part, CodesPart)
                else ()
            )
            lesson = lesson_of(told, at, of - done, faces)
            take_lesson(lesson, lesson.name, None, drilling)
            return
    say(f"Task {number} is done: {told.title}")


@task.command()
@click.argument("file")
@click.argument("exports", nargs=-1, metavar="[EXPORT.zip]…")
@_json
def progress(file: str, exports: tuple[str, ...], as_json: bool) -> None:
    """Say how far each student has come in the task in FILE.

    Students of this home are in the history. Others send what livecube people export writes.
    """
    told = parse_task(read_text(file), file, technique_names(), shipped_texts())
    for name in exports:
        person, drills, steps = exported_rows(Path(name))
        _tell(told, drills, steps, as_json, person=person)
    if exports or not (data_folder() / DATABASE).exists():
        return
    with History(data_folder(), reading=True) as history:
        people = People(history)
        for one in history.roster():
            drills, steps = _rows(people, one.name)
            _tell(told, drills, steps, as_json, person=one.name)


def _rows(people: People, name: str) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """A person's tries of drills, and steps of lessons."""
    drills = [row for row in people.drills(name) if row["what"] == "try"]
    return drills, [row for row in people.lessons(name) if row["what"] == "step"]


def _kept(
    said: str | None,
) -> dict[int, tuple[Task, list[dict[str, Any]], list[dict[str, Any]]]]:
    """A person's tasks by their numbers, and what they turned."""
    people = read_roster()
    asked = asked_for(said)
    person = person_meant(people, asked) if said is None else known_person(people, said)
    if person is None:
        return {}
    with History(data_folder(), reading=True) as history:
        texts = LessonBook.of(history, person.name).tasks()
        drills, steps = _rows(People(history), person.name)
    names, shipped = technique_names(), shipped_texts()
    return {
        number: (parse_task(text, f"task {number}", names, shipped), drills, steps)
        for number, text in enumerate(texts, 1)
    }


def _tell(
    told: Task,
    drills: Iterable[Mapping[str, Any]],
    steps: Iterable[Mapping[str, Any]],
    as_json: bool,
    *,
    number: int | None = None,
    person: str | None = None,
) -> None:
    """Print a task, or how far a person has come in it."""
    parts = [
        (part_words(part), *done_of(told, at, drills, steps))
        for at, part in enumerate(told.parts, 1)
    ]
    is_done = all(done >= of for _, done, of in parts)
    is_late = told.by is not None and not is_done and told.by < f"{datetime.now(UTC):%Y-%m-%d}"
    if as_json:
        rows = [{"part": words, "done": done, "of": of} for words, done, of in parts]
        who = {"person": person} if person is not None else {"number": number}
        click.echo(
            json.dumps(
                {**who, "task": told.identity, "title": told.title, "by": told.by,
                 "done": is_done, "late": is_late, "parts": rows}
            )
        )  # fmt: skip
        return
    head = shown_name(person) if person is not None else f"{number}. {told.title}"
    by = "" if told.by is None else f", by {told.by}"
    state = "done" if is_done else "late" if is_late else "open"
    say(f"{head}{by}: {state}")
    for words, done, of in parts:
        say(f"  {done:3d} of {of:3d}  {words}", deeper=14)
