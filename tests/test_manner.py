"""When hints are said, and in which form: the same in live following and in replays."""

from __future__ import annotations

import asyncio
from dataclasses import replace
from math import inf
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import pytest
from advising import advisor_at
from examples import part_of, thorough

from livecube.advice.settings import parse_clues
from livecube.advice.speaker import (
    STEP_S,
    WHEN,
    Adjusted,
    Clue,
    Clues,
    Happening,
    Manner,
    Spoken,
    Taken,
    Telling,
    Unsaid,
    Withdrawn,
    best_chances,
)
from livecube.advice.words import Level
from livecube.composition.following import Hub, follow_log
from livecube.composition.pipeline import OpeningQuestion, Pipeline
from livecube.cube.holding import Holding, parse_colour
from livecube.cube.position import SOLVED, apply_turns
from livecube.errors import UsageError
from livecube.events import Battery, ClueAsked, CubeEvent, HeldAs, Turn
from livecube.search.situation import Situation
from livecube.stages.progress import SolveOver, StageDone, Turned
from livecube.stages.tracker import Tracker
from livecube.timing.results import seconds_text
from livecube.views.happenings import happening_json, unsaid_lines
from livecube.virtual.session import session

if TYPE_CHECKING:
    from livecube.edges.sinks import Item

SOLVED_BYTES = bytes(SOLVED.tolist())
KEYHOLE = 63
"""The seed of a solve in which a keyhole is said even at level calm, and taken."""
MISSED = 238
"""The seed of a solve in which it is not taken."""


class Collected:
    """A sink that keeps its items."""

    name = "collection"

    def __init__(self) -> None:
        self.items: list[Item] = []

    async def take(self, item: Item) -> None:
        self.items.append(item)

    async def close(self) -> None:
        pass


def pipeline_with(
    start: bytes, manner: Manner | None = None, level: Level = Level.CALM
) -> Pipeline:
    pipeline = Pipeline(Tracker(start), lambda: 0.0, manner)
    pipeline.advisor = advisor_at(level)
    return pipeline


def replayed(pipeline: Pipeline, events: list[CubeEvent]) -> list[Item]:
    sink = Collected()

    async def run() -> None:
        hub = Hub([sink])
        async with hub:
            await follow_log(events, pipeline, hub, None, lambda: 0.0)
        assert hub.complaints() == []

    asyncio.run(run())
    return sink.items


def scrambled_solve(seed: int) -> tuple[bytes, list[CubeEvent]]:
    done = session(seed, 1, on_cube=False)
    start = bytes(apply_turns(SOLVED, done.scramble).tolist())
    return start, [Turn(turn.t, turn.turn) for turn in done.turns]


def hints(told: list[Item]) -> list[Spoken]:
    return [item for item in told if isinstance(item, Spoken)]


# When.


def test_the_usual_manner_speaks_before_and_in_a_solve() -> None:
    start, events = scrambled_solve(34)
    told = hints(replayed(pipeline_with(start), events))
    assert [hint.inspection for hint in told[:2]] == [True, False]
    assert not any(hint.inspection for hint in told[1:])


def test_only_in_inspection_means_nothing_later() -> None:
    start, events = scrambled_solve(34)
    told = hints(replayed(pipeline_with(start, Manner("inspection")), events))
    assert [hint.inspection for hint in told] == [True]


def test_silence_until_the_solve_is_over_and_then_what_would_have_been_said() -> None:
    start, events = scrambled_solve(KEYHOLE)
    usual = [h for h in hints(replayed(pipeline_with(start), events)) if not h.inspection]
    told = replayed(pipeline_with(start, Manner("after")), events)
    assert not [item for item in told if isinstance(item, Spoken | Withdrawn)]
    over = next(i for i, item in enumerate(told) if isinstance(item, SolveOver))
    unsaid = told[over + 1]
    assert isinstance(unsaid, Unsaid)
    # With no hint shown, hints are withdrawn and followed just the same.
    assert [h.opportunity.turns_fixed for h in unsaid.hints] == [
        h.opportunity.turns_fixed for h in usual
    ]
    best = best_chances(unsaid.hints)
    assert [hint.opportunity.technique for hint in best] == ["keyhole-corner"]
    # It was taken, so it is not listed as missed.
    assert best_chances(unsaid.missed) == []
    assert "nothing beyond the ordinary insertions was missed" in unsaid_lines(unsaid)[0]


def test_the_best_chances_save_most_against_the_plain_way_and_are_quick() -> None:
    plain = SimpleNamespace(seconds=3.0, looking=1.0)
    ordinary, other = SimpleNamespace(is_ordinary=True), SimpleNamespace(is_ordinary=False)

    def hint(t: float, seconds: float, looking: float, **changed: Any) -> Any:
        row = {"technique": "chain", "slots": (t,), "plain": plain, "traits": other}
        its = SimpleNamespace(seconds=seconds, looking=looking, **(row | changed))
        return SimpleNamespace(t=t, opportunity=its)

    hints = [
        hint(1, 2.0, 1.0), hint(2, 1.0, 0.0), hint(3, 2.5, 0.0), hint(4, 1.5, 1.0),
        hint(5, 0.1, 0.0, traits=ordinary), hint(6, 0.1, 0.0, slots=(2,)),
        hint(7, 0.1, 0.0, plain=None),
    ]  # fmt: skip
    assert [one.t for one in best_chances(hints)] == [2, 3, 4]
    # Three save the same, of which the two that take less turning are told.
    assert [one.t for one in best_chances([*hints[1:4], hint(8, 1.0, 1.5)])] == [2, 4, 8]


def test_what_was_missed_is_told_with_the_time_of_the_solve_and_not_of_the_log() -> None:
    start, events = scrambled_solve(MISSED)
    later = [replace(event, t=event.t + 5000.0) for event in events]
    told = replayed(pipeline_with(start, Manner("after")), later)
    (unsaid,) = (item for item in told if isinstance(item, Unsaid))
    over = next(item for item in told if isinstance(item, SolveOver))
    (missed,) = best_chances(unsaid.missed)
    assert missed.opportunity.slots == ("red-white",)
    assert ("red-white", "plain") in [(*s.slots, s.technique) for s in over.solve.splits if s.slots]
    seconds = missed.t - over.solve.started
    assert 0 < seconds < over.solve.seconds
    assert unsaid_lines(unsaid)[1].startswith(f"{seconds_text(seconds):>6} s  ")
    (row,) = happening_json(unsaid)["best"]
    assert row["since_start"] == pytest.approx(seconds)


# Openings.


@pytest.mark.parametrize(
    "colours", [thorough(("white",)), ("white", "blue"), thorough(("yellow",))]
)
def test_an_opening_makes_an_accepted_cross_with_the_pair_it_names(
    colours: tuple[str, ...],
) -> None:
    start, events = scrambled_solve(4)
    faces = tuple(map(parse_colour, colours))
    pipeline = pipeline_with(start, Manner(crosses=faces), Level.KEEN)
    opening = hints(replayed(pipeline, events[:1]))[0]
    rows = [opening.opportunity, *opening.also]
    assert [row.technique for row in rows] == ["x-cross", "cross"]
    for row in rows:
        after = apply_turns(apply_turns(SOLVED, session(4, 1, on_cube=False).scramble),
                            row.turns_fixed)  # fmt: skip
        seen = [Situation.of(after, face) for face in faces]
        whole = [s for s in seen if s.offset == 0]
        assert whole
        assert any(
            set(row.slots) <= set(s.slot_names(i for i in range(4) if s.solved >> i & 1))
            for s in whole
        )


def test_a_cube_scrambled_by_hand_asks_when_it_rests_and_once() -> None:
    done = session(8, 1)
    solve = done.solves[0]
    events = done.events(marks=False)
    pipeline = pipeline_with(SOLVED_BYTES)
    told = replayed(pipeline, events)
    openings = [hint for hint in hints(told) if hint.inspection]
    assert len(openings) == 1
    last = [e.t for e in events][solve.start_turn - 2]
    first = [e.t for e in events][solve.start_turn - 1]
    assert last < openings[0].t < first
    marked = replayed(pipeline_with(SOLVED_BYTES), done.events(marks=True))
    again = [hint for hint in hints(marked) if hint.inspection]
    assert [h.opportunity for h in again] == [h.opportunity for h in openings]
    assert again[0].t == last  # a mark shows at once that the cube rests


def test_an_answer_that_comes_when_the_cube_was_turned_is_dropped() -> None:
    start, events = scrambled_solve(4)
    pipeline = pipeline_with(start)
    assert pipeline.due == 0.0
    pipeline.wake()
    question = pipeline.question
    assert isinstance(question, OpeningQuestion)
    assert pipeline.advisor is not None
    rows = pipeline.advisor.crosses(question.position, question.faces[0])
    pipeline.feed(Battery(0.5, 50))  # changes nothing
    assert pipeline.question is question
    pipeline.feed(events[0])
    assert pipeline.opened(question, rows, 1.5) == []


# How much.


def a_hint(t: float = 0.0) -> Spoken:
    start, events = scrambled_solve(KEYHOLE)
    told = hints(replayed(pipeline_with(start), events))
    hint = next(h for h in told if h.opportunity.technique == "keyhole-corner")
    return Spoken(t, hint.opportunity, hint.also)


def test_clues_come_one_after_the_other() -> None:
    hint = a_hint(5.0)
    clues = Clues()
    assert clues.pass_on([hint]) == [Clue(5.0, hint.opportunity, Telling.WHERE)]
    assert clues.due == 5.0 + STEP_S
    assert clues.wake() == [Clue(5.0 + STEP_S, hint.opportunity, Telling.WHAT)]
    assert clues.due == 5.0 + 2 * STEP_S
    assert clues.wake() == [Spoken(5.0 + 2 * STEP_S, hint.opportunity, hint.also)]
    assert clues.due is None
    assert clues.wake() == []


@pytest.mark.parametrize("what", part_of(["taken", "withdrawn", "over"]))
def test_a_degree_is_dropped_with_its_hint(what: str) -> None:
    hint = a_hint()
    clues = Clues()
    clues.pass_on([hint])
    start, events = scrambled_solve(34)
    solve = Tracker(start).feed_all(events)[-1]
    assert isinstance(solve, SolveOver)
    gone: dict[str, Happening] = {
        "taken": Taken(1.0, hint.opportunity),
        "withdrawn": Withdrawn(1.0, hint.opportunity),
        "over": solve,
    }  # fmt: skip
    assert clues.pass_on([gone[what]]) == [gone[what]]
    assert clues.due is None
    clues.go_on(2.0)
    assert clues.due is None
    assert clues.wake() == []


def test_a_turn_puts_a_clue_off_until_the_hands_stop_again() -> None:
    hint = a_hint()
    adjusted = Adjusted(1.0, replace(hint.opportunity, turns=9))
    clues = Clues()
    clues.pass_on([hint])
    turned = Turned(1.0, 0, 1, SOLVED_BYTES, "white", 0, ())
    # An adjusted hint would show moves, which have not been shown yet.
    assert clues.pass_on([turned, adjusted]) == [turned]
    assert clues.due is None
    clues.go_on(3.0)
    assert clues.due == 3.0 + STEP_S
    assert clues.wake() == [Clue(5.0, adjusted.opportunity, Telling.WHAT)]
    assert clues.wake() == [Spoken(7.0, adjusted.opportunity, hint.also)]
    assert clues.pass_on([adjusted]) == [adjusted]
    clues.go_on(9.0)
    assert clues.due is None


def test_in_a_replay_a_hint_is_told_as_far_as_the_hands_leave_time() -> None:
    start, events = scrambled_solve(34)
    told = replayed(pipeline_with(start, Manner(clues_s=STEP_S)), events)
    opening = [h for h in told if isinstance(h, Clue | Spoken)][:3]
    assert [h.t for h in opening] == [0.0, STEP_S, 2 * STEP_S]
    assert [type(h) for h in opening] == [Clue, Clue, Spoken]
    turns = [e.t for e in events]
    for clue in (item for item in told if isinstance(item, Clue)):
        assert clue.tells == Telling.WHERE or not any(clue.t - STEP_S < t < clue.t for t in turns)
    assert [h for h in told if isinstance(h, StageDone)]


# Held in a stated way.


def test_hints_are_written_for_the_stated_holding_until_it_is_taken_back() -> None:
    start, events = scrambled_solve(3)
    pipeline = pipeline_with(start)
    told: list[Happening] = []
    said: list[Spoken] = []
    while not said:
        told = pipeline.feed(events.pop(0))
        said = [item for item in told if isinstance(item, Spoken)]
    held = said[0].opportunity.holding
    cross = pipeline.cross
    fronts = [f for f in range(6) if f not in (cross, parse_colour(held.up))]
    other = next(f for f in fronts if Holding.of(parse_colour(held.up), f) != held)
    stated = Holding.of(parse_colour(held.up), other)

    anew = pipeline.feed(HeldAs(told[0].t, Holding.of(parse_colour(held.up), other)))
    assert isinstance(anew[0], HeldAs)
    assert isinstance(anew[1], Adjusted)
    assert anew[1].opportunity.holding == stated
    assert anew[1].opportunity.slots == said[0].opportunity.slots

    free = pipeline.feed(HeldAs(told[0].t, None))
    assert free[0] == HeldAs(told[0].t, None)
    assert isinstance(free[1], Adjusted)
    assert free[1].opportunity.seconds <= said[0].opportunity.seconds


def test_who_asks_for_nothing_is_told_everything_at_once_over_the_white_cross() -> None:
    manner = Manner()
    assert (manner.when, manner.crosses, manner.clues_s) == ("solving", (0,), None)
    spoken = {when: (Manner(when).in_inspection, Manner(when).in_solve) for when in WHEN}
    assert spoken == {
        "solving": (True, True), "inspection": (True, False), "after": (False, True)
    }  # fmt: skip


def test_the_next_clue_comes_when_a_key_or_a_gesture_asks_for_it() -> None:
    start, events = scrambled_solve(34)
    manner = Manner(clues_s=inf)
    silent = replayed(pipeline_with(start, manner), events)
    clues = [h for h in silent if isinstance(h, Clue)]
    assert {clue.tells for clue in clues} == {Telling.WHERE}, "nobody asks, and time asks nothing"
    solving = next(clue.t for clue in clues if clue.t in [e.t for e in events])
    at = 1 + max(number for number, e in enumerate(events) if e.t == solving)
    asking = [Turn(solving + n / 1000, turn) for n, turn in enumerate((0, 15, 2, 17), start=1)]
    asked = [*events[:at], *asking, ClueAsked(solving + 0.005), *events[at:]]
    told = [
        h for h in replayed(pipeline_with(start, manner), asked) if isinstance(h, Clue | Spoken)
    ]
    by_time = {h.t: h for h in told}
    what, moves = by_time[asking[-1].t], by_time[solving + 0.005]
    assert isinstance(what, Clue)
    assert what.tells == Telling.WHAT
    assert isinstance(moves, Spoken)
    assert asking[2].t not in by_time, "half a gesture asks nothing"


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("off", None), (" Asked ", inf), ("0.5", 0.5), ("60", 60.0), ("2.5", 2.5)],
)
def test_seconds_between_clues(text: str, seconds: float | None) -> None:
    assert parse_clues(text) == seconds


@pytest.mark.parametrize("text", ["", "0.4", "60.1", "soon", "-1", "nan", "inf"])
def test_clues_that_never_come_are_refused(text: str) -> None:
    with pytest.raises(UsageError, match="does not say when clues come"):
        parse_clues(text)
