"""Fingers and beat with values worked out by hand; the scheduler; stored drills."""

from __future__ import annotations

import asyncio
import json
import os
import signal
import sqlite3
import subprocess
import sys
import time
from datetime import UTC, datetime, timedelta
from io import StringIO
from typing import TYPE_CHECKING, Any

import pytest
from click.testing import CliRunner
from examples import part_of
from forked import Forked
from hypothesis import given
from hypothesis import strategies as st
from rich.console import Console

from livecube.cli.drill import drill as command
from livecube.composition.scrambler import load_scrambler
from livecube.cube.notation import parse_turns
from livecube.cube.position import SOLVED, SOLVED_BYTES, apply_turns, inverse_turns, make_turn
from livecube.drills.beat import BeatJudged, BeatReady, BeatSession, BeatTurned, judged_beat
from livecube.drills.fingers import (
    LEFT,
    PATTERNS,
    RIGHT,
    FingerAsked,
    FingerDrill,
    FingerRound,
    FingersOver,
    FingerTurned,
)
from livecube.drills.history import DrillBook
from livecube.drills.judging import HOW_WELL
from livecube.drills.scheduling import after_drill
from livecube.drills.screen import BeatScreen, FingerScreen
from livecube.drills.text import beat_lines, drill_json, drill_line, fingers_sentence, span_text
from livecube.drills.ticking import BeatSink
from livecube.edges.sinks import Board
from livecube.events import Reset, Turn
from livecube.history.database import open_database
from livecube.history.schema import MIGRATIONS
from livecube.history.store import DATABASE, History
from livecube.review.trying import SETTLE_S, SetUpAsked, SetUpGuided, TryGivenUp
from livecube.scrambling.path import ScramblePath
from livecube.views.picture import Picture

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from livecube.drills.fingers import FingerNews

BOTTOM = 5
NOW = datetime(2026, 3, 1, 18, 0, tzinfo=UTC)


# Fingers.


def strokes(drill: FingerDrill, t: float, quarters: Sequence[int], gaps: Sequence[float]) -> float:
    """Make these turns with these gaps in seconds; returns the time of the last one."""
    for made, gap in zip(quarters, gaps, strict=True):
        t += gap
        TOLD.extend(drill.feed(Turn(t, make_turn(BOTTOM, made))))
    return t


TOLD: list[FingerNews] = []


@pytest.fixture(autouse=True)
def nothing_told() -> None:
    TOLD.clear()


def test_speed_and_evenness_by_hand() -> None:
    drill = FingerDrill(3)
    TOLD.extend(drill.begin(0.0))
    left, right, both = (pattern.quarters for pattern in PATTERNS)
    t = strokes(drill, 0.0, left, [5.0, 0.2, 0.2, 0.2, 0.2, 0.2, 0.2, 0.2])
    t = strokes(drill, t, right, [5.0, 0.2, 0.4, 0.2, 0.4, 0.2, 0.4, 0.3])
    strokes(drill, t, both, [5.0, 0.1, 0.3, 0.1, 0.3, 0.1, 0.3, 0.1])
    rounds = [one for one in TOLD if isinstance(one, FingerRound)]
    assert [one.pattern.name for one in rounds] == ["left", "right", "both in turn"]
    assert [one.mean_s for one in rounds] == pytest.approx([0.2, 0.3, 1.3 / 7])
    # Seven times: 0.2 0.4 0.2 0.4 0.2 0.4 0.3; squares from the mean sum up to 6 · 0.01.
    assert [one.evenness for one in rounds][:2] == pytest.approx([0.0, 0.1 / 0.3], abs=1e-9)
    assert [made for made, _ in rounds[2].intervals] == [RIGHT, LEFT] * 3 + [RIGHT]
    over = TOLD[-1]
    assert isinstance(over, FingersOver)
    assert over.sides is not None
    assert (over.sides.left_s, over.sides.right_s) == pytest.approx((0.2, 0.3))
    assert over.sides.differ  # 0.1 s, and the standard error is 0.1 / √7
    assert "right ring finger is slower by 50 %" in fingers_sentence(over.sides)
    assert drill.over
    assert drill.feed(Turn(99.0, 15)) == []


def test_a_slip_counts_no_time_and_a_turn_too_many_nothing() -> None:
    drill = FingerDrill(2)
    TOLD.extend(drill.begin(0.0))
    t = strokes(drill, 0.0, [LEFT] * 3, [3.0, 0.2, 0.2])
    t = strokes(drill, t, [RIGHT], [0.2])  # a slip
    t = strokes(drill, t, [LEFT] * 5, [0.9, 0.2, 0.2, 0.2, 0.2])
    (done,) = [one for one in TOLD if isinstance(one, FingerRound)]
    assert done.slips == 1
    assert done.seconds == pytest.approx([0.2] * 6)  # the time around the slip is left out
    assert strokes(drill, t, [LEFT], [0.3])  # too many: it is no slip of the next round
    assert any(isinstance(one, FingerAsked) and one.number == 2 for one in TOLD)
    drill.feed(Turn(t + 5, make_turn(0, RIGHT)))  # another layer is a slip
    TOLD.extend(drill.feed(Turn(t + 6, make_turn(BOTTOM, 2))))  # and so is a half turn
    assert TOLD[-1] == FingerTurned(t + 6, 2, 0, slip=True)


def test_no_difference_is_told_from_noise() -> None:
    drill = FingerDrill(2)
    TOLD.extend(drill.begin(0.0))
    t = strokes(drill, 0.0, [LEFT] * 8, [3.0, 0.2, 0.3, 0.2, 0.3, 0.2, 0.3, 0.2])
    strokes(drill, t, [RIGHT] * 8, [3.0, 0.3, 0.2, 0.3, 0.2, 0.3, 0.2, 0.3])
    over = TOLD[-1]
    assert isinstance(over, FingersOver)
    assert over.sides is not None
    assert not over.sides.differ
    assert "no significant difference" in fingers_sentence(over.sides)


# The beat.


@given(st.integers(5, 60), st.floats(0.3, 3.0), st.floats(0.0, 50.0), st.integers(2, 100))
def test_whoever_keeps_the_beat_misses_none(
    turns: int, tempo: float, late: float, seed: int
) -> None:
    """For any constant delay between a beat and its turn."""
    kept = judged_beat([(late + k / tempo, "cross") for k in range(turns)], tempo)
    assert (kept.missed, kept.empty) == (0, 0)
    at = seed % (turns - 1) + 1
    paused = judged_beat(
        [(late + (k + 2 * (k >= at)) / tempo, "cross") for k in range(turns)], tempo
    )
    assert (paused.missed, paused.empty) == (0, 2)
    assert [(one.number, one.empty) for one in paused.longest_pauses] == [(at + 1, 2)]


def test_missed_beats_by_hand() -> None:
    times = [0.0, 1.0, 2.4, 3.0, 3.1, 5.0, 6.0, 9.0, 10.0, 11.0]
    stages = ["cross"] * 4 + ["pair blue-red"] * 6
    result = judged_beat(list(zip(times, stages, strict=True)), 1.0)
    # 2.4 is late by 0.4; 3.1 has the beat of 3.0; beats 4, 7 and 8 are empty.
    assert [one.number for one in result.turns if one.missed] == [3, 5]
    assert [(one.number, one.empty) for one in result.turns if one.empty] == [(6, 1), (8, 2)]
    assert [(one.stage, one.turns, one.missed, one.empty) for one in result.stages] == [
        ("cross", 4, 1, 0),
        ("pair blue-red", 6, 1, 3),
    ]
    assert "2 empty before turn 8 (pair blue-red)" in beat_lines(result)[-1]


def scrambled_session() -> tuple[BeatSession, bytes, list[int]]:
    turns = parse_turns("R U R' U' F2 D L2 B")
    scrambled = apply_turns(SOLVED, turns).tobytes()
    session = BeatSession(2.0, scrambled, lambda a, b: ScramblePath(a, path(a, b)))
    return session, scrambled, list(turns)


def as_text(shown: Any) -> str:
    console = Console(width=90, height=30, file=StringIO(), record=True)
    console.print(shown)
    return "\n".join(line.rstrip() for line in console.export_text().splitlines())


def path(start: bytes, end: bytes) -> Sequence[int]:
    return load_scrambler(seed=1).to(start, end).turns


def test_a_solve_to_a_beat() -> None:
    session, scrambled, turns = scrambled_session()
    (asked,) = session.begin(0.0)
    assert isinstance(asked, SetUpAsked)
    told = [one for k, turn in enumerate(asked.turns) for one in session.feed(Turn(k * 0.3, turn))]
    assert isinstance(told[-1], BeatReady)
    assert told[-1].position == scrambled
    board: Board[Any] = Board(BeatScreen("slowly"))
    board.take(told[-1])
    began = told[-1].t + 3.0
    # A half turn in two quarters, quickly, is one turn; a turn comes two beats late.
    back = inverse_turns(turns)
    news = []
    t = began
    for number, turn in enumerate(back):
        t = began + 0.5 * (number + 2 * (number >= 4))
        if turn % 3 == 1:
            news += session.feed(Turn(t - 0.05, turn - 1))
            news += session.feed(Turn(t + 0.05, turn - 1))
        else:
            news += session.feed(Turn(t, turn))
    judged = news[-1]
    assert isinstance(judged, BeatJudged)
    assert session.over
    # The screen shows the cube as it is turned, also when a beat falls; at last it is solved.
    turned = [one for one in news if isinstance(one, BeatTurned)]
    assert len({one.position for one in turned}) == len(turned)
    assert turned[-1].position == SOLVED_BYTES
    for one in turned:
        board.take(one)
        for shown in (board.shown, board.shown.after_beat()):
            assert as_text(Picture(one.position)) in as_text(shown)
    assert len(judged.result.turns) == len(back)
    assert (judged.result.missed, judged.result.empty) == (0, 2)
    assert judged.result.stages[0].stage == "cross"
    assert {one.stage.split()[0] for one in judged.result.stages} >= {"cross", "pair"}
    assert scrambled != SOLVED_BYTES


def test_a_solve_that_is_broken_off_is_judged_as_far_as_it_came() -> None:
    session, _, turns = scrambled_session()
    (asked,) = session.begin(0.0)
    assert isinstance(asked, SetUpAsked)
    for k, turn in enumerate(asked.turns):
        session.feed(Turn(k * 0.3, turn))
    back = inverse_turns(turns)
    for number, turn in enumerate(back[:3]):
        session.feed(Turn(10 + 0.5 * number, turn))
    assert session.finish() == []  # too few to judge
    for number, turn in enumerate(back[3:6], start=3):
        session.feed(Turn(11 + 0.5 * number, turn))
    (judged,) = session.finish()
    assert isinstance(judged, BeatJudged)
    assert not judged.solved
    assert (len(judged.result.turns), judged.result.missed, judged.result.empty) == (6, 0, 2)
    assert sum(one.turns for one in judged.result.stages) == 6
    assert "after" not in {one.stage for one in judged.result.stages}
    assert "Stopped early. 0 of 6 turns" in (drill_line(judged) or "")
    assert (session.finish(), session.over) == ([], True)


def test_a_round_of_which_nothing_counts_has_no_figures() -> None:
    none = FingerRound(9.0, 1, PATTERNS[0], (), 3)
    assert (none.mean_s, none.evenness) == (None, None)
    one = FingerRound(9.0, 1, PATTERNS[0], ((LEFT, 0.2),), 0)
    assert (one.mean_s, one.evenness) == (0.2, None)


def test_whole_rounds_count_when_the_rest_is_broken_off() -> None:
    drill = FingerDrill(3)
    TOLD.extend(drill.begin(0.0))
    assert drill.finish() == []
    t = strokes(drill, 0.0, [LEFT] * 8, [3.0, *[0.2] * 7])
    strokes(drill, t, [RIGHT] * 3, [3.0, 0.2, 0.2])
    (over,) = drill.finish()
    assert isinstance(over, FingersOver)
    assert [one.pattern.name for one in over.rounds] == ["left"]
    assert (over.sides, drill.finish()) == (None, [])


@pytest.mark.parametrize("end", part_of(["q", "", "interrupt"], 3))
def test_who_has_had_enough_of_the_beat_is_told_and_it_is_kept(tmp_path: Path, end: str) -> None:
    """By a key, by the end of the input, by Ctrl-C."""
    with Forked(
        [sys.executable, "-m", "livecube", "drill", "beat", "--typed", "--seed", "4", "--json"],
        env=os.environ | {"LIVECUBE_DATA": str(tmp_path)},
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as run:
        assert run.stdin is not None
        assert run.stdout is not None
        told = map(json.loads, run.stdout)
        run.stdin.write(next(told)["moves"] + "\n")
        run.stdin.flush()
        assert next(one for one in told if one["event"] == "beat-ready")
        time.sleep(SETTLE_S + 0.1)
        run.stdin.write("R U F L D B" + ("q" if end == "q" else "\n"))
        run.stdin.flush()
        if end == "interrupt":
            assert next(one for one in told if one.get("number") == 6)
            run.send_signal(signal.SIGINT)
        elif not end:
            run.stdin.close()
        *_, last = told
    assert (last["event"], last["solved"], last["turns"]) == ("beat-judged", False, 6)
    with History(tmp_path) as history:
        ((figures,),) = history.database.execute("SELECT figures FROM drill_round").fetchall()
    assert json.loads(figures) == last


def test_a_cube_that_is_declared_solved_is_scrambled_anew() -> None:
    session, _, _ = scrambled_session()
    (asked,) = session.begin(0.0)
    assert isinstance(asked, SetUpAsked)
    (guided,) = session.feed(Turn(0.1, asked.turns[0]))
    assert isinstance(guided, SetUpGuided)
    for k, turn in enumerate(asked.turns[1:]):
        session.feed(Turn(1 + k * 0.1, turn))
    given_up, again = session.feed(Reset(9.0))
    assert isinstance(given_up, TryGivenUp)
    assert isinstance(again, SetUpAsked)
    assert again.turns == asked.turns


async def test_ticks_begin_and_end() -> None:
    ticks: list[float] = []
    enough = asyncio.Event()
    loop = asyncio.get_running_loop()

    def tick() -> None:
        ticks.append(loop.time())
        if len(ticks) == 4:
            enough.set()

    sink = BeatSink(tick, loop.time)
    await sink.take(BeatReady(0.0, 100.0, SOLVED_BYTES))
    async with asyncio.timeout(300):
        await enough.wait()
    result = judged_beat([(0.0, "cross"), (1.0, "cross")], 1.0)
    await sink.take(BeatJudged(1.0, result))
    count = len(ticks)
    await asyncio.sleep(0.05)
    assert len(ticks) == count
    await sink.close()


# The scheduler.


def test_what_was_missed_comes_before_what_was_fluent() -> None:
    dues = [after_drill(None, "plain", "a", how, NOW).due - NOW for how in HOW_WELL]
    # The published defaults: again 1 minute, hard 5.5, good 10, easy 8 days.
    assert dues[0] == timedelta(minutes=1)
    assert dues[2] == timedelta(minutes=10)
    assert dues == sorted(dues)
    assert dues[3] >= timedelta(days=1)


@given(st.lists(st.tuples(st.sampled_from(HOW_WELL), st.integers(0, 40)), max_size=12))
def test_the_scheduler_is_deterministic_and_never_looks_back(
    history: list[tuple[str, int]],
) -> None:
    cards = []
    for _ in range(2):
        card, now = None, NOW
        for how_well, days in history:
            now += timedelta(days=days, minutes=3)
            card = after_drill(card, "plain", "a", how_well, now)
            assert card.due > now
        cards.append(card)
    assert cards[0] == cards[1]


def test_spans_are_told_in_the_unit_that_fits() -> None:
    spans = [timedelta(seconds=20), timedelta(minutes=10), timedelta(hours=5), timedelta(days=8)]
    assert [span_text(span) for span in spans] == ["1 minute", "10 minutes", "5 hours", "8 days"]


# What is kept.


def test_a_history_of_the_first_version_gets_drills_and_keeps_its_solves(tmp_path: Path) -> None:
    old = sqlite3.connect(tmp_path / DATABASE)
    for statement in MIGRATIONS[0].split(";"):
        old.execute(statement)
    old.execute("INSERT INTO person (name) VALUES ('ann')")
    old.execute("PRAGMA user_version = 1")
    old.commit()
    old.close()
    open_database(tmp_path / DATABASE).close()
    with History(tmp_path) as history:
        assert history.people() == ["ann"]
        book = DrillBook(history, "ann")
        assert (book.known(), list(book.cards())) == (frozenset(), [])
        book.keep_round("beat", {"missed": 3}, NOW)
        kept = history.database.execute("SELECT kind, figures FROM drill_round").fetchall()
        assert kept == [("beat", '{"missed": 3}')]


def test_rounds_by_a_virtual_solver_are_told_and_kept(tmp_path: Path) -> None:
    for arguments, last in (
        (("fingers", "--rounds", "2"), "fingers-done"),
        (("beat", "--tempo", "2", "--silent"), "beat-judged"),
    ):
        done = CliRunner().invoke(
            command,
            [*arguments, *"--simulated --speed 300 --seed 2 --person ann --json".split()],
            env={"LIVECUBE_DATA": str(tmp_path)},
        )
        assert done.exception is None
        rows = [json.loads(line) for line in done.stdout.splitlines()]
        assert rows[-1]["event"] == last
    with History(tmp_path) as history:
        kept = history.database.execute("SELECT kind, figures FROM drill_round").fetchall()
    assert [kind for kind, _ in kept] == ["fingers", "beat"]
    fingers, beat = (json.loads(figures) for _, figures in kept)
    assert fingers["left_ms"] < fingers["right_ms"]  # the right ring finger is slower
    assert 0 < beat["turns"] == len(beat["off_ms"])
    assert beat["missed"] < beat["turns"] / 4


def test_all_rounds_have_words_and_pictures() -> None:
    drill = FingerDrill(1)
    TOLD.extend(drill.begin(0.0))
    strokes(drill, 0.0, [RIGHT, *[LEFT] * 8], [1.0, *[0.2] * 8])
    board: Board[Any] = Board(FingerScreen("caution"))
    result = judged_beat([(0.0, "cross"), (1.3, "pair blue-red"), (4.0, "orient")], 1.0)
    beats: Board[Any] = Board(BeatScreen("slowly"))
    shown = []
    for where, news in [
        *((board, one) for one in TOLD),
        (beats, BeatReady(0.0, 1.0, SOLVED_BYTES)),
        (beats, BeatJudged(4.0, result)),
    ]:
        where.take(news)
        told = drill_json(news)
        assert json.loads(json.dumps(told)) == told
        drill_line(news)
        shown.append(as_text(where.shown))
    assert "begin when you like" in shown[0]
    assert "Wrong turn" in shown[1]
    assert "caution" in shown[0]
    assert "missed their beat" in shown[-1]
