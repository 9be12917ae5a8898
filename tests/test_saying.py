"""What is said in whole streams of events: nothing new between beginnings, live as in replays."""

from __future__ import annotations

import asyncio
import random
from itertools import pairwise
from math import inf
from statistics import median
from typing import TYPE_CHECKING, Any, cast

import numpy as np
import pytest
from advising import advisor_at
from examples import examples, part_of
from hypothesis import example, given, settings
from hypothesis import strategies as st

from livecube.advice.advisor import Beginning, Focus, Way
from livecube.advice.examples import broken_pairs
from livecube.advice.rows import Opportunity
from livecube.advice.speaker import Adjusted, Planned, Repair, Spoken, Taken, Withdrawn
from livecube.advice.words import Level
from livecube.composition.following import CubeFollower, Hub, follow_log
from livecube.composition.pipeline import Pipeline
from livecube.cube.geometry import FACES, OPPOSITE
from livecube.cube.holding import Holding, hand_moves, parse_colour
from livecube.cube.notation import parse_turns
from livecube.cube.position import SOLVED, apply_turns, inverse_turns, turns_text
from livecube.events import Battery, CubeEvent, Gap, HeldAs, State, Turn
from livecube.search.situation import Situation, slot_bits
from livecube.stages.progress import CrossColour, Resynced, SolveBegun, SolveOver, StageDone, Turned
from livecube.stages.tracker import Tracker
from livecube.techniques.registry import own_traits
from livecube.virtual.session import session

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from livecube.advice.advisor import Advisor
    from livecube.advice.speaker import Happening
    from livecube.cube.geometry import Array
    from livecube.edges.sinks import Item

SLOTS = 4
YELLOW = FACES.index("D")


class Oracle:
    """An advisor with arbitrary answers, always the same for one position."""

    level = Level.BOLD

    def at_beginning(
        self,
        position: Array,
        face: int,
        holding: Holding | None = None,
        standing: Opportunity | None = None,
        going_on: tuple[str, ...] = (),
        focus: Focus | None = None,
    ) -> Beginning:
        rng = random.Random(position.tobytes())
        situation = Situation.of(position, face)
        names = [situation.slot_name(slot) for slot in slot_bits(situation.free)]
        rows = [_row(rng, name) for name in names if rng.random() < 0.9]
        way = None
        if standing is not None and rng.random() < 0.8:
            way = Way(_row(rng, *standing.slots), rng.choice([1.0, 1.1, 1.3]))
        silence = "silence" if rng.random() < 0.1 else None
        return Beginning(tuple(rows), 1.0, silence, standing=way)

    def same_way(
        self, position: Array, face: int, holding: Holding | None, row: Opportunity
    ) -> Opportunity | None:
        rng = random.Random(position.tobytes())
        return _row(rng, *row.slots) if rng.random() < 0.8 else None

    def repair(self, position: Array, face: int, holding: Holding | None) -> Opportunity:
        return _row(random.Random(0), "green-red")

    in_inspection = ()

    def speaks_of(self, technique: str) -> bool:
        return False

    def crosses(self, *where: object) -> tuple[()]:
        return ()


def _row(rng: random.Random, *slots: str) -> Opportunity:
    turns = tuple(parse_turns(rng.choice(["R U R'", "U R U' R'", "F' U F"])))
    held = Holding.of(0, 2)
    technique = rng.choice(["plain", "keyhole-edge"])
    return Opportunity(
        technique, "title", slots, turns,
        tuple(hand_moves(turns, held)), held, 3, None, 0, 0, 1.0, 0.2, "why",
        traits=own_traits(technique),
    )  # fmt: skip


# Streams of events.

_TRIGGER = st.tuples(
    st.sampled_from(["R", "R'", "F", "F'", "L", "L'", "B", "B'"]),
    st.sampled_from(["U", "U'", "U2"]),
).map(lambda pair: f"{pair[0]} {pair[1]} {pair[0]}' ".replace("''", ""))
_LAYERS = st.sampled_from(["U", "U'", "U2", "D", "D'", "D2"])
_TURNS = st.one_of(_TRIGGER, _TRIGGER, _LAYERS, st.sampled_from(["R", "L2", "F'"]))
_MARKS = st.sampled_from(["holding", "any holding", "resync", "battery", "gap"])
_GAPS = st.sampled_from([0.05, 0.1, 0.3, 0.7, 1.0, 1.5, 2.5])


@st.composite
def streams(draw: st.DrawFn) -> tuple[bytes, list[CubeEvent]]:
    """A start with the yellow cross whole, and turns, many of which keep it."""
    rng = random.Random(draw(st.integers(0, 1000)))
    down = broken_pairs(rng, draw(st.integers(1, 4)))
    last_layer = parse_turns("R U R' U R U2 R'")
    start = apply_turns(SOLVED, [*last_layer, *Situation.of(SOLVED, YELLOW).fixed(down)])
    parts = draw(st.lists(st.one_of(_TURNS, _TURNS, _TURNS, _TURNS, _MARKS), max_size=25))
    if draw(st.booleans()):  # the pairs are finished as they were broken
        solution = Situation.of(SOLVED, YELLOW).fixed(inverse_turns(down))
        parts = [turns_text(solution), *parts]
    t, events = 0.0, list[CubeEvent]()
    for part in parts:
        t += draw(_GAPS)
        match part:
            case "holding":
                events.append(HeldAs(t, Holding.of(0, rng.randint(1, 4))))
            case "any holding":
                events.append(HeldAs(t, None))
            case "resync":
                events.append(State(t, start.tobytes()))
            case "battery":
                events.append(Battery(t, 50))
            case "gap":
                events.append(Gap(t, 1))
            case _:
                for turn in parse_turns(part):
                    events.append(Turn(t, turn))
                    t += draw(st.sampled_from([0.05, 0.2]))
    return start.tobytes(), events


def told_by(
    pipeline: Pipeline, events: Iterable[CubeEvent]
) -> Iterator[tuple[float, list[Happening]]]:
    """The happenings of each step (an event, or a due time), with its time."""
    for event in events:
        while (due := pipeline.due) is not None and due <= event.t:
            yield due, pipeline.wake()
        yield event.t, pipeline.feed(event)
    yield inf, pipeline.finish()


class Judge:
    """Finds the beginnings from the turns alone, and compares the hints with them."""

    def __init__(self) -> None:
        self.hint: Opportunity | None = None
        self.turned: Turned | None = None
        self.times: list[tuple[int, float]] = []
        self.inserting = False
        self.said_at: set[float] = set()
        self.counts = dict.fromkeys((Spoken, Adjusted, Taken, Withdrawn, Repair), 0)

    def stop_t(self) -> float | None:
        """When the hands have stopped; None: they cannot have, or no hint is due."""
        turned = self.turned
        if turned is None or turned.offset is None or len(turned.kept) == SLOTS:
            return None
        times = [t for _, t in self.times]
        gaps = [b - a for a, b in pairwise(times)]
        return turned.t + (max(1.0, 4 * median(gaps)) if len(times) >= 20 else 1.0)

    def see(self, t: float, step: list[Happening]) -> None:
        """Take in one step: an event or a time, and its happenings."""
        is_line = upper = held = ends = another = False
        for happening in step:
            match happening:
                case Turned():
                    self.turned = happening
                    self.times.append((happening.line, happening.t))
                    face = happening.cross and parse_colour(happening.cross)
                    upper = isinstance(face, int) and happening.turn // 3 == OPPOSITE[face]
                    self.inserting |= not upper
                case StageDone(split=split):
                    is_line |= split.stage in ("cross", "pair")
                case SolveBegun():
                    self.times = [one for one in self.times if one[0] >= happening.start_turn]
                    another = True
                case CrossColour():
                    another = True
                case Resynced():
                    self.turned, ends = None, True
                case SolveOver():
                    self.turned, self.times, ends = None, [], True
                case HeldAs():
                    held = True
                case Spoken() | Adjusted() | Taken() | Withdrawn() | Repair():
                    self.counts[type(happening)] += 1
                    begins = self.is_beginning(happening.t, is_line)
                    self.judge(happening, begins, upper or held, ends or another)
        if self.is_beginning(t, is_line):
            self.inserting = False  # the hint has gone on, perhaps silently

    def is_beginning(self, t: float, is_line: bool) -> bool:
        is_free = self.turned is not None and len(self.turned.kept) < SLOTS
        return is_free and (is_line or t == self.stop_t())

    def judge(self, said: Happening, begins: bool, may_adjust: bool, ends: bool) -> None:
        match said:
            case Spoken():
                assert begins
                assert self.hint is None, "one at a time"
                assert said.t not in self.said_at, "once"
                self.said_at.add(said.t)
                self.hint, self.inserting = said.opportunity, False
            case Adjusted():
                assert self.hint is not None
                assert said.opportunity.slots == self.hint.slots
                assert begins or (may_adjust and not self.inserting)
                self.hint, self.inserting = said.opportunity, False
            case Taken():
                assert self.turned is not None
                assert said.opportunity == self.hint
                assert set(said.opportunity.slots) <= set(self.turned.kept)
                self.hint = None
            case Withdrawn():
                assert said.opportunity == self.hint
                assert begins or ends
                self.hint = None
            case Repair():
                turned = self.turned
                assert turned is not None
                assert turned.offset is not None
                assert len(turned.kept) == SLOTS > len(turned.solved_slots)
                assert said.t == turned.t + 2.0


def with_oracle(start: bytes) -> Pipeline:
    pipeline = Pipeline(Tracker(start), lambda: 0.0)
    pipeline.advisor = cast("Advisor", Oracle())
    return pipeline


@examples(50)
@given(streams())
def test_between_two_beginnings_nothing_new_is_said(stream: tuple[bytes, list[CubeEvent]]) -> None:
    start, events = stream
    judge = Judge()
    for t, step in told_by(with_oracle(start), events):
        judge.see(t, step)


@pytest.mark.thorough
def test_the_streams_come_upon_everything_that_can_be_said() -> None:
    counts: dict[str, int] = {}

    def finished_but_for_one_turn() -> tuple[bytes, list[CubeEvent]]:
        """All pairs are made, and one more turn takes one out again: rare among the streams."""
        times = [0.2 * number for number in range(4)]
        turns = zip(times, parse_turns("R U R' F"), strict=True)
        start = apply_turns(SOLVED, parse_turns("R U' R'"))
        return start.tobytes(), [*(Turn(t, turn) for t, turn in turns), Battery(4.0, 50)]

    @settings(max_examples=60, derandomize=True, database=None)
    @example(finished_but_for_one_turn())
    @given(streams())
    def play(stream: tuple[bytes, list[CubeEvent]]) -> None:
        judge = Judge()
        for t, step in told_by(with_oracle(stream[0]), stream[1]):
            judge.see(t, step)
        for kind, count in judge.counts.items():
            counts[kind.__name__] = counts.get(kind.__name__, 0) + count

    play()
    assert set(counts) == {"Spoken", "Adjusted", "Taken", "Withdrawn", "Repair"}
    assert min(counts.values()) >= 1, counts


@pytest.mark.parametrize("level", part_of(list(Level), 3))
def test_in_virtual_solves_too(level: Level) -> None:
    judge = Judge()
    pipeline = Pipeline(Tracker(), lambda: 0.0)
    pipeline.advisor = advisor_at(level)
    said = set[str]()
    for t, step in told_by(pipeline, session(7 + level, 3).events(marks=False)):
        judge.see(t, step)
        for happening in step:
            if isinstance(happening, Spoken | Adjusted):
                _does_what_it_says(pipeline, happening.opportunity)
                assert pipeline.advisor.speaks_of(happening.opportunity.technique)
            if isinstance(happening, Planned):
                said |= {step.technique for plan in happening.plans for step in plan.steps}
    assert judge.counts[Spoken] >= 6
    assert judge.counts[Taken] >= 3
    assert said
    assert "shortest" not in said, "nobody is told to do what is only a yardstick"


def _does_what_it_says(pipeline: Pipeline, row: Opportunity) -> None:
    """The standing hint's moves fill its slots from the cube's present position."""
    now = np.frombuffer(pipeline.tracker.position, dtype=np.uint8)
    position = apply_turns(now, row.turns_fixed)
    after = Situation.of(position, pipeline.cross)
    assert after.offset == 0
    assert set(row.slots) <= set(after.slot_names(slot_bits(after.solved)))


# Live as replayed.


class Collected:
    """A sink that keeps its items."""

    name = "collection"

    def __init__(self) -> None:
        self.items: list[Item] = []

    async def take(self, item: Item) -> None:
        self.items.append(item)

    async def close(self) -> None:
        pass


SAID = (Spoken, Adjusted, Taken, Withdrawn, Repair, Planned)


def heard(start: bytes, events: list[CubeEvent], *, live: bool) -> list[Any]:
    """The hints with the turns between, from a followed cube or from its log."""
    sink = Collected()

    async def run() -> None:
        pipeline, hub = with_oracle(start), Hub([sink])
        async with hub:
            if live:
                # As if all events came at once: the alarms between them are late.
                follower = CubeFollower(pipeline, hub)
                follower.pass_on(events)
                follower.finish()
            else:
                await follow_log(events, pipeline, hub, None, lambda: 0.0)

    asyncio.run(run())
    return [item for item in sink.items if isinstance(item, (*SAID, Turned))]


@given(streams())
def test_live_says_at_the_same_lines_what_a_replay_says(
    stream: tuple[bytes, list[CubeEvent]],
) -> None:
    assert heard(*stream, live=True) == heard(*stream, live=False)
