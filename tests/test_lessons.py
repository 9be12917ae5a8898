"""Lessons: every shipped one is played to its end, each claim holds, each mistake has a line."""

from __future__ import annotations

import re
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
from advising import advisor_at
from browser import AXE, MISSING, sized
from command import started
from examples import thorough
from hasty import set_ups_in_haste as set_ups_in_haste
from test_widths import drawn, wrong_on

from livecube.composition.assembly import drilled_techniques, find_technique
from livecube.composition.items import item_json, item_lines
from livecube.composition.lesson import LessonPaths
from livecube.composition.scrambler import load_scrambler
from livecube.cube.holding import fixed_turns
from livecube.cube.position import apply_turns
from livecube.drills.judging import DrillJudged, grade_of, points
from livecube.drills.news import DrillReady
from livecube.drills.place import DrillPlace, case_of
from livecube.edges.sinks import Board
from livecube.errors import LessonError
from livecube.events import Turn
from livecube.lessons.claims import PHRASES, check_lesson, claims_sentence
from livecube.lessons.course import Course, lesson_place
from livecube.lessons.lesson import Drill, Show, Text, Try
from livecube.lessons.lesson import Lesson as LessonValue
from livecube.lessons.lesson_page import lesson_page
from livecube.lessons.news import (
    LessonOver,
    PlacesScarce,
    SolveDone,
    SolveReady,
    StepBegun,
    StepDone,
    StepWalked,
    TryJudged,
)
from livecube.lessons.reading import parse_lesson
from livecube.lessons.screen import LessonScreen
from livecube.lessons.shipped import SHIPPED, shipped_lesson
from livecube.lessons.solving import Scrambled
from livecube.review.trying import ReadyToTry, SetUpAsked
from livecube.search.situation import Situation
from livecube.techniques.base import Level
from livecube.virtual.solver import solve

if TYPE_CHECKING:
    from collections.abc import Sequence

    from selenium.webdriver import Chrome

    from livecube.advice.advisor import Advisor
    from livecube.lessons.course import CourseNews
    from livecube.scrambling.path import ScramblePath

NAMES = tuple(technique.id for technique in drilled_techniques())
TEXTS = Path(__file__).parent.parent / "livecube/lessons/texts"
SMALL = """---
livecube-lesson: 1
name: small-one
title: A small one
about: one step of each kind
cross: white
---

Read this.

# Moves

```show
position: L D L' D'
held: yellow up, red front
moves: y U R U' R' x
claim: 4 turns
```

```try
position: 3MAX-FHKE-AC76-TQJ9
technique: keyhole-corner
slots: green-red
turns: 5
claim: 5 turns
```

```drill
technique: keyhole-corner
count: 2
pass: 1
grade: hard
```

```solve
count: 1
focus: keyhole-corner
```
"""


def small() -> LessonValue:
    return parse_lesson(SMALL, "small.md", NAMES)


@cache
def advisor() -> Advisor:
    return advisor_at(Level.BOLD)


class QuickPaths(LessonPaths):
    """Set-ups that are found quickly, and are longer for it."""

    def partly(self, start: bytes, target: bytes, pieces: Sequence[int]) -> ScramblePath:
        return self.to(start, target)


@cache
def paths() -> LessonPaths:
    return QuickPaths(load_scrambler(seed=5))


class Student:
    """A virtual student: reads, tries as advised unless ``slips`` are left, and solves."""

    def __init__(self, lesson: LessonValue, *, at: int = 1, slips: int = 0, found: int = 2) -> None:
        self.asked: list[tuple[int, Drill]] = []
        self.told: list[CourseNews] = []
        self.t = 0.0
        self.slips = slips
        self._found = found
        self._places = {
            step: lesson_place(advisor(), step, "test")
            for step in lesson.steps
            if isinstance(step, Try)
        }
        self.course = Course(
            lesson,
            paths(),
            self._places.__getitem__,
            find_technique,
            lambda *asked: self.asked.append(asked),
            at=at,
        )

    def hear(self, told: Sequence[CourseNews]) -> None:
        """Do what the news ask for, until nothing is asked any more."""
        self.told += told
        for news in told:
            match news:
                case StepBegun(step=Text() | Show()) | StepWalked():
                    return self.hear(self.course.next(self.t))
                case SetUpAsked():
                    if news.turns:
                        return self._turn(news.turns)
                case ReadyToTry() | DrillReady():
                    self.t += 2.0
                    turns = news.place.row.turns_fixed
                    if self.slips:
                        self.slips -= 1
                        turns = _another_way(news)
                    return self._turn(turns)
                case SolveReady():
                    self.t += 2.0
                    scene = next(
                        one.place
                        for one in reversed(self.told)
                        if isinstance(one, SetUpAsked) and isinstance(one.place, Scrambled)
                    )
                    solved = solve(np.random.default_rng(4), scene.scramble)
                    return self._turn([one.turn for one in solved.turns])
        if self.asked:
            number, drill = self.asked.pop(0)
            return self.hear(self.course.drawn(number, self._drawn(drill), self.t))
        return None

    def _turn(self, turns: Sequence[int]) -> None:
        """Make turns; what is asked at their end is done."""
        told: list[CourseNews] = []
        for turn in turns:
            self.t += 0.25
            told += self.course.feed(Turn(self.t, turn))
        self.hear(told)

    def _drawn(self, drill: Drill) -> list[DrillPlace]:
        """Positions of the lesson's own tries in the place of drawn ones, which take long."""
        place = next(iter(self._places.values()))
        position = np.frombuffer(place.position, dtype=np.uint8)
        situation, row = Situation.of(position, place.face), place.row
        grade = grade_of(points(situation, row))
        one = DrillPlace(place.position, place.face, row, case_of(situation, row), grade, 0.2)
        return [one] * min(drill.count, self._found)


def _another_way(ready: ReadyToTry) -> tuple[int, ...]:
    """The quickest way of another technique."""
    place = ready.place
    ways = getattr(place, "ways", ())
    return next(w.turns_fixed for w in ways if w.technique != place.row.technique)


def played(lesson: LessonValue, **options: int) -> Student:
    student = Student(lesson, **options)
    student.hear(student.course.begin(0.0))
    return student


@pytest.fixture(scope="module")
def small_played() -> Student:
    return played(small(), slips=1)


LESSONS = [thorough(SHIPPED[0]), *SHIPPED[1:3], *map(thorough, SHIPPED[3:])]


@pytest.mark.parametrize("name", LESSONS)
def test_every_shipped_lesson_is_played_from_its_first_step_to_its_last(name: str) -> None:
    lesson = shipped_lesson(name, NAMES)
    assert lesson.name == name
    told = played(lesson).told
    assert [one.number for one in told if isinstance(one, StepBegun)] == [
        *range(1, len(lesson.steps) + 1)
    ]
    assert told[-1] == LessonOver(told[-1].t, lesson.title, ())
    done = {one.number: one for one in told if isinstance(one, StepDone)}
    assert tuple(done) == lesson.turned
    assert all(one.passed for one in done.values())
    assert all(not one.amiss for one in told if isinstance(one, TryJudged))


@pytest.mark.parametrize("found", [0, 1])
def test_a_drill_whose_positions_are_rare_says_so_and_the_lesson_goes_on(found: int) -> None:
    student = played(small(), found=found)
    (scarce,) = [one for one in student.told if isinstance(one, PlacesScarce)]
    told = item_json(scarce)
    assert (told["number"], told["found"], told["count"]) == (4, found, 2)
    (line,) = item_lines(scarce, 999)
    assert ("1 of 2 positions" if found else "No position was found") in line
    assert "in which keyhole-corner is the best choice and that are hard" in line
    over = student.told[-1]
    assert isinstance(over, LessonOver)
    assert (4 in over.open) == (found == 0)


@pytest.mark.parametrize("name", LESSONS)
def test_every_claim_of_a_shipped_lesson_holds_on_the_cube(name: str) -> None:
    lesson = shipped_lesson(name, NAMES)
    claims = [c for step in lesson.steps if isinstance(step, Show | Try) for c in step.claims]
    assert check_lesson(lesson, advisor(), name) == len(claims) >= 12


def test_demonstrations_that_go_on_begin_where_the_one_before_ends() -> None:
    for name, titles in (
        ("corner-up", ["What to do instead"]),
        ("free-slot-cross", ["Three slots, one door"]),
    ):
        steps = [s for s in shipped_lesson(name, NAMES).steps
                 if isinstance(s, Show) and s.title in titles]  # fmt: skip
        assert len(steps) > 1
        for one, after in pairwise(steps):
            turns = fixed_turns(one.moves, one.holding)[0]
            begun = np.frombuffer(one.position, dtype=np.uint8)
            assert apply_turns(begun, turns).tobytes() == after.position
    tried = [s for s in shipped_lesson("free-slot-cross", NAMES).steps if isinstance(s, Try)]
    for step, later in pairwise(tried):
        row = lesson_place(advisor(), step, "").row
        begun = np.frombuffer(step.position, dtype=np.uint8)
        assert apply_turns(begun, row.turns_fixed).tobytes() == later.position


@pytest.mark.parametrize(
    ("old", "new", "line", "words"),
    [
        ("---\nlivecube", "livecube", 1, "begins with its head"),
        ("cross: white\n---", "cross: white", 1, "does not end"),
        ("livecube-lesson: 1", "livecube-lesson: 2", 2, "the only version"),
        ("name: small-one", "name: Small One", 3, "no name of a lesson"),
        ("title: A small one\n", "", 1, "head has no title"),
        ("title: A small one", "title:", 4, "title has no value"),
        ("about: one", "abuot: one", 5, "no key of head"),
        ("about: one", "about one", 5, "is no entry"),
        ("cross: white", "cross: pink", 6, "not a colour"),
        ("title: A small one", "title: A\ntitle: B", 5, "there already, on line 4"),
        ("```show", "```picture", 13, "'picture' is no kind of step"),
        ("claim: 4 turns\n```", "claim: 4 turns", 19, "is no entry"),
        ("focus: keyhole-corner\n```", "focus: keyhole-corner", 35, "does not end"),
        ("position: L D L' D'", "position: R Q", 14, "column 3"),
        ("position: L D L' D'", "position: 3MAX-FHKE-AC76-TQJ8", 14, "character of this code"),
        ("moves: y U R U' R' x\n", "", 13, "show has no moves"),
        ("moves: y U R U' R' x", "moves: y U Q", 16, "moves, column 5"),
        ("moves: y U R U' R' x", "moves: ()", 16, "moves"),
        ("held: yellow up, red front", "held: yellow", 15, "is no holding"),
        ("held: yellow up, red front", "held: yellow up, white front", 15, "cannot be held"),
        ("technique: keyhole-corner\nslots", "technique: keyhole\nslots", 22, "is no technique"),
        ("slots: green-red", "slots: green-blue", 23, "has no slot 'blue-green'"),
        ("turns: 5\nclaim", "turns: five\nclaim", 24, "from 1 to 100"),
        ("count: 2\npass: 1", "count: 2\npass: 3", 31, "more than the 2 positions"),
        ("count: 2\npass: 1", "count: 101\npass: 1", 30, "from 1 to 100"),
        ("grade: hard", "grade: nasty", 32, "is no grade"),
        ("focus: keyhole-corner", "focus: shortest", 37, "is no technique"),
        ("count: 1\nfocus", "focus", 35, "solve has no count"),
        ("Read this.", "Read \x07this.", 9, "cannot be shown"),
        ("Read this.", "x" * 2001, 9, "more than 2000"),
        (SMALL, SMALL.split("Read")[0], 0, "has no steps"),
    ],
)
def test_a_lesson_with_a_mistake_is_refused_with_its_line(
    old: str, new: str, line: int, words: str
) -> None:
    assert SMALL.count(old) >= 1
    with pytest.raises(LessonError, match=re.escape(words)) as caught:
        parse_lesson(SMALL.replace(old, new, 1), "small.md", NAMES)
    assert (caught.value.file, caught.value.line) == ("small.md", line)


FALSE_CLAIMS = [
    ("3 turns", "turns: 4"),
    ("fills green-red", "fill"),
    ("by keyhole-edge", "they are"),
    ("keeps all upper-layer pieces", "that stay"),
    ("quickest plain way takes 9 turns", "turns:"),
    ("no plain way", "there is a plain way"),
    ("quicker than plain", "is not so"),
    ("quickest cross takes 7 turns", "is not so"),
    ("ends by aligning", "does not align"),
    ("no such phrase", "no claim that can be checked"),
    ("blue-orange: corner above facing up, edge home", "its pieces"),
    ("then blue-orange: corner above facing up, edge home", "its pieces"),
    ("blue-pink: corner home, edge home", "no slot"),
    ("leaves blue-orange made", "made afterwards"),
]


@pytest.mark.parametrize(("claim", "words"), FALSE_CLAIMS)
def test_a_claim_that_does_not_hold_is_refused_with_its_line(claim: str, words: str) -> None:
    lesson = parse_lesson(SMALL.replace("claim: 4 turns", f"claim: {claim}"), "small.md", NAMES)
    with pytest.raises(LessonError, match=re.escape(words)) as caught:
        check_lesson(lesson, advisor(), "small.md")
    assert caught.value.line == 17


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("slots: green-red", "slots: green-orange", "no keyhole-corner into green-orange"),
        ("turns: 5\n", "turns: 2\n", "5 turns; at most 2"),
        ("3MAX-FHKE-AC76-TQJ9", "225Z-3ZR6-ZPV8-APEB", "no keyhole-corner into green-red"),
    ],
)
def test_a_try_that_cannot_be_done_as_asked_is_refused(old: str, new: str, words: str) -> None:
    lesson = parse_lesson(SMALL.replace(old, new), "small.md", NAMES)
    with pytest.raises(LessonError, match=re.escape(words)) as caught:
        check_lesson(lesson, advisor(), "small.md")
    assert caught.value.line == 20


# Screens, lines, and what is kept.


def test_the_steps_of_a_shipped_lesson_fit_a_terminal_of_80_columns() -> None:
    for name in SHIPPED:
        lesson = shipped_lesson(name, NAMES)
        board = Board(LessonScreen(lesson.title, lesson=lesson.title, keys=True))
        for number, step in enumerate(lesson.steps, 1):
            if isinstance(step, Text):
                board.take(StepBegun(0.0, number, len(lesson.steps), step))
                shown = [line for line in drawn(board.shown, (80, 24)) if line.strip()]
                whole = [line for line in drawn(board.shown, (80, 99)) if line.strip()]
                assert shown == whole, (name, number)


@pytest.mark.thorough
def test_the_screen_of_a_lesson_fits_at_every_size(small_played: Student) -> None:
    board = Board(LessonScreen("A small one", lesson="A small one", keys=True))
    seen = set()
    for news in small_played.told:
        board.take(news)
        if type(news) not in seen or isinstance(news, TryJudged | StepBegun):
            seen.add(type(news))
            # A narrow screen writes the facelets that a wide one draws.
            wrong = wrong_on(board.shown, "q ends")
            assert not [one for one in wrong if not re.search(r": (\[[A-Z]\])+$", one)], news
    assert {StepBegun, StepWalked, TryJudged, DrillJudged, SolveDone, LessonOver} <= seen


def test_a_try_comes_again_until_it_is_as_asked(small_played: Student) -> None:
    judged = [one.amiss for one in small_played.told if isinstance(one, TryJudged)]
    assert len(judged) == 2
    assert "asked was" in judged[0]
    assert judged[1] == ""
    done = [one for one in small_played.told if isinstance(one, StepDone)]
    assert [(one.kind, one.passed, one.made, one.good) for one in done] == [
        ("try", True, 2, 1), ("drill", True, 2, 2), ("solve", True, 1, 1),
    ]  # fmt: skip


def test_news_have_lines_and_objects(small_played: Student) -> None:
    for news in small_played.told:
        assert item_json(news)["event"]
        assert all(len(line) <= 40 or " " not in line.strip() for line in item_lines(news, 40))


def test_a_step_that_is_left_is_not_passed_and_back_leads_back() -> None:
    student, steps = Student(small(), at=2), small().steps
    begun = student.course.begin(0.0)[0]
    assert isinstance(begun, StepBegun)
    for _ in range(6):
        walked = student.course.next(1.0)[-1]
    assert isinstance(walked, StepWalked)
    assert student.course.next(1.0)[0] == StepBegun(1.0, 3, 5, steps[2])
    assert student.course.back(2.0)[0] == StepBegun(2.0, 2, 5, steps[1], begun.shown)
    assert student.course.back(2.0)[0] == StepBegun(2.0, 1, 5, steps[0])
    assert student.course.back(2.0) == []
    while not student.course.over:
        told = student.course.next(3.0)
    assert told[-1] == LessonOver(3.0, "A small one", (3, 4, 5))
    assert student.course.next(4.0) == []


def test_what_was_done_is_kept_and_the_lesson_goes_on_where_it_stopped(tmp_path: Path) -> None:
    file = tmp_path / "small.md"
    # Positions for hard keyholes take seconds to find.
    quick = SMALL.replace("corner\ncount: 2\npass: 1\ngrade: hard", "corner\ncount: 1\npass: 1")
    assert quick != SMALL
    file.write_text(quick, encoding="utf-8")
    lesson = ("lesson", str(file), "--typed", "--person", "Ann")
    done = started(*lesson, text="n")
    assert done.returncode == 0, done.stderr
    assert "step 1 of 5: A small one\n" in done.stdout
    again = started(*lesson, text="n" * 20)
    assert "step 2 of 5: Moves" in again.stdout
    assert "step 1 of 5" not in again.stdout
    assert "Not passed yet: step 3, 4, 5" in " ".join(again.stdout.split())


def test_lessons_are_listed_checked_and_refused(tmp_path: Path) -> None:
    listed = started("lesson").stdout
    assert all(name in listed for name in SHIPPED)
    file = tmp_path / "small.md"
    file.write_text(SMALL.replace("claim: 4 turns", "claim: 5 turns"), encoding="utf-8")
    done = started("lesson", "check", str(file))
    assert done.returncode == 2
    assert "line 17: '5 turns' is not so; turns: 4" in " ".join(done.stderr.split())
    assert "no lesson and no file" in started("lesson", "nothing-like-it").stderr
    file.write_bytes(b"---\xff")
    assert "not UTF-8" in started("lesson", str(file)).stderr


def test_every_phrase_of_a_claim_is_described() -> None:
    form = (TEXTS.parent.parent / "formats/lesson.md").read_text(encoding="utf-8")
    described = re.findall(r"`([^`]+)`", form.split("| phrase |")[1])
    for pattern, words, _ in PHRASES:
        assert any(re.fullmatch(pattern, one) for one in described), pattern
        assert words
    shown = next(step for step in small().steps if isinstance(step, Show))
    assert claims_sentence(shown.claims) == "4 turns."


@pytest.mark.thorough
@pytest.mark.skipif(bool(MISSING), reason=MISSING)
def test_the_hand_out_needs_no_script_and_fits_a_phone(tmp_path: Path, driver: Chrome) -> None:
    file = tmp_path / "hand-out.html"
    file.write_text(lesson_page(shipped_lesson("corner-up", NAMES)), encoding="utf-8")
    sized(driver, 390, 844)
    driver.get(file.as_uri())
    wide = "return document.body.scrollWidth - document.documentElement.clientWidth"
    assert driver.execute_script(wide) <= 0
    assert driver.find_elements("css selector", "svg.position")
    assert not driver.find_elements("css selector", "script, link[rel=stylesheet]")
    ids = driver.execute_script("return [...document.querySelectorAll('[id]')].map(e => e.id)")
    assert len(ids) == len({*ids})
    if AXE.exists():  # tests/test_report.py says how to install it
        driver.execute_script(AXE.read_text(encoding="utf-8"))
        found = driver.execute_async_script(
            "const done = arguments[arguments.length - 1];axe.run().then(r => done(r.violations))"
        )
        assert [(one["id"], one["nodes"][0]["html"]) for one in found] == []
