"""Reviews of all kept solves that have none, and missed chances tried again."""

from __future__ import annotations

import json
import os
from contextlib import ExitStack
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import click

from livecube.cli.bars import progress_bar
from livecube.cli.cubes import say_aside, tries_source
from livecube.cli.options import advisor_with_progress, holdings_with_progress
from livecube.cli.scramble import scrambler_with_progress
from livecube.cli.whose import is_kept, own_of, whose_in
from livecube.composition.again import TrierSource, TryPart
from livecube.composition.assembly import focus_on
from livecube.composition.run import Output, Run
from livecube.edges.automaton_file import load_hands
from livecube.edges.saying import say
from livecube.edges.sinks import Board
from livecube.errors import LivecubeError, UsageError
from livecube.history.folder import data_folder
from livecube.history.store import History
from livecube.views.lines import counted

if TYPE_CHECKING:
    from collections.abc import Sequence

    from livecube.cli.again import Tries
    from livecube.cli.whose import Own
    from livecube.composition.missing_reviews import Found
    from livecube.composition.scrambler import Scrambler
    from livecube.drills.history import DrillBook, Missed
    from livecube.drills.keeping import DrillKeeper
    from livecube.drills.place import MissedPlace
    from livecube.edges.sinks import Item
    from livecube.hands.automaton import Automaton
    from livecube.lessons.course import CourseNews
    from livecube.review.trying import Trying
    from livecube.scrambling.path import ScramblePath
    from livecube.solves.people import Person

__all__ = ["again_missed", "review_missing"]

_LEVEL = "bold"
"""At this level a review finds the chances of every technique."""


def review_missing(
    said: str | None,
    level: str | None,
    hands: Automaton | None,
    processes: int | None,
    *,
    as_json: bool,
) -> None:
    """Review all kept solves that have no review; each result is kept at once.

    ``said``: whose solves, as of ``--person``. ``processes``: None: one for each core.
    """
    from livecube.composition.missing_reviews import Manner, reviews_of_kept

    with History(data_folder(), reading=True) as history:
        people = history.roster()
        person = whose_in(history, said).person
        whose = [(one, history.without_review(one.name)) for one in people if person in (None, one)]
    total = sum(len(numbers) for _, numbers in whose)
    done = refused = 0
    bar = progress_bar("reviewing", with_time_left=True)
    task = bar.add_task("", total=total)
    try:
        for one, numbers in whose:
            if not numbers:
                continue
            own = own_of(one, people)
            # Tables and compiled code are made here if they are missing, once for all.
            advisor_with_progress(own.level(level), own.hands(hands))
            holdings_with_progress(own.habits)
            manner = Manner(data_folder(), own.level(level), own.hands(hands), own.habits)
            with bar, History(data_folder()) as history:
                for found in reviews_of_kept(manner, numbers, processes or _cores()):
                    _keep(history, one, found, own.own_solves(hands), as_json=as_json)
                    done, refused = done + (not found.trouble), refused + bool(found.trouble)
                    bar.advance(task)
    except KeyboardInterrupt:
        say_aside(f"{done} of {total} are reviewed; start it again for the others")
        raise
    if not as_json:
        said_refused = f"; {refused} cannot be reviewed" if refused else ""
        say(f"{counted(done, 'solve')} reviewed{said_refused}")


def _cores() -> int:
    """The number of cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _keep(
    history: History, person: Person, found: Found, own_solves: int | None, *, as_json: bool
) -> None:
    if found.trouble:
        say_aside(f"solve {found.number}: {found.trouble}")
    else:
        history.note_chances(found.number, found.chances, found.prices, found.plans, own_solves)
    if as_json:
        told = {
            "event": "reviewed",
            "number": found.number,
            "person": person.name,
            "chances": len(found.chances),
            "trouble": found.trouble or None,
        }
        click.echo(json.dumps(told))


def again_missed(
    techniques: Sequence[str], said: str | None, count: int, on: Tries, hands: Automaton | None
) -> None:
    """Lead through a person's missed chances of these techniques that are due, dearest first."""
    wanted = focus_on(techniques, 0.0).techniques
    with History(data_folder(), reading=True) as history:
        person = whose_in(history, said).person
        own = own_of(person, history.roster())
    if person is None:
        raise UsageError("whose missed chances? Give --person NAME")
    from livecube.drills.keeping import DrillKeeper

    with ExitStack() as stack:
        keeper = DrillKeeper(data_folder(), person.name, say_aside)
        stack.callback(keeper.close, say_aside)
        due = _due(keeper.book, wanted)
        if not due:
            return
        places = _places(due, count, own, own.hands(hands))
        names = ", ".join(dict.fromkeys(one.technique for one in places))
        title = f"Missed chances, the dearest first: {names}; {len(places)} of {len(due)} due"
        title = own.titled(title, hands)
        keeps = is_kept(said, no_history=False, virtual=on.simulated)
        _run(places, title, on, keeper if keeps else None)


def _due(book: DrillBook, techniques: frozenset[str]) -> Sequence[Missed]:
    """The chances that are due; if there are none, a sentence says why."""
    from livecube.drills.text import span_text

    now = datetime.now(UTC)
    known = book.missed(techniques)
    due = [one for one in known if one.due is None or one.due <= now]
    if not known:
        say(
            "No missed chance of this technique is known; livecube review --missing reviews all "
            "kept solves."
        )
    elif not due:
        left = span_text(min(one.due for one in known if one.due) - now)
        say(f"Nothing is due; next in {left}, of {counted(len(known), 'missed chance')}.")
    return due


def _places(
    due: Sequence[Missed], count: int, own: Own, hands: Automaton | None
) -> list[MissedPlace]:
    """Up to ``count`` places, in order; chances that a review finds no more are left out.

    Raises :class:`~livecube.errors.UsageError` if no place is left.
    """
    from livecube.composition.reviewing import begun_kept, review_of
    from livecube.drills.sets import missed_place

    advisor, its = advisor_with_progress(_LEVEL, hands), hands or load_hands()
    holdings_with_progress(own.habits)
    found: list[MissedPlace] = []
    reviews, lost = {}, 0
    bar = progress_bar("looking for the moments")
    task = bar.add_task("", total=min(count, len(due)))
    with bar, History(data_folder(), reading=True) as history:
        for one in due:
            if one.solve not in reviews:
                try:
                    begun = begun_kept(history, one.solve)
                except LivecubeError as error:
                    say_aside(str(error))
                    lost += 1
                    continue
                reviews[one.solve] = review_of(begun, advisor, its, own=own.habits)
            place = missed_place(reviews[one.solve], one.solve, one.pair, one.technique)
            if place is None:
                lost += 1
                continue
            found.append(place)
            bar.advance(task)
            if len(found) == count:
                break
    if lost:
        say_aside(f"{counted(lost, 'chance')} could not be found again in a review of the solve")
    if not found:
        raise UsageError("none of these chances can be tried now; livecube review --kept NUMBER "
                         "reviews a solve anew")  # fmt: skip
    return found


def _run(places: Sequence[MissedPlace], title: str, on: Tries, keeper: DrillKeeper | None) -> None:
    from livecube.drills.judging import DrillJudged
    from livecube.drills.news import as_drill
    from livecube.drills.place import pieces_that_count
    from livecube.drills.screen import DrillScreen
    from livecube.review.trying import Trying

    faces = {place.position: place.face for place in places}

    def led(scrambler: Scrambler) -> Trying:
        def path(start: bytes, target: bytes) -> ScramblePath:
            return scrambler.partly(start, target, pieces_that_count(faces[target]))

        return Trying(iter(places), path)

    def told(news: CourseNews) -> Item:
        item = as_drill(news)
        if isinstance(item, DrillJudged) and keeper is not None:
            return keeper.keep(item, None)
        return item

    part = TryPart(led, len(places), lambda: scrambler_with_progress(None), as_told=told)
    virtual = TrierSource(len(places), on.seed, on.speed) if on.simulated else None
    source = tries_source(part, on.wanted, virtual, typed=on.typed, as_json=on.as_json)
    output = Output(Board(DrillScreen(title)), as_json=on.as_json)
    if keeper is not None:
        keeper.complain = output.complain
    Run(source, output).go(part)
