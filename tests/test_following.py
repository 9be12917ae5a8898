"""Following a cube live: alarms, answers and keys between its turns, and the screen."""

from __future__ import annotations

import asyncio
import io
import json
import subprocess
import sys
import threading
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest
from advising import advisor_at
from rich.console import Console

from livecube.advice.advisor import Advisor
from livecube.advice.speaker import (
    STEP_S,
    Adjusted,
    Clue,
    Manner,
    Planned,
    Repair,
    Spoken,
    Taken,
    Unsaid,
    Withdrawn,
)
from livecube.advice.words import Level
from livecube.composition.following import CubeFollower, Hub
from livecube.composition.items import item_json
from livecube.composition.keyboard import Keyboard
from livecube.composition.pipeline import Pipeline
from livecube.composition.preparing import is_preparing, prepared
from livecube.composition.run import run_in_order
from livecube.cube.geometry import FACES, OPPOSITE
from livecube.cube.holding import Move
from livecube.cube.notation import moves_text, parse_turns
from livecube.cube.position import SOLVED, apply_turns
from livecube.edges.cache import load_openings
from livecube.edges.sinks import Board, JsonSink
from livecube.errors import UsageError
from livecube.events import (
    Battery,
    ClockAccount,
    CubeEvent,
    DeviceInfo,
    Gap,
    HeldAs,
    LinkChange,
    Reset,
    State,
    Turn,
)
from livecube.search.answers import Answers
from livecube.stages.progress import Resynced, SolveBegun, SolveOver, StageDone, Turned
from livecube.stages.tracker import Tracker
from livecube.techniques.registry import TECHNIQUES
from livecube.views.happenings import happening_json, happening_line
from livecube.views.live_screen import LiveScreen, plan_line
from livecube.virtual.session import session

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Callable

    from livecube.advice.speaker import Happening
    from livecube.edges.sinks import Item

SOLVE = session(34, 1, on_cube=False)
START = bytes(apply_turns(SOLVED, SOLVE.scramble).tolist())
TURNS: list[CubeEvent] = [Turn(turn.t, turn.turn) for turn in SOLVE.turns]
HURRY = 200.0


class Desk:
    """A follower with one sink that keeps everything."""

    name = "desk"

    def __init__(self, manner: Manner, level: Level = Level.CALM) -> None:
        self.items: list[Item] = []
        self.pipeline = Pipeline(Tracker(), lambda: 0.0, manner)
        self.pipeline.advisor = advisor_at(level)
        self.hub = Hub([self])
        self.follower = CubeFollower(self.pipeline, self.hub, HURRY)
        self.follower.refiner.begin(self.pipeline.advisor.twin())

    async def take(self, item: Item) -> None:
        self.items.append(item)

    async def close(self) -> None:
        pass

    def of(self, kind: type) -> list[Item]:
        return [item for item in self.items if isinstance(item, kind)]

    async def until(self, condition: Callable[[], object]) -> None:
        async with asyncio.timeout(300):
            while not condition():  # noqa: ASYNC110 - a thread and a timer are waited for
                await asyncio.sleep(0.005)

    async def follow(self, events: AsyncIterator[CubeEvent]) -> None:
        async with self.hub, asyncio.TaskGroup() as tasks:
            refining = tasks.create_task(self.follower.refiner.run())
            await self.follower.follow(events)
            self.follower.finish()
            refining.cancel()


async def test_a_cube_that_stands_scrambled_is_looked_at_and_told_of_by_clues() -> None:
    desk = Desk(Manner(clues_s=STEP_S), Level.KEEN)

    async def events() -> AsyncIterator[CubeEvent]:
        yield State(0.0, START)
        await desk.until(lambda: desk.of(Spoken))  # two steps later, by the alarm
        for turn in TURNS[:2]:
            yield turn

    await desk.follow(events())
    told = [item for item in desk.items if isinstance(item, Clue | Spoken)]
    assert [type(item) for item in told[:3]] == [Clue, Clue, Spoken]
    assert len({item.opportunity for item in told[:3]}) == 1
    assert told[0].opportunity.technique == "x-cross"


async def test_a_better_advisor_answers_again_until_the_cube_is_turned() -> None:
    """A first start: the fastest cross is found at once, an X-cross later."""
    desk = Desk(Manner(), Level.KEEN)
    better = advisor_at(Level.KEEN)
    hands = better.answers.automaton
    book = Answers(hands, better.answers.book, openings=load_openings(hands))
    quick = Advisor(book, TECHNIQUES, Level.CALM)
    desk.follower.refiner.begin(quick)

    async def events() -> AsyncIterator[CubeEvent]:
        yield State(0.0, START)
        await desk.until(lambda: desk.of(Spoken))
        desk.follower.refiner.begin(better)
        await desk.until(lambda: len(desk.of(Spoken)) > 1)
        for turn in TURNS[:2]:
            yield turn
        desk.follower.refiner.begin(better)

    await desk.follow(events())
    told = [item.opportunity.technique for item in desk.items if isinstance(item, Spoken)]
    assert told == ["cross", "x-cross"]


async def test_what_is_told_as_it_is_reaches_a_sink_once_and_is_shown_as_well_as_logged() -> None:
    desk, shown = Desk(Manner()), io.StringIO()
    notices: list[CubeEvent] = [
        Battery(0.1, 50), LinkChange(0.2, up=False), LinkChange(0.3, up=True), Gap(0.4, 2, 0.1),
        DeviceInfo(0.5, (("maker", "M"),)), ClockAccount(0.6, None, 21.0),
    ]  # fmt: skip

    async def events() -> AsyncIterator[CubeEvent]:
        yield State(0.0, START)
        for notice in notices:
            yield notice

    await desk.follow(events())
    logged = [item for item in desk.items if isinstance(item, CubeEvent)]
    assert logged == [State(0.0, START), *notices]
    sink = JsonSink(shown, item_json)
    for item in desk.items:
        await sink.take(item)
    told = [json.loads(line)["event"] for line in shown.getvalue().splitlines()]
    assert [name for name in told if name not in ("resync", "spoken")] == [
        "battery", "link", "link", "gap", "device", "clock",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("manner", "told"), [(Manner(), 1), (Manner(clues_s=STEP_S), 0), (Manner("after"), 0)]
)
def test_a_plan_comes_with_the_hint_to_whoever_is_told_everything(
    manner: Manner, told: int
) -> None:
    pipeline = Pipeline(Tracker(START), lambda: 0.0, manner)
    pipeline.advisor = advisor_at()
    board = Board(LiveScreen("a cube"))
    happenings: list[Happening] = []
    for event in TURNS:
        happenings = pipeline.feed(event)
        for happening in happenings:
            board.take(happening)
        if any(isinstance(happening, StageDone) for happening in happenings):
            break
    plans = [happening for happening in happenings if isinstance(happening, Planned)]
    assert len(plans) == told
    for plan in plans:
        assert plan_line(plan.plans[0]) in drawn(board)


def test_a_hint_stays_on_every_view_while_it_stands_with_the_moves_it_has_now() -> None:
    advisor = advisor_at()
    position = apply_turns(SOLVED, parse_turns("R U' R' U L' U L"))
    rows = advisor.at_beginning(position, FACES.index("D")).rows
    row, other = rows[0], next(row for row in rows if row.slots != rows[0].slots)
    now = replace(row, moves=(Move("U", 2), *row.moves))
    board = Board(LiveScreen("a cube"))
    shown = []
    turned = Turned(2.0, 0, 1, position.tobytes(), "yellow", 0, ("a", "b", "c", "d"))
    begun = SolveBegun(2.5, None, 1, 0.0)
    gone, newer = Withdrawn(5.0, now), Spoken(6.0, other)
    happenings = (Spoken(1.0, row, (other,)), turned, begun, Adjusted(3.0, now), gone, newer,
                  Taken(7.0, other))  # fmt: skip
    for happening in happenings:
        board.take(happening)
        shown.append(drawn(board))
    assert all(f"{moves_text(row.moves)}   [" in text for text in shown[:3])
    assert f"or {moves_text(other.moves)}" not in shown[2], "one thing at a time"
    assert f"{moves_text(now.moves)}   [" in shown[3]
    assert f"before  {moves_text(now.moves)}" in shown[4], "it can be read until there is a newer"
    assert moves_text(now.moves) not in shown[5]
    assert moves_text(other.moves) in shown[5]
    assert moves_text(other.moves) not in shown[6]
    lines = [happening_line(happening) for happening in (happenings[3], Taken(4.0, now))]
    assert lines[0] == f"    3.00  now:  {moves_text(now.moves)}   [{now.holding}]"
    into = f"{row.title} into {row.slots[0]}"
    assert lines[1] == f"    4.00  taken: {into}"
    assert happening_line(Withdrawn(5.0, row)) == f"    5.00  withdrawn: {into}"
    assert happening_json(Adjusted(3.0, now)) == {"event": "adjusted", "t": 3.0, **now.as_json()}
    about = {"technique": row.technique, "slots": list(row.slots)}
    assert happening_json(Taken(4.0, row)) == {"event": "taken", "t": 4.0, **about}
    assert happening_json(Withdrawn(4.0, row)) == {"event": "withdrawn", "t": 4.0, **about}


def test_a_repair_is_shown_until_the_cube_is_turned() -> None:
    advisor = advisor_at()
    position = apply_turns(SOLVED, parse_turns("R U' R'"))
    way = advisor.repair(position, FACES.index("D"))
    assert way is not None
    board = Board(LiveScreen("a cube"))
    board.take(Repair(1.0, way))
    assert f"R U R'   [{way.holding}]" in drawn(board)
    assert "is out: 3 turns bring all four in." in drawn(board)
    line = happening_line(Repair(1.0, way))
    assert line is not None
    assert line.startswith("    1.00  repair: R U R' ")
    assert happening_json(Repair(1.0, way)) == {
        "event": "repair", "t": 1.0, "slots": ["green-red"], "turns_fixed": "R U R'",
        "moves": "R U R'", "up": "white", "front": "green", "turns": 3,
        "seconds": round(way.seconds, 3), "why": way.why,
    }  # fmt: skip
    board.take(Turned(2.0, 0, 1, position.tobytes(), "yellow", None, ()))
    assert "bring all four in" not in drawn(board)


async def test_hands_that_stop_wake_a_followed_cube() -> None:
    desk = Desk(Manner())

    async def events() -> AsyncIterator[CubeEvent]:
        yield State(0.0, START)
        for turn in TURNS:
            yield turn
            await asyncio.sleep(0)
            if desk.pipeline.advice_ms:
                break
        yield Turn(turn.t + 0.3, 3 * OPPOSITE[desk.pipeline.cross])  # and then nothing
        await desk.until(lambda: len(desk.pipeline.advice_ms) == 2)

    await desk.follow(events())


async def test_keys_speak_of_the_cube_in_order_with_its_turns() -> None:
    desk = Desk(Manner("after"))
    ended: list[bool] = []
    keyboard = Keyboard(desk.follower, desk.pipeline, lambda: ended.append(True))

    async def events() -> AsyncIterator[CubeEvent]:
        yield State(0.0, START)
        for turn in TURNS[:20]:
            yield turn
        for key in "hHx":
            keyboard.press(key)
        for turn in TURNS[20:30]:
            yield turn
        for key in "cq":
            keyboard.press(key)

    await desk.follow(events())
    marks = [item for item in desk.items if isinstance(item, HeldAs | Reset)]
    assert [type(mark) for mark in marks] == [HeldAs, HeldAs, Reset]
    assert [mark.t for mark in marks] == [TURNS[19].t, TURNS[19].t, TURNS[29].t]
    cross = next(i.cross for i in reversed(desk.items) if isinstance(i, Turned) and i.cross)
    assert cross == "yellow"
    held = [item.holding for item in desk.items if isinstance(item, HeldAs)]
    assert [h and h.up for h in held] == ["white", "white"]
    assert held[0] != held[1]
    assert len(desk.of(SolveOver)) == len(desk.of(Unsaid)) == 1
    assert isinstance(desk.of(Resynced)[-1], Resynced)
    assert desk.pipeline.tracker.position == bytes(SOLVED.tolist())
    assert ended == [True]


def drawn(board: Board[LiveScreen]) -> str:
    out = io.StringIO()
    Console(file=out, width=80, height=40, force_terminal=False, color_system=None).print(
        board.shown
    )
    return out.getvalue()


def test_the_screen_shows_clues_keys_and_what_was_kept_back() -> None:
    board = Board(LiveScreen("a cube"))
    assert "Ctrl-C ends." in drawn(board)
    board.change(keys=True)
    assert "h holding: cheapest front   c the cube is solved now   q ends" in drawn(board)
    tracker_pipeline = Pipeline(Tracker(START), lambda: 0.0, Manner("solving", clues_s=STEP_S))
    tracker_pipeline.advisor = advisor_at()
    for event in TURNS:
        told = tracker_pipeline.feed(event)
        for happening in told:
            board.take(happening)
        if any(isinstance(happening, Clue) for happening in told):
            break
    shown = drawn(board)
    assert "There is something: look at" in shown
    assert max(map(len, shown.splitlines())) <= 80
    board.take(HeldAs(1.0, None))
    solve = session(238, 1, on_cube=False)  # a keyhole is missed in it
    start = apply_turns(SOLVED, solve.scramble).tobytes()
    silent = Pipeline(Tracker(start), lambda: 0.0, Manner("after"))
    silent.advisor = advisor_at()
    for turn in solve.turns:
        for happening in silent.feed(Turn(turn.t, turn.turn)):
            board.take(happening)
    shown = drawn(board)
    assert "hints kept back; the best chances that were missed:" in shown
    assert "Keyhole corner into" in shown


def test_a_link_that_is_lost_or_back_is_shown_and_told_before_what_stands_there_else() -> None:
    board = Board(LiveScreen("a cube"))
    for up, words in ((False, "is lost; trying to bring it back."), (True, "is back.")):
        told = LinkChange(7.25, up)
        board.take(told)
        assert f"The connection to the cube {words}" in drawn(board)
        line = happening_line(told)
        assert line is not None
        assert line.endswith(words)
        assert happening_json(told) == {"event": "link", "t": 7.25, "up": up}
    board.change(standing="Type moves.")
    assert "Type moves." not in drawn(board)
    board.take(Resynced(8.0, SOLVED.tobytes()))
    assert "Type moves." in drawn(board)
    device = DeviceInfo(1.0, (("maker", "M"), ("firmware", "1")))
    assert happening_json(device) == {"event": "device", "t": 1.0, "maker": "M", "firmware": "1"}
    assert happening_line(device) == "    1.00  maker M, firmware 1"


def test_a_mistake_beside_the_following_is_the_users_to_mend() -> None:
    async def broken() -> None:
        raise UsageError("technique 'x' cannot be loaded; repair or uninstall it")

    async def following() -> None:
        async with asyncio.TaskGroup() as tasks:
            tasks.create_task(broken())
            await asyncio.sleep(60)

    with pytest.raises(UsageError, match="cannot be loaded"):
        run_in_order(following(), lambda: None)


def test_the_end_of_the_program_does_not_wait_for_preparations() -> None:
    """A compiler cannot be interrupted: the loop ends beside it, then the process."""
    more = threading.Event()

    async def given_up() -> None:
        with pytest.raises(TimeoutError):
            await asyncio.wait_for(prepared(more.wait), 0.01)
        assert is_preparing()

    asyncio.run(given_up())
    more.set()
    assert asyncio.run(prepared(lambda: 5)) == 5
    with pytest.raises(ZeroDivisionError):
        asyncio.run(prepared(lambda: 1 // 0))


@pytest.mark.parametrize(("argument", "status"), [("--version", 0), ("nothing", 2)])
def test_a_thread_that_prepares_does_not_keep_the_process(argument: str, status: int) -> None:
    script = f"""
import sys, threading
from livecube.cli import main
sys.argv = ["livecube", {argument!r}]
threading.Thread(target=threading.Event().wait, args=(600,), name="preparing").start()
main()"""
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=False, timeout=300
    )
    assert done.returncode == status
    assert bool(done.stdout) == (status == 0)
