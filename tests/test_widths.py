"""Every size of terminal: no line is too long, no word or number is cut, the keys are shown."""

from __future__ import annotations

import fcntl
import os
import pty
import random
import re
import shutil
import struct
import sys
import termios
import threading
from contextlib import suppress
from dataclasses import replace
from functools import cache
from io import StringIO
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final
from unittest.mock import patch

import pytest
from advice_check import IN_INSPECTION
from advising import advisor_at
from click.testing import CliRunner
from every_command import commands
from examples import thorough
from review_check import bold_advisor, one_review
from rich.console import Console
from test_screen import followed

from livecube.advice import inspection
from livecube.advice.examples import broken_pairs
from livecube.advice.plan import Plan
from livecube.advice.speaker import (
    Clue,
    Planned,
    Repair,
    Spoken,
    Telling,
    Unsaid,
    Withdrawn,
)
from livecube.cli import _livecube, bars, run
from livecube.composition import radio_benchmark, reviewing
from livecube.composition.items import Staying
from livecube.composition.scrambler import load_scrambler
from livecube.cube.holding import Holding, parse_colour
from livecube.cube.position import SOLVED, apply_turns, inverse_turns
from livecube.drills.beat import BeatJudged, BeatReady, BeatTurned, judged_beat
from livecube.drills.fingers import (
    PATTERNS,
    FingerAsked,
    FingerRound,
    FingersOver,
    FingerTurned,
    Sides,
)
from livecube.drills.news import as_drill
from livecube.drills.place import DrillPlace, case_of
from livecube.drills.screen import BeatScreen, DrillScreen, FingerScreen
from livecube.edges.sinks import Board
from livecube.events import Battery, Gap, HeldAs, LinkChange, Turn
from livecube.history.importing import import_log
from livecube.history.people import People
from livecube.history.store import History
from livecube.practice.loop import Practice, PracticeRules
from livecube.practice.news import PracticeNews
from livecube.practice.screen import PracticeScreen
from livecube.review.again_screen import AgainScreen, BringScreen
from livecube.review.moment import brought
from livecube.review.text import review_lines
from livecube.review.trying import Place, SetUpAsked, Trying
from livecube.search.situation import Situation
from livecube.solves.records import Chance
from livecube.stages.cases import PERMUTATION_SEQUENCES, orientation_classes
from livecube.stages.progress import Turned
from livecube.techniques.registry import TECHNIQUES
from livecube.views.happenings import hint_text, solve_lines
from livecube.views.lines import folded, table_lines
from livecube.views.live_screen import LiveScreen
from livecube.views.written import written_lines

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Iterator, Sequence

    from livecube.advice.advisor import Advisor
    from livecube.advice.inspection import Inspection
    from livecube.advice.rows import Opportunity
    from livecube.advice.speaker import Happening
    from livecube.composition.radio_benchmark import RadioFigures
    from livecube.composition.reviewing import Begun
    from livecube.cube.geometry import Array
    from livecube.drills.fingers import FingerNews
    from livecube.drills.news import DrillNews
    from livecube.review.reviewed import Review

FIXTURES: Final = Path(__file__).parent.parent / "fixtures"
SIZES: Final = ((60, 20), (80, 24), (120, 40))
HUGE: Final = (400, 200)
WIDTHS: Final = [width for width, _ in SIZES]
SCRAMBLE: Final = "R D L2 R F U' L R2 D' R B' U' L U2 B2 U D2 L' F U' F2 B' U' F' D' R F2 U2 R2"
PRINTED: Final = (
    "history",
    "history show 2",
    "people",
    "people add a-name-of-some-length",
    "people move ada bo",
    "people rename ada a-name-of-some-length",
    "people set ada --level bold",
    "people export ada NEW",
    "people forget ada --yes",
    "history show 99",
    "lesson check keyhole-corners",
    "lesson page keyhole-corners NEW.html",
    "task give NEW 3KYP-SG2S-WBJX-U8TB",
    "task progress nothing.json",
    "task take nothing.json",
    f"history import {FIXTURES}",
    "history export NEW.parquet",
    "history tag a-tag-of-some-length 1",
    "history penalty 1 DNF",
    "history delete 4",
    "history undo",
    "history rescue",
    "trends",
    "trends --focus keyhole",
    "trends --since 2050",
    "report NEW.html",
    "archive review nothing --to NEW",
    "archive publish nothing --to NEW",
    f"replay {FIXTURES / 'given-start.jsonl'} --speed max --level bold",
    f"adapt {FIXTURES / 'given-start.jsonl'}",
    "profile",
    "scan --seconds 0.1",
    f"learn --name mine --capture {FIXTURES / 'evening.jsonl'}",
    "mqtt check",
    "mqtt forget",
    "mqtt listen",
    "task offer ada keyhole-corners --as bo",
    "mqtt page NEW.html",
    "simulate NEW.jsonl --seed 1",
    "bench --radio --brief",
    "again 99",
    f"review {FIXTURES / 'evening.jsonl'} --solve 2 --level bold",
    "review --kept 3",
    f"write {FIXTURES / 'evening.jsonl'}",
    "hints FEW",
    "hints MOVES",
    "inspect MOVES --cross white --cross yellow",
    "explain",
    "explain keyhole-corner",
    "hands --table",
    "hands compare ada bo",
    "config",
    "guide",
    "scramble --seed 1",
    "drill due --person ada",
)
"""Commands whose words are printed."""
LONG: Final = (
    *("replay", "history import", "bench", "review", "hands compare", "report", "archive review"),
    *("explain keyhole", "write", "history rescue", "hints MOVES", "inspect", "lesson check"),
)
"""Beginnings of commands that only ``checks/thorough.py`` prints."""
FOR_PROGRAMS: Final = {"completion", "mqtt schema"}
DRAWN: Final = {
    "live",
    "group",
    "practice",
    "again",
    "bring",
    "drill beat",
    "drill fingers",
    "show",
    "task run",
}
"""Commands whose screens are drawn below, together with what they leave on the terminal."""
DIFFERS: Final = {
    "bench": r"\d[\d.]*|-:--:--",
    "history": r"(?<=broken-)\d+-\d+|\d+:\d\d:\d\d|-:--:--",
}
"""By the first word of a command: what differs from run to run."""
BARS: Final = re.compile(r"[█▏▁▂▃▄▅▆▇·━╸╺]+")


def words(lines: Iterable[str]) -> set[str]:
    return {word for line in lines for word in BARS.sub(" ", line).split()}


def unfit(lines: Iterable[str], whole: Iterable[str], width: int) -> list[str]:
    """Lines that are too long, and words that do not occur at unlimited width."""
    told, known = [*lines], words(whole)
    over = [line for line in told if len(line) > width and len(line.split()) > 1]
    return over + sorted(words(told) - known)


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("widths") / "data"
    with History(folder) as history:
        import_log(history, FIXTURES / "evening.jsonl", "ada")
        history.tag([2], "a-tag-of-some-length")
        history.note_chances(2, [Chance(1, "keyhole-corner", "green-orange", False, 400)])
        People(history).change("ada", {"cross": "white yellow", "level": "bold"}, cubes=["Ice"])
    return folder


@pytest.fixture(scope="module", autouse=True)
def computed_once() -> Iterator[None]:
    """A review, an inspection, or the figures of a benchmark, are the same at each width."""
    known: dict[tuple[object, ...], Review] = {}
    inspected: dict[tuple[object, ...], Inspection] = {}
    real, benchmark = reviewing.review_of, radio_benchmark.measure_radio
    real_inspection = inspection.inspect_cross

    def review_of(begun: Begun, advisor: Advisor, *others: Any, **named: Any) -> Review:
        key = begun.start, *begun.of.part.turns, advisor.level
        if key not in known:
            known[key] = real(begun, advisor, *others, **named)
        return known[key]

    def inspect_cross(
        advisor: Advisor, position: Array, face: int, holding: Holding | None = None
    ) -> Inspection:
        key = position.tobytes(), face, holding, advisor.level
        if key not in inspected:
            inspected[key] = real_inspection(advisor, position, face, holding)
        return inspected[key]

    @cache
    def measure_radio(count: int, rate: float) -> RadioFigures:
        return benchmark(advisor_at(), count, rate)

    with (
        patch.object(reviewing, "review_of", review_of),
        patch.object(inspection, "inspect_cross", inspect_cross),
        patch.object(
            radio_benchmark,
            "measure_radio",
            lambda advisor, count, rate, step: measure_radio(count, rate),
        ),
    ):
        yield


def printed(command: str, kept: Path, width: int) -> list[str]:
    """What a command prints on a terminal so wide; a pipe is asked for what has no end."""
    folder = kept.with_name(f"data-{width}")
    shutil.copytree(kept, folder, dirs_exist_ok=True)  # a command may change it
    moves = {"MOVES": SCRAMBLE, "FEW": "R U R'"}
    arguments = [
        moves[word] if word in moves else word.replace("NEW", f"{folder}/{command.split()[0]}")
        for word in command.split()
    ]
    folders = {"LIVECUBE_DATA": str(folder), "LIVECUBE_CONFIG": str(folder), "TERM": "xterm"}
    terminal, ours = pty.openpty()
    fcntl.ioctl(ours, termios.TIOCSWINSZ, struct.pack("HHHH", 24, width, 0, 0))
    told: list[bytes] = []

    def read() -> None:
        with suppress(OSError):
            while got := os.read(terminal, 65536):
                told.append(got)

    reader = threading.Thread(target=read)
    reader.start()
    with (
        open(ours, "w", encoding="utf-8") as out,  # noqa: PTH123 - a terminal has no path
        patch.dict(os.environ, folders | {"COLUMNS": str(width)}),
        patch.object(sys, "stdout", out),
        patch.object(sys, "stderr", out),
        patch.object(sys, "argv", ["livecube", *arguments]),
        patch.object(bars, "LATE_S", 3600.0),  # on a slow machine a bar would be among the lines
        suppress(SystemExit),
    ):
        try:
            run()
        finally:
            out.flush()
    reader.join()
    os.close(terminal)
    shutil.rmtree(folder)
    text = b"".join(told).decode().replace("\r\n", "\n").replace(str(folder), "DATA")
    text = re.sub(r"\x1b\[[\d;?]*[A-Za-z]", "", text)
    return re.sub(DIFFERS.get(command.split()[0], "^$"), "0", text).splitlines()


@pytest.mark.parametrize(
    "command", [thorough(one) if one.startswith(LONG) else one for one in PRINTED]
)
def test_what_is_printed_fits_and_no_word_is_cut(command: str, kept: Path) -> None:
    whole = printed(command, kept, HUGE[0])
    assert unfit(printed(command, kept, WIDTHS[0]), whole, WIDTHS[0]) == []


def test_every_command_is_looked_at_in_this_file() -> None:
    told = {
        name
        for name in commands(_livecube)
        if any(f"{one} ".startswith(f"{name} ") for one in PRINTED)
    }
    assert told | DRAWN | FOR_PROGRAMS == {*commands(_livecube)}


@pytest.mark.parametrize("widths", [WIDTHS[:1], thorough(WIDTHS[1:])], ids=str)
def test_the_help_of_every_command_fits(widths: list[int]) -> None:
    for name in ("", "history", "drill", "mqtt", *commands(_livecube)):
        whole, *others = (
            CliRunner(env={"COLUMNS": str(width)}).invoke(
                _livecube, [*name.split(), "--help"], terminal_width=width
            )
            for width in (HUGE[0], *widths)
        )
        for width, one in zip(widths, others, strict=True):
            assert re.findall(r"[a-z,;:]\.\.\.", one.output) == [], f"{name}: a sentence is cut"
            assert unfit(one.output.splitlines(), whole.output.splitlines(), width) == [], name


def test_a_wide_terminal_loses_no_column_and_a_narrow_one_keeps_what_matters() -> None:
    rows = [("stage", "seconds", "tps", "how"), ("pair green-orange", "12.59", "3.4", "back right")]
    assert table_lines(rows, None, (2,), words=True) == table_lines(rows, 80, (2,), words=True)
    narrow = table_lines(rows, 36, (2,), words=True)
    assert all("pair green-orange" in narrow[1] and "3.4" not in line for line in narrow)
    assert narrow[1].endswith("back")
    assert narrow[2].strip() == "right"
    assert folded(["  one-and-two three"], 12) == ["  one-and-two", "    three"]


@pytest.mark.parametrize("seed", [thorough(0), 11])
def test_solves_reviews_and_written_solves_fit(seed: int) -> None:
    _, of, review = one_review(seed, bold_advisor())
    # The longest possible lines: every technique and slot with a long name.
    splits = tuple(
        replace(s, technique="keyhole-corner", slots=("green-orange",)) if s.slots else s
        for s in of.solve.splits
    )
    solve = replace(of.solve, splits=splits, gap=True)
    for width in WIDTHS:
        assert unfit(solve_lines(solve, width), solve_lines(solve), width) == []
        whole = review_lines(review, "solve 1000")
        assert unfit(review_lines(review, "solve 1000", width), whole, width) == []
        told = written_lines(review.written, 1, width)
        assert unfit(told, written_lines(review.written, 1), width) == []
        turns = " ".join(line.split("//")[0] for line in told).replace("…", " ").split()
        assert turns == review.written.text().replace("…", " ").split()  # they read back


# Screens.


def drawn(shown: object, size: tuple[int, int]) -> list[str]:
    width, height = size
    console = Console(
        width=width, height=height, file=StringIO(), color_system=None, legacy_windows=False
    )
    with console.capture() as captured:
        console.print(shown, end="")
    return captured.get().rstrip("\n").split("\n")


class Screens(dict[tuple[int, int], list[str]]):
    """The lines of a screen at each size, and on an endless one."""


def at_every_size(shown: object) -> Screens:
    """The same screen drawn at each size; nothing new if it is drawn already."""
    return shown if isinstance(shown, Screens) else each_at_every_size([shown])[0]


def each_at_every_size(several: Sequence[object]) -> list[Screens]:
    """Screens drawn at one size after the other: what stays the same is laid out once a size."""
    of_size = {size: [drawn(one, size) for one in several] for size in (*SIZES, HUGE)}
    return [
        Screens(zip(of_size, screens, strict=True))
        for screens in zip(*of_size.values(), strict=True)
    ]


GLYPHS: Final = re.compile(r"[█▀▄▐▌▝▘▗▖▛▜▙▟]+")


def wrong_on(shown: object, keys: str, more: Collection[str] = ()) -> list[str]:
    """What is over or cut on a screen at any size, or whose keys are not where they should be.

    ``more``: words that a narrow screen has, and a wide one has not.
    """
    screens = at_every_size(shown)
    known = {*more} | words(GLYPHS.sub(" ", line) for line in screens[HUGE])
    complaints = []
    for size in SIZES:
        lines = screens[size]
        if len(lines) > size[1]:
            complaints.append(f"{size}: {len(lines)} lines")
        complaints += [f"{size}: {line}" for line in lines if len(line.rstrip()) > size[0]]
        cut = words(GLYPHS.sub(" ", line) for line in lines) - known
        complaints += [f"{size}: {word}" for word in sorted(cut)]
        if keys not in " ".join(lines[-3:]):
            complaints.append(f"{size}: no keys below")
    return complaints


def lost_on(shown: object, told: Iterable[str] | None = None) -> list[str]:
    """The words of ``told``, or of the whole screen without an end, that a size does not show."""
    screens = at_every_size(shown)
    told = screens[HUGE] if told is None else told
    whole = words(GLYPHS.sub(" ", line) for line in told)
    return [
        f"{size}: {word}"
        for size in SIZES
        for word in sorted(whole - words(GLYPHS.sub(" ", line) for line in screens[size]))
    ]


SHORTER: Final = {"holding", "solved"}
"""Words of the keys that a narrow screen has instead of longer ones."""


def hints_in_full(advisor: Advisor) -> Iterator[Happening]:
    """For each technique the hint with the longest sentence, in all ways; then all other news."""
    longest: dict[str, Opportunity] = {}
    rng, row = random.Random(44), None  # a seed with all techniques and long sentences
    for _ in range(6):
        turns = broken_pairs(rng, 4, 4)
        position = apply_turns(SOLVED, Situation.of(SOLVED, 0).fixed(turns))
        for row in advisor.advise(position, 0).opportunities:
            known = longest.get(row.technique)
            if known is None or len(hint_text(row)) > len(hint_text(known)):
                longest[row.technique] = row
    assert row is not None
    assert longest.keys() == {one.id for one in TECHNIQUES} - {*IN_INSPECTION}
    plan = Plan((*{row.slots: row for row in longest.values() if len(row.slots) == 1}.values(),))
    assert len(plan.steps) > 2
    for row in longest.values():
        yield from (Clue(1.0, row, tells) for tells in (Telling.WHERE, Telling.WHAT))
        yield Spoken(2.0, row)
        yield Withdrawn(3.0, row)
    yield Planned(4.0, (plan,))
    rows = sorted(longest.values(), key=lambda row: len(hint_text(row)))
    yield Repair(4.0, rows[-1])
    yield Spoken(5.0, rows[-1], tuple(rows[:3]), inspection=True)
    yield Gap(6.0, 3)
    yield LinkChange(7.0, up=False)
    yield Battery(8.0, 100)
    yield HeldAs(9.0, Holding.of(parse_colour("yellow"), parse_colour("orange")))
    hints = tuple(Spoken(100.0 + n, row) for n, row in enumerate(rows[-3:]))
    yield Unsaid(200.0, hints, hints, 10.0)


@pytest.mark.thorough
def test_the_live_screen_fits_at_every_size() -> None:
    advisor = bold_advisor()
    board = Board(LiveScreen("cube with a long name, by radio"))
    board.change(keys=True)
    _, of, _ = one_review(11, advisor)
    splits = [
        replace(s, technique="keyhole-corner", case=None, seconds=123.45, slots=("green-orange",))
        for s in of.solve.splits
    ]
    staying, seen = Staying(), set()
    told: list[tuple[object, LiveScreen]] = []
    for news in (*followed(advisor), *hints_in_full(advisor)):
        board.take(news)
        staying.take(news)
        seen.add(type(news).__name__)
        if not isinstance(news, Turned) or news.line % 24 == 0:
            told.append((news, board.shown))
    every = each_at_every_size([shown for _, shown in told])
    for (of_what, shown), screens in zip(told, every, strict=True):
        assert wrong_on(screens, "q ends", SHORTER) == [], of_what
        assert lost_on(screens, [line.plain for line in shown.words]) == [], of_what
    assert {"Spoken", "Clue", "Unsaid", "Repair", "StageDone", "SolveOver"} <= seen
    for width in WIDTHS:
        assert unfit(staying.lines(width), staying.lines(HUGE[0]), width) == []
    names = [*orientation_classes()]
    for at, case in enumerate([*names, *PERMUTATION_SEQUENCES]):
        splits[5 if at < len(names) else 6] = replace(
            splits[5], technique=None, case=case, slots=()
        )
        stages = LiveScreen("", splits=tuple(splits)).stages
        assert unfit(drawn(stages, SIZES[0]), drawn(stages, HUGE), SIZES[0][0]) == [], case


def an_evening() -> Iterator[PracticeNews]:
    """News of practice: a scramble, a wrong turn, inspection, a solve, its result."""
    practice, t = Practice(PracticeRules(), load_scrambler(seed=12)), 100.0
    told = [*practice.begin(t)]
    asked = next(one for one in told if isinstance(one, PracticeNews))
    for turn in (*asked.turns[:3], (asked.turns[3] + 3) % 18, (asked.turns[3] + 3) % 18):  # type: ignore[union-attr]
        t += 0.3
        told += practice.feed(Turn(t, turn))
    yield from (one for one in told if isinstance(one, PracticeNews))
    whole, t = Practice(PracticeRules(), load_scrambler(seed=12)), 100.0
    told = [*whole.begin(t)]
    for turn in asked.turns:  # type: ignore[union-attr]
        t += 0.3
        told += whole.feed(Turn(t, turn))
    while (due := whole.due) is not None and len(told) < 80:
        t = due
        told += whole.wake(due)
        if t > 112:
            break
    for turn in inverse_turns(asked.turns):  # type: ignore[union-attr]
        t += 0.3
        told += whole.feed(Turn(t, turn))
    yield from (one for one in told if isinstance(one, PracticeNews))


def test_the_screen_of_practice_fits_at_every_size() -> None:
    board = Board(PracticeScreen("cube with a long name, by radio", lambda: 130.0, keys=True))
    staying, seen = Staying(), set()
    for news in an_evening():
        board.take(news)
        staying.take(news)
        seen.add(type(news).__name__)
        assert wrong_on(board.shown, "q ends") == [], news
    assert seen >= {"ScrambleAsked", "Guided", "InspectionBegun", "SolveStarted", "Judged"}
    for width in WIDTHS:
        assert unfit(staying.lines(width), staying.lines(HUGE[0]), width) == []


@pytest.mark.thorough
def test_the_screens_of_tries_and_drills_fit_at_every_size() -> None:
    turns = broken_pairs(random.Random(4), 3, 4)
    position = apply_turns(SOLVED, Situation.of(SOLVED, 0).fixed(turns))
    row = bold_advisor().at_beginning(position, 0).rows[0]
    case = case_of(Situation.of(position, 0), row)
    plain = Place(position.tobytes(), 0, row)
    drill = DrillPlace(position.tobytes(), 0, row, case, "hidden", 0.2)
    handed_on = brought(bold_advisor(), position, 0)
    title = "Drill: what is due, 8 cases"
    for place, screen in (
        (plain, AgainScreen(title)),
        (handed_on, BringScreen("position 3KYP-SG2S-WBJX-U8TB, orange cross")),
        (drill, DrillScreen(title)),
    ):
        board = Board(screen)
        board.change(keys=True, source="cube with a long name, by radio")
        trying, t = Trying(iter([place, place]), load_scrambler(seed=3).to), 0.0
        told = [*trying.begin(t)]
        asked = told[0]
        assert isinstance(asked, SetUpAsked)
        for turn in ((asked.turns[0] + 3) % 18, (asked.turns[0] + 3) % 18):
            told += trying.feed(Turn(t, turn))
        trying = Trying(iter([place, place]), load_scrambler(seed=3).to)
        told += trying.begin(t)
        for turn in asked.turns:
            t += 0.3
            told += trying.feed(Turn(t, turn))
        told += trying.show(t)
        t += 2.0
        for turn in place.row.turns_fixed:
            t += 0.3
            told += trying.feed(Turn(t, turn))
        shown = []
        for news in told:
            board.take(as_drill(news))
            shown.append(board.shown)
        for news, screens in zip(told, each_at_every_size(shown), strict=True):
            assert wrong_on(screens, "q ends") == [], news
            assert lost_on(screens) == [], news


@pytest.mark.thorough
def test_the_screens_of_fingers_and_beat_fit_at_every_size() -> None:
    source = "cube with a long name, by radio"
    fingers = Board(FingerScreen("Ring fingers: 12 rounds"))
    beat = Board(BeatScreen("To a beat of 2.5 turns a second"))
    pattern = PATTERNS[-1]
    slow = [(q, 1.0 + 0.9 * (n % 2)) for n, q in enumerate(pattern.quarters)]
    rounds = [FingerRound(float(n), n, pattern, tuple(slow), 12) for n in range(1, 13)]
    told: list[FingerNews] = []
    for one in rounds:
        told.append(FingerAsked(one.t, one.number, 12, pattern))
        told += [FingerTurned(one.t, one.number, 1, slip=True), one]
    told.append(FingersOver(20.0, tuple(rounds), Sides(1.234, 2.345, differ=True)))
    slots = ("green-orange", "green-red", "blue-orange", "blue-red")
    stages = ["cross", *(f"pair {slot}" for slot in slots), "orient", "permute", "auf"]
    turns = [(0.4 * n + 0.37 * (n % 3) + n // 9, stages[n // 12]) for n in range(96)]
    result = judged_beat(turns, 2.5)
    position = SOLVED.tobytes()
    beats: list[DrillNews] = [
        BeatReady(0.0, 2.5, position),
        BeatTurned(1.0, 123, position),
        BeatJudged(9.0, result),
    ]
    news: Sequence[DrillNews]
    for board, news in ((fingers, told), (beat, beats)):
        board.change(keys=True, source=source)
        for item in news:
            board.take(item)
            screens = at_every_size(board.shown)
            assert wrong_on(screens, "q ends") == [], item
            staying = Staying()
            staying.take(item)
            for width in WIDTHS:
                assert unfit(staying.lines(width), staying.lines(HUGE[0]), width) == [], item
            if board is beat or isinstance(item, FingersOver):
                assert lost_on(screens) == [], item
