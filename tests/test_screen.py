"""A drawing thread always sees the value of one moment, whatever the loop does meanwhile."""

from __future__ import annotations

import io
import os
import pty
import subprocess
import sys
import threading
import time
from dataclasses import fields
from itertools import repeat
from typing import TYPE_CHECKING, Any

import pytest
from advising import advisor_at
from examples import thorough
from forked import Forked
from rich.console import Console

from livecube.advice.speaker import Manner
from livecube.composition.pipeline import Pipeline
from livecube.cube.geometry import FACES
from livecube.cube.notation import parse_turns
from livecube.cube.position import SOLVED, SOLVED_BYTES, apply_turns, make_turn
from livecube.drills.beat import BeatJudged, BeatReady, BeatTurned, judged_beat
from livecube.drills.fingers import FingerDrill
from livecube.drills.screen import BeatScreen, DrillScreen, FingerScreen
from livecube.edges.sinks import Board
from livecube.events import CubeEvent, Reset, State, Turn
from livecube.practice.loop import Practice, PracticeRules
from livecube.practice.screen import PracticeScreen
from livecube.review.again_screen import AgainScreen
from livecube.review.trying import Place, Trying, TryTurned
from livecube.scrambling.path import ScramblePath
from livecube.stages.tracker import Tracker
from livecube.views.live_screen import LiveScreen
from livecube.virtual.session import session

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from types import FrameType

    from livecube.advice.advisor import Advisor


REPLAYS = {"live": 40}
"""By screen; 24 for the others. ``checks/screen_check.py`` draws more."""
SCREENS: dict[str, Callable[[], Board[Any]]] = {
    "live": lambda: Board(LiveScreen("a cube")),
    "practice": lambda: Board(PracticeScreen("a cube", lambda: 7.0)),
    "again": lambda: Board(AgainScreen("again")),
    "drill": lambda: Board(DrillScreen("drill")),
    "fingers": lambda: Board(FingerScreen("fingers")),
    "beat": lambda: Board(BeatScreen("beat")),
}


@pytest.fixture(scope="module")
def told() -> dict[str, list[Any]]:
    """The news for each screen."""
    advisor = advisor_at()
    live = followed(advisor)
    return {
        "live": live,
        "practice": [*practised(), *live[:80]],
        "again": tried(advisor),
        "drill": tried(advisor),
        "fingers": stroked(),
        "beat": [
            BeatReady(0.0, 1.0, SOLVED_BYTES),
            *(
                BeatTurned(float(n), n, apply_turns(SOLVED, parse_turns("R U F")[:n]).tobytes())
                for n in range(1, 4)
            ),
            BeatJudged(4.0, judged_beat([(0.0, "cross"), (1.3, "pair blue-red")], 1.0)),
        ],
    }


def followed(advisor: Advisor) -> list[Any]:
    """A solve, then the statement of another position."""
    solve = session(25, 1, on_cube=False)
    pipeline = Pipeline(Tracker(), lambda: 0.0, Manner())
    pipeline.advisor = advisor
    events: list[CubeEvent] = [State(0.0, apply_turns(SOLVED, solve.scramble).tobytes())]
    events += [Turn(turn.t, turn.turn) for turn in solve.turns]
    news = [one for event in events for one in pipeline.feed(event)]
    again = [one for event in events[:30] for one in pipeline.feed(event)]
    return [*news, *again, *pipeline.feed(Reset(90.0)), *pipeline.finish()]


class Scrambler:
    """Always gives the same scramble."""

    def new(self, start: bytes = SOLVED_BYTES) -> ScramblePath:
        return ScramblePath(start, parse_turns("R U F"))

    def to(self, start: bytes, target: bytes) -> ScramblePath:
        return ScramblePath(start, parse_turns("R U F"))


def practised() -> list[Any]:
    practice = Practice(PracticeRules(), Scrambler())
    outcomes = [*practice.begin(0.0)]
    for t, turn in enumerate(parse_turns("R U L L' F"), start=1):
        outcomes += practice.feed(Turn(t / 4, turn))
    while (due := practice.due) is not None and due < 12:
        outcomes += practice.wake(due)
    for t, turn in enumerate(parse_turns("F' U' R'"), start=50):
        outcomes += practice.feed(Turn(t / 4, turn))
    outcomes += practice.wish("penalty", 14.0)
    outcomes += practice.wish("discard", 15.0)
    return [one for one in outcomes if not isinstance(one, CubeEvent)]


def tried(advisor: Advisor) -> list[Any]:
    """The set-up of a pair with a wrong turn, and a try."""
    out = parse_turns("R U R'")
    position = apply_turns(SOLVED, out).tobytes()
    face = FACES.index("D")
    row = advisor.advise(apply_turns(SOLVED, out), face).opportunities[0]
    place = Place(position, face, row)
    trying = Trying(repeat(place), lambda start, target: ScramblePath(start, out))
    news = [*trying.begin(0.0)]
    for t, turn in enumerate(parse_turns("R L L' U R'"), start=1):
        news += trying.feed(Turn(t / 4, turn))
    for t, turn in enumerate(row.turns_fixed, start=10):
        news += trying.feed(Turn(float(t), turn))
    return [*news, *trying.give_up(30.0)]


def stroked() -> list[Any]:
    drill = FingerDrill(1)
    bottom = FACES.index("D")
    turns = enumerate([1, *[3] * 8], start=1)
    return [
        *drill.begin(0.0),
        *(one for n, q in turns for one in drill.feed(Turn(n / 5, make_turn(bottom, q)))),
    ]


def drawn(shown: object) -> str:
    out = io.StringIO()
    Console(file=out, width=80, height=24, force_terminal=True).print(shown)
    return out.getvalue()


def dawdle(frame: FrameType, event: str, argument: object) -> Any:
    """A trace function that lets other threads run before each line of a view."""
    if "/views/" not in frame.f_code.co_filename:
        return None
    if event == "line":
        time.sleep(0)
    return dawdle


@pytest.mark.parametrize("name", [one if one == "drill" else thorough(one) for one in SCREENS])
def test_drawing_beside_replays_at_full_speed_never_meets_half_a_change(
    name: str, told: dict[str, list[Any]]
) -> None:
    board = SCREENS[name]()
    over = threading.Event()
    frames: list[str | Exception] = []

    def draw() -> None:
        sys.settrace(dawdle)
        while not over.is_set():
            try:
                frames.append(drawn(board.shown))
            except Exception as fault:
                frames.append(fault)

    thread = threading.Thread(target=draw)
    thread.start()
    try:
        replay(board, told[name], REPLAYS.get(name, 24))
    finally:
        over.set()
        thread.join()
    assert frames
    assert not [fault for fault in frames if isinstance(fault, Exception)]


def replay(board: Board[Any], news: Sequence[Any], times: int) -> None:
    for _ in range(times):
        for one in news:
            board.take(one)
            time.sleep(0)


@pytest.mark.parametrize("name", [one if one == "drill" else thorough(one) for one in SCREENS])
def test_what_was_handed_over_is_drawn_the_same_whenever(
    name: str, told: dict[str, list[Any]]
) -> None:
    board = SCREENS[name]()
    kept = []
    for news in told[name]:
        board.take(news)
        kept.append((board.shown, drawn(board.shown)))
    assert len({text for _, text in kept}) > 2
    assert all(drawn(shown) == text for shown, text in kept)


def test_drawings_have_nothing_else_to_change(told: dict[str, list[Any]]) -> None:
    for make in SCREENS.values():
        shown = make().shown
        for field in fields(shown):
            with pytest.raises(AttributeError):
                setattr(shown, field.name, None)
            assert not isinstance(getattr(shown, field.name), list | dict | set)


def test_time_runs_and_the_cube_moves_in_a_try(told: dict[str, list[Any]]) -> None:
    turned = [one for one in told["again"] if isinstance(one, TryTurned)]
    assert turned
    board = Board(AgainScreen("again", now=lambda: turned[0].began + 12.34))
    pictures = []
    for one in told["again"]:
        board.take(one)
        shown = drawn(board.shown)
        assert ("12.3 s" in shown) is isinstance(one, TryTurned)
        pictures += [shown] if isinstance(one, TryTurned) else []
    assert len(set(pictures)) == len(turned)
    assert turned[0].position not in (SOLVED_BYTES, told["again"][0].place.position)


BROKEN = """
from livecube.views.live_screen import LiveScreen

def broken(self, width):
    raise ValueError("no such colour")

LiveScreen._head = broken
from livecube.cli import main
main()
"""


def test_an_error_while_drawing_ends_the_program_with_one_sentence() -> None:
    ours, theirs = pty.openpty()
    with Forked(
        [sys.executable, "-c", BROKEN, "live", "--simulated", "--seed", "1", "--no-hints"],
        stdin=subprocess.DEVNULL, stdout=theirs, stderr=subprocess.PIPE, text=True,
    ) as run:  # fmt: skip
        _, said = run.communicate(timeout=300)
    os.close(theirs)
    os.close(ours)
    assert run.returncode == 1
    assert said.startswith("livecube: the screen cannot be drawn (ValueError: no such col")
    assert len(said.splitlines()) == 1
