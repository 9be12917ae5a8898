"""``livecube lesson``: lessons beside the cube, checked, and as hand-outs."""

from __future__ import annotations

from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING

import click

from livecube.cli.cubes import tries_source
from livecube.cli.drill_options import drilling_options
from livecube.cli.options import advisor_with_progress
from livecube.cli.refusing import refusing_the_unstorable
from livecube.cli.scramble import scrambler_with_progress
from livecube.cli.whose import asked_for, read_roster
from livecube.composition.assembly import find_technique, technique_names
from livecube.edges.log_files import new_file
from livecube.edges.saying import say
from livecube.errors import UsageError
from livecube.history.folder import data_folder
from livecube.history.store import History
from livecube.lessons.shipped import SHIPPED, read_lesson, shipped_lesson
from livecube.solves.people import known_person, person_meant
from livecube.views.lines import counted

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Sequence
    from random import Random

    from livecube.advice.advisor import Advisor
    from livecube.cli.drill_options import Drilling
    from livecube.composition.lesson import LessonPaths
    from livecube.drills.place import DrillPlace
    from livecube.lessons.course import Course
    from livecube.lessons.lesson import Drill, Lesson

__all__ = ["drawn_for", "lesson", "take_lesson"]


class _Lessons(click.Group):
    """Subcommands, and every lesson by its name or file."""

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args[0] in self.commands:
            return super().resolve_command(ctx, args)
        return args[0], refusing_the_unstorable(_run), args


@click.group(
    cls=_Lessons,
    invoke_without_command=True,
    subcommand_metavar="[FILE | NAME | COMMAND] [ARGS]...",
)
@click.option("--person", help="Where this person stopped.")
@click.pass_context
def lesson(context: click.Context, person: str | None) -> None:
    """Take a lesson beside the cube: the FILE that a coach wrote, or one that ships, by its NAME.

    Alone it lists the lessons that ship. A lesson goes on where you stopped. livecube lesson
    NAME --help has more.
    """
    if context.invoked_subcommand is not None:
        return
    stops = _stops(person)
    for name in SHIPPED:
        one = shipped_lesson(name, technique_names())
        step, steps = stops.get(name, (0, len(one.steps)))
        where = "done" if step > steps else f"at step {step} of {steps}" if step else ""
        say(f"{name:17} {one.title}: {one.about}{f' [{where}]' if where else ''}", deeper=18)


def _stops(said: str | None) -> dict[str, tuple[int, int]]:
    """Where a person stopped in each lesson that they have begun."""
    from livecube.drills.history import DrillBook
    from livecube.lessons.keeping import LessonBook

    people = read_roster()
    asked = asked_for(said)
    person = person_meant(people, asked) if said is None else known_person(people, said)
    if person is None:
        return {}
    with History(data_folder(), reading=True) as history:
        return LessonBook(DrillBook(history, person.name)).stops()


@lesson.command()
@click.argument("file", metavar="FILE")
def check(file: str) -> None:
    """Check the lesson in FILE: its form, its positions, and every claim in it."""
    from livecube.lessons.claims import check_lesson

    one, called = read_lesson(file, technique_names())
    claims = check_lesson(one, advisor_with_progress("bold"), called)
    say(f"{called}: {counted(len(one.steps), 'step')}; {counted(claims, 'claim')} hold on the cube")


@lesson.command()
@click.argument("named", metavar="FILE|NAME")
@click.argument("page", metavar="PAGE.html", type=click.Path(path_type=Path, dir_okay=False))
def page(named: str, page: Path) -> None:
    """Write the lesson FILE or NAME as a page to print or to send, into the new file PAGE.html."""
    from livecube.lessons.lesson_page import lesson_page

    one, _ = read_lesson(named, technique_names())
    with new_file(page) as file:
        file.write(lesson_page(one))
    say(f"written: {page}")


@click.command()
@click.argument("named", metavar="FILE|NAME")
@click.option("--step", type=click.IntRange(1), help="Begin at this step, not where you stopped.")
@drilling_options
def _run(named: str, step: int | None, drilling: Drilling) -> None:
    """Take a lesson, step by step, on your cube.

    n goes on, p goes back. Positions to try come onto your cube by a few turns; a try is over when
    it was done as asked. In a demonstration the turns of your cube step on and back, too.
    """
    one, called = read_lesson(named, technique_names())
    if step is not None and step > len(one.steps):
        raise UsageError(f"{called} has {counted(len(one.steps), 'step')}; there is no step {step}")
    take_lesson(one, called, step, drilling)


def take_lesson(lesson: Lesson, called: str, step: int | None, drilling: Drilling) -> None:
    """Take a lesson on the cube, from a step or from where the person stopped; it is kept."""
    from livecube.composition.lesson import LessonPart, StudentSource
    from livecube.composition.run import Output, Run
    from livecube.drills.sets import generator
    from livecube.edges.sinks import Board
    from livecube.lessons.course import Course, lesson_place
    from livecube.lessons.keeping import LessonKeeper
    from livecube.lessons.lesson import Try
    from livecube.lessons.screen import LessonScreen

    advisor = advisor_with_progress("bold")  # its claims are checked with the usual hands
    twin = advisor.twin()
    virtual = StudentSource(drilling.seed or 0, drilling.speed) if drilling.simulated else None
    with ExitStack() as stack:
        keeper = drilling.keeper(stack)
        kept = keeper and LessonKeeper(lesson, keeper, drilling.person, drilling.seed)
        known = frozenset[str]() if keeper is None else keeper.book.known()

        def course(paths: LessonPaths, ask: Callable[[int, Drill], None]) -> Course:
            # A position that cannot be tried is found before the first step.
            places = {
                one: lesson_place(advisor, one, called)
                for one in lesson.steps
                if isinstance(one, Try)
            }
            at = step or (kept.stop if kept else 1)
            passed = kept.passed if kept else ()
            return Course(
                lesson, paths, places.__getitem__, find_technique, ask, at=at, passed=passed
            )

        part = LessonPart(
            course,
            lambda drill: drawn_for(drill, twin, generator(drilling.seed), known),
            lambda: scrambler_with_progress(drilling.seed),
            lambda news: kept.keep(news, source) if kept else news,
        )
        source = tries_source(
            part, drilling.wanted, virtual, typed=drilling.typed, as_json=drilling.as_json
        )
        output = Output(
            Board(LessonScreen(lesson.title, lesson=lesson.title)), as_json=drilling.as_json
        )
        if keeper is not None:
            keeper.complain = output.complain
        Run(source, output).go(part)


def drawn_for(
    drill: Drill, advisor: Advisor, rng: Random, known: Collection[str]
) -> Sequence[DrillPlace]:
    """The positions of a drill in a lesson."""
    from livecube.drills.positions import Wish, drawn_set

    wish = Wish(find_technique(drill.technique), drill.count, drill.face, drill.grade)
    return drawn_set(advisor, wish, rng, known)
