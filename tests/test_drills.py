"""Drills: positions in which the technique is best, short set-ups, right judgements."""

from __future__ import annotations

import asyncio
import json
import random
import sqlite3
from collections import Counter
from dataclasses import replace
from functools import cache
from io import StringIO
from itertools import islice, pairwise
from typing import TYPE_CHECKING

import numpy as np
import pytest
from advising import advisor_at
from click.testing import CliRunner, Result
from examples import thorough
from hasty import set_ups_in_haste as set_ups_in_haste
from hypothesis import given
from hypothesis import strategies as st
from rich.console import Console

from livecube.advice.best_choice import best_row, is_best_choice
from livecube.advice.examples import broken_pairs
from livecube.cli.drill import drill as command
from livecube.composition.again import Again, TrierSource
from livecube.composition.assembly import drilled_techniques
from livecube.composition.following import Hub
from livecube.composition.scrambler import Scrambler, load_scrambler
from livecube.cube.geometry import FACES
from livecube.cube.holding import Holding
from livecube.cube.notation import moves_text, parse_turns
from livecube.cube.position import SOLVED, SOLVED_BYTES, apply_turns, inverse_turn
from livecube.drills.judging import HOW_WELL, DrillJudged, judged, points
from livecube.drills.news import DrillReady, as_drill
from livecube.drills.place import DrillPlace, case_of, key_of, pieces_that_count, pieces_words
from livecube.drills.positions import Wish, _random_position, drawn_cases, drawn_set, sampled
from livecube.drills.screen import DrillScreen
from livecube.drills.sets import generator
from livecube.drills.text import drill_json, drill_line, judged_sentence
from livecube.edges.sinks import Board
from livecube.errors import UsageError
from livecube.events import State, Turn
from livecube.mending.mender import shortest_link
from livecube.review.again_text import again_json, again_line
from livecube.review.trying import (
    OneTry,
    SetUpAsked,
    SetUpGuided,
    Tried,
    TryGivenUp,
    Trying,
    TryTurned,
    WayShown,
)
from livecube.scrambling.partial_link import partial_link
from livecube.search.situation import Situation, slot_bits

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence
    from pathlib import Path

    from livecube.advice.advisor import Advisor
    from livecube.edges.sinks import Item
    from livecube.lessons.course import CourseNews
    from livecube.review.trying import TryNews
    from livecube.scrambling.path import ScramblePath

TECHNIQUES = {one.id: one for one in drilled_techniques()}
USUAL = [name for name in TECHNIQUES if name != "keyhole-flip"]  # slow to find
SLOW = ("plain", "x-cross", "pseudo-x-cross", "keyhole-chain")
DOORS = ("keyhole-corner", "keyhole-edge")


@pytest.fixture(scope="module")
def advisor() -> Advisor:
    return advisor_at()


@pytest.fixture(scope="module")
def scrambler() -> Scrambler:
    return load_scrambler(seed=3)


@cache
def places_of(name: str) -> tuple[DrillPlace, ...]:
    """Some places of a technique, for two cross colours; more for techniques that look plain."""
    face = (0, 5)[USUAL.index(name) % 2]
    return tuple(islice(found(advisor_at(), name, face), 2 + (name in DOORS)))


def found(advisor: Advisor, name: str, face: int) -> Iterator[DrillPlace]:
    """Places, each near the end of the one before."""
    rng, base = random.Random(face + 8), SOLVED  # with others a chain may take seconds
    while True:
        if (place := sampled(advisor, TECHNIQUES[name], face, rng, base)) is not None:
            yield place
            base = apply_turns(array(place.position), place.row.turns_fixed)


def array(position: bytes) -> np.ndarray[tuple[int, ...], np.dtype[np.uint8]]:
    return np.frombuffer(position, dtype=np.uint8)


# Positions.


@pytest.mark.parametrize("name", [thorough(name) if name in SLOW else name for name in USUAL])
def test_the_technique_is_the_best_choice(name: str) -> None:
    """Another advisor, without knowledge of the drill, puts it first."""
    other = advisor_at()
    assert len(places_of(name)) >= 2
    for place in places_of(name):
        assert place.row.turns >= 3, "what is seen at once is no drill"
        rows = other.advise(array(place.position), place.face).opportunities
        slots = set(place.row.slots)
        of = [row for row in rows if row.technique == name and set(row.slots) == slots]
        assert min(row.total for row in of if row.fastest) == pytest.approx(place.row.total)
        if len(place.row.slots) == 1:
            quickest = min(row.total for row in rows if row.fastest)
            assert quickest == pytest.approx(place.row.total)
        elif place.row.plain is not None:
            assert place.row.total + 0.1 < place.row.plain.seconds + place.row.plain.looking
        # If another technique is as good, the position has no clear answer.
        own = {row.turns_fixed for row in rows if row.technique == name}
        for row in rows:
            if row.fastest and len(row.slots) == len(slots) and row.turns_fixed not in own:
                assert min(row.total - place.row.total, row.seconds - place.row.seconds) > 0.1
        if name == "plain":
            assert {row.technique for row in rows} <= {"plain", "shortest"}
        ends = Situation.of(apply_turns(array(place.position), place.row.turns_fixed), place.face)
        assert ends.offset == 0
        assert set(place.row.slots) <= set(ends.slot_names(slot_bits(ends.solved)))


@pytest.mark.thorough
def test_a_set_is_balanced_and_comes_again_only_with_its_seed(advisor: Advisor) -> None:
    wish = Wish(TECHNIQUES["made-pair"], 8)
    first = drawn_set(advisor, wish, random.Random(0))
    slots = Counter(place.row.slots for place in first)
    sides = Counter(place.case.side for place in first)
    cases = Counter(str(place.case) for place in first)
    assert len(slots) == 4
    assert max(slots.values()) <= 3
    assert len(sides) >= 3
    assert max(sides.values()) <= 3
    assert max(cases.values()) <= 3
    keys = [place.key for place in first]
    assert len(set(keys)) == 8
    few = Wish(TECHNIQUES["made-pair"], 2)
    again = drawn_set(advisor, few, random.Random(4))
    assert again == drawn_set(advisor, few, random.Random(4))
    one = Wish(TECHNIQUES["made-pair"], 1)
    unseeded = {drawn_set(advisor, one, random.SystemRandom())[0].key for _ in range(2)}
    assert len(unseeded) == 2


@pytest.mark.thorough
def test_known_positions_are_left_out_and_wishes_heeded(advisor: Advisor) -> None:
    technique = TECHNIQUES["made-pair"]
    two = Wish(technique, 2)
    free = [drawn_set(advisor, two, random.Random(seed)) for seed in range(2)]
    known = {place.key for one in free for place in one}
    other = drawn_set(advisor, two, random.Random(0), known)  # as the first, if none were known
    assert not known & {place.key for place in other}
    wish = Wish(technique, 2, 0, "medium", ("green-red", "blue-red"))
    chosen = drawn_set(advisor, wish, random.Random(1))
    assert len(chosen) == 2
    assert all(p.grade == "medium" and set(p.row.slots) <= set(wish.slots) for p in chosen)
    case = str(free[1][0].case)
    (asked,) = drawn_cases(advisor, Wish(technique, 4), [case], random.Random(9), known)
    assert str(asked.case) == case
    assert asked.key not in known


def test_a_flip_is_found_where_the_layer_stands_aside(advisor: Advisor) -> None:
    rng = random.Random(6)
    tried = (sampled(advisor, TECHNIQUES["keyhole-flip"], 0, rng) for _ in range(900))
    found = next((place for place in tried if place is not None), None)
    assert found is not None
    assert Situation.of(array(found.position), 0).offset
    assert found.case.pieces.endswith("edge flipped")


# Set-ups.

turnings = st.lists(st.integers(0, 17), max_size=9)


@given(turnings, turnings, st.sampled_from([0, 3]))
def test_links_bring_the_pieces_that_count(before: list[int], turns: list[int], face: int) -> None:
    start = apply_turns(SOLVED, before)
    end = apply_turns(start, turns)
    pieces = pieces_that_count(face)
    link = partial_link(start.tobytes(), end.tobytes(), pieces)
    assert link is not None
    assert len(link) <= len(turns)
    there = apply_turns(start, link)
    assert (there[list(pieces)] == end[list(pieces)]).all()
    whole = shortest_link(start.tobytes(), end.tobytes())
    if whole is not None:
        assert len(link) <= len(whole)
        every = partial_link(start.tobytes(), end.tobytes(), range(20))
        assert every is not None
        assert len(every) == len(whole)


def test_no_link_is_longer_than_need_be() -> None:
    """Against trying every turning of up to three turns."""
    pieces = list(pieces_that_count(0))
    nearest: dict[bytes, int] = {}
    level = [SOLVED]
    for length in range(4):
        for position in level:
            nearest.setdefault(position[pieces].tobytes(), length)
        level = [apply_turns(p, [turn]) for p in level for turn in range(18)] if length < 3 else []
    rng = random.Random(0)
    for _ in range(60):
        end = apply_turns(SOLVED, [rng.randrange(18) for _ in range(3)])
        link = partial_link(SOLVED_BYTES, end.tobytes(), pieces)
        assert link is not None
        assert len(link) == nearest[end[pieces].tobytes()]


@pytest.mark.thorough
def test_set_ups_of_a_set_are_short(advisor: Advisor) -> None:
    """Each place is near the end of the one before, at which other slots are still free."""
    lengths = []
    of = drawn_set(advisor, Wish(TECHNIQUES["keyhole-edge"], 4, 5), random.Random(5))
    for one, other in pairwise(of):
        end = apply_turns(array(one.position), one.row.turns_fixed).tobytes()
        link = partial_link(end, other.position, pieces_that_count(one.face))
        lengths.append(99 if link is None else len(link))
    assert sorted(lengths)[1] <= 10


def path(scrambler: Scrambler, face: int) -> Callable[[bytes, bytes], ScramblePath]:
    pieces = pieces_that_count(face)
    return lambda start, target: scrambler.partly(start, target, pieces)


def plain_turns(advisor: Advisor, place: DrillPlace) -> tuple[int, ...]:
    """The plain way into the same slot; none away from offset 0."""
    rows = advisor.advise(array(place.position), place.face).opportunities
    plain = [row for row in rows if row.technique == "plain" and row.slots == place.row.slots]
    return min(plain, key=lambda row: row.turns).turns_fixed if plain else ()


# Trying.


class Somebody:
    """A person who sets up and tries; ``t`` is the cube's clock."""

    def __init__(
        self, places: Sequence[DrillPlace], scrambler: Scrambler, *, quickly: bool = False
    ) -> None:
        """``quickly``: the way to a place may have more turns than the one that drills ask for."""
        way = scrambler.to if quickly else path(scrambler, places[0].face)
        self.trying = Trying(iter(places), way)
        self.t = 0.0
        self.position = SOLVED
        self.told = [as_drill(one) for one in self.trying.begin(0.0)]

    def turn(self, turns: Iterable[int], each_s: float = 0.25) -> list[Item]:
        new: list[TryNews] = []
        for turn in turns:
            self.t += each_s
            self.position = apply_turns(self.position, [turn])
            new += self.trying.feed(Turn(self.t, turn))
        told = [as_drill(one) for one in new]
        self.told += told
        return [one for one in told if not isinstance(one, TryTurned)]

    def set_up(self) -> DrillReady:
        asked = next(one for one in reversed(self.told) if isinstance(one, SetUpAsked))
        if asked.turns:
            self.turn(asked.turns)
        ready = self.told[-1]
        assert isinstance(ready, DrillReady)
        assert key_of(ready.position, ready.place.face) == ready.place.key
        assert ready.position == self.position.tobytes()
        self.t += 2.0
        return ready


@pytest.mark.parametrize("name", [thorough(name) if name in SLOW else name for name in USUAL])
def test_the_best_way_is_judged_as_what_was_asked(name: str, scrambler: Scrambler) -> None:
    somebody = Somebody(places_of(name)[:2], scrambler, quickly=True)
    for place in places_of(name)[:2]:
        somebody.set_up()
        told = somebody.turn(place.row.turns_fixed)
        (done,) = [one for one in told if isinstance(one, DrillJudged)]
        assert (done.as_asked, done.over, done.how_well) == (True, 0, "sound")
        assert (done.look_ms, done.pause_ms) == (2250, 250)
    assert somebody.trying.over


@cache
def aligned(advisor: Advisor, name: str) -> list[DrillPlace]:
    """Two places with the cross layer aligned, where the plain way may be as good."""
    rng, found = random.Random(7), list[DrillPlace]()
    while len(found) < 2:
        position = apply_turns(SOLVED, Situation.of(SOLVED, 0).fixed(broken_pairs(rng, 2, 2)))
        advice = advisor.advise(position, 0, shortest=False, plans=False)
        row = best_row(advice, name)
        if row is None or not is_best_choice(advice, row):
            continue
        case = case_of(Situation.of(position, 0), row)
        place = DrillPlace(position.tobytes(), 0, row, case, "easy", None)
        one = OneTry(place, place.position)
        if [one.turn(0.0, turn) for turn in row.turns_fixed][-1] and plain_turns(advisor, place):
            found.append(place)
    return found


@pytest.mark.thorough
@pytest.mark.parametrize("name", DOORS)
def test_the_plain_way_is_judged_as_another(
    name: str, scrambler: Scrambler, advisor: Advisor
) -> None:
    judged_so = set()
    for place in aligned(advisor, name):
        way = plain_turns(advisor, place)
        somebody = Somebody([place], scrambler, quickly=True)
        somebody.set_up()
        (done,) = somebody.turn(way)
        assert isinstance(done, DrillJudged)
        assert {*place.row.slots} <= {*done.slots}
        judged_so.add((done.how_well, done.techniques != (name,)))
    assert ("missed", True) in judged_so


def test_whoever_turns_away_is_led_back_and_on(scrambler: Scrambler) -> None:
    place = places_of("keyhole-corner")[0]
    somebody = Somebody([place], scrambler)
    asked = somebody.told[0]
    assert isinstance(asked, SetUpAsked)
    (guided,) = somebody.turn([(asked.turns[0] + 3) % 18])
    assert isinstance(guided, SetUpGuided)
    assert guided.guidance.back == (inverse_turn((asked.turns[0] + 3) % 18),)
    # Too far: another path leads there, or the old one from elsewhere.
    last = somebody.turn([0, 4, 8, 10, 14, 1, 5, 9])[-1]
    assert isinstance(last, SetUpGuided)
    somebody.turn([*last.guidance.back, *last.guidance.upcoming])
    ready = somebody.told[-1]
    assert isinstance(ready, DrillReady)
    assert key_of(ready.position, place.face) == place.key
    # A turn at once was one too many; then the cube says that it stands elsewhere.
    assert [type(one) for one in somebody.turn([0])] == [SetUpGuided]
    assert isinstance(somebody.turn([2])[-1], DrillReady)
    somebody.t += 2.0
    somebody.turn(place.row.turns_fixed[:1])
    given_up, again = somebody.trying.feed(State(somebody.t, SOLVED_BYTES))
    assert isinstance(given_up, TryGivenUp)
    assert isinstance(again, SetUpAsked)


@pytest.mark.parametrize("asked_by", ["key", "gesture"])
def test_whoever_is_stuck_is_shown_the_way_and_the_try_counts_as_missed(
    asked_by: str, scrambler: Scrambler
) -> None:
    place = places_of("made-pair")[0]
    somebody = Somebody([place], scrambler)
    assert not somebody.trying.show(somebody.t)  # it is not set up yet
    somebody.set_up()
    if asked_by == "key":
        told: list[Item] = [as_drill(news) for news in somebody.trying.show(somebody.t)]
    else:
        told = somebody.turn(parse_turns("U D U' D'"))
    shown = told[-1]
    assert isinstance(shown, WayShown)
    assert moves_text(place.row.moves) in (again_line(shown) or "")
    assert {*again_json(shown)} == {"event", "t", "number", "advised"}
    board = Board(DrillScreen("Drill"))
    board.change(keys=True)
    for news in somebody.told if asked_by == "gesture" else [*somebody.told, shown]:
        board.take(news)
    console = Console(width=80, height=24, file=StringIO(), record=True)
    console.print(board.shown)
    screen = console.export_text()
    assert moves_text(place.row.moves) in screen
    assert "s shows the way" in screen
    somebody.t += 2.0
    (done,) = [one for one in somebody.turn(place.row.turns_fixed) if isinstance(one, DrillJudged)]
    assert (done.as_asked, done.shown, done.how_well) == (True, True, "missed")
    assert "missed (shown): made-pair into" in judged_sentence(done)


def test_a_turn_taken_back_begins_anew(scrambler: Scrambler) -> None:
    place = places_of("keyhole-edge")[0]
    somebody = Somebody([place], scrambler, quickly=True)
    somebody.set_up()
    first = place.row.turns_fixed[0]
    (anew,) = somebody.turn([first, inverse_turn(first)])
    assert isinstance(anew, DrillReady)
    somebody.t += 2.0
    (done,) = somebody.turn(place.row.turns_fixed)
    assert isinstance(done, DrillJudged)
    assert done.turns == place.row.turns


@pytest.mark.parametrize(
    ("elsewhere", "more", "look_ms", "pause_ms", "shown", "how_well"),
    [
        (True, (), 1000, 100, False, "missed"),
        (False, (), 1000, 100, True, "missed"),
        (False, (0, 2), 1000, 100, False, "laboured"),
        (False, (), 8001, 100, False, "laboured"),
        (False, (), 1000, 1501, False, "laboured"),
        (False, (), 2001, 500, False, "sound"),
        (False, (), 2000, 501, False, "sound"),
        (False, (), 2000, 500, False, "fluent"),
    ],
)
def test_how_well_it_went(
    elsewhere: bool,
    more: tuple[int, ...],
    look_ms: int,
    pause_ms: int,
    shown: bool,
    how_well: str,
) -> None:
    place = places_of("made-pair")[0]
    made = () if elsewhere else (*more, *place.row.turns_fixed)
    tried = Tried(
        9.0, 1, place, ("made-pair",), place.row.slots, len(made), 1000, look_ms, pause_ms,
        as_advised=not elsewhere, made=made, began=place.position, shown=shown,
    )  # fmt: skip
    assert judged(tried).how_well == how_well
    assert how_well in HOW_WELL


# The whole way, by the packets of a simulated cube.


class PlainSource(TrierSource):
    """A virtual solver who does not know the technique."""

    def __init__(self, ways: dict[str, tuple[int, ...]]) -> None:
        super().__init__(len(ways), 2, 200.0)
        self._ways = ways

    def show(self, news: CourseNews) -> None:
        super().show(news)
        if isinstance(news, SetUpAsked) and isinstance(news.place, DrillPlace):
            self._turns = self._ways[news.place.key]


class Kept:
    name = "test"

    def __init__(self) -> None:
        self.items: list[Item] = []

    async def take(self, item: Item) -> None:
        self.items.append(item)

    async def close(self) -> None:
        pass


@pytest.mark.thorough
async def test_a_virtual_solver_who_does_it_plainly(scrambler: Scrambler, advisor: Advisor) -> None:
    drilled = aligned(advisor, "keyhole-corner")
    ways = {place.key: plain_turns(advisor, place) for place in drilled}
    source, kept = PlainSource(ways), Kept()
    async with Hub([kept]) as hub:
        trying = Trying(iter(drilled), path(scrambler, drilled[0].face))
        leading = Again(trying, hub, len(drilled), source.show, as_told=as_drill)
        async with asyncio.timeout(300):
            await leading.follow(await source.events())
    done = [one for one in kept.items if isinstance(one, DrillJudged)]
    assert [one.how_well for one in done] == ["missed"] * len(drilled)
    assert [one.turns for one in done] == [len(ways[place.key]) for place in drilled]


def test_everything_has_words(scrambler: Scrambler) -> None:
    place = places_of("keyhole-corner")[0]
    somebody = Somebody([place], scrambler)
    somebody.set_up()
    somebody.turn(place.row.turns_fixed)
    board = Board(DrillScreen("Drill"))
    drawn: dict[type, str] = {}
    for news in somebody.told:
        board.take(news)
        console = Console(width=90, height=30, file=StringIO(), record=True)
        console.print(board.shown)
        drawn[type(news)] = console.export_text()
        if isinstance(news, DrillReady | DrillJudged):
            told = drill_json(news)
            assert json.loads(json.dumps(told)) == told
            assert drill_line(news)
    for kind in (DrillReady, TryTurned):
        assert "into which slot" in drawn[kind]
        assert moves_text(place.row.moves) not in drawn[kind]  # no answer shown
        assert not any(slot in drawn[kind] for slot in place.row.slots)


def livecube(*arguments: str, data: Path) -> Result:
    return CliRunner().invoke(command, arguments, env={"LIVECUBE_DATA": str(data)})


def test_drill_then_what_is_due(tmp_path: Path) -> None:
    assert "Nothing was drilled yet" in livecube(data=tmp_path).stdout
    given = ("--simulated", "--speed", "200", "--json", "--person", "ann")
    done = livecube("made-pair", "--count", "2", "--seed", "1", *given, data=tmp_path)
    assert done.exception is None
    rows = [json.loads(line) for line in done.stdout.splitlines()]
    first = [row for row in rows if row["event"] == "drill-judged"]
    assert [row["as_asked"] for row in first] == [True, True]
    assert all(row["next_in_s"] > 0 for row in first)
    due = livecube("due", "--person", "ann", data=tmp_path)
    assert due.stdout.startswith("Nothing is due; next in")

    database = sqlite3.connect(tmp_path / "history.sqlite")
    with database:
        database.execute("UPDATE drill_card SET due = '2026-01-01T00:00:00Z'")
    asked = database.execute("SELECT case_name, state FROM drill_card").fetchall()
    known = {place for (place,) in database.execute("SELECT place FROM drill_try")}
    done = livecube(*given, data=tmp_path)
    assert done.exception is None
    again = [json.loads(line) for line in done.stdout.splitlines()]
    told = [row for row in again if row["event"] == "drill-judged"]
    assert {row["case"] for row in told} == {case for case, _ in asked}
    tries = [place for (place,) in database.execute("SELECT place FROM drill_try")]
    assert len(set(tries)) == len(tries) == 2 + len(told)
    assert known < set(tries)
    after = dict(database.execute("SELECT case_name, state FROM drill_card").fetchall())
    assert all(after[case] != state for case, state in asked)
    database.close()


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("no-such",), "choose due, fingers, beat"),
        (("shortest",), "cannot be drilled"),
        (("plain", "--slots", "white-red"), "has no slot"),
        (("plain", "--simulated", "--typed"), "one of"),
        (("due", "--no-history"), "leave out --no-history"),
        (("plain", "--person", " "), "--person is empty"),
    ],
)
def test_what_cannot_be_drilled_is_told(
    arguments: tuple[str, ...], said: str, tmp_path: Path
) -> None:
    done = livecube(*arguments, data=tmp_path)
    assert isinstance(done.exception, UsageError)
    assert said in str(done.exception)


@pytest.mark.parametrize(("moves", "home"), [("", "corner home, edge home"), ("D'", "edge home")])
def test_a_case_says_which_pieces_are_home(moves: str, home: str) -> None:
    situation = Situation.of(apply_turns(SOLVED, parse_turns(moves)), FACES.index("D"))
    holding = Holding.of(FACES.index("U"), FACES.index("F"))
    assert all(home in pieces_words(situation, slot, holding) for slot in range(4))


@pytest.mark.parametrize(("name", "share"), [("keyhole-corner", 0.6), ("made-pair", 0.15)])
def test_for_keyholes_the_cross_layer_is_mostly_turned_aside(name: str, share: float) -> None:
    rng = random.Random(1)
    drawn = [_random_position(TECHNIQUES[name], 0, rng, SOLVED) for _ in range(300)]
    offsets = [Situation.of(position, 0).offset for position in drawn]
    assert None not in offsets
    assert sum(map(bool, offsets)) / 300 == pytest.approx(share, abs=0.07)
    assert {*offsets} == {0, 1, 2, 3}


def test_a_cross_layer_aside_is_a_point_harder_but_for_keyholes(advisor: Advisor) -> None:
    position = apply_turns(SOLVED, parse_turns("R U R' U F U F'"))
    row = advisor.advise(position, 5, plans=False).opportunities[0]
    ways = [replace(row, traits=replace(row.traits, is_keyhole=so)) for so in (True, False)]
    for aside, harder in (("", 0), ("D", 1), ("D2", 1)):
        situation = Situation.of(apply_turns(position, parse_turns(aside)), 5)
        assert bool(situation.offset) == bool(aside)
        keyhole, other = (points(situation, way) for way in ways)
        assert other - keyhole == harder


def test_only_a_seed_draws_the_same_again() -> None:
    drawn = [[generator(seed).random() for seed in (5, 6, None)] for _ in range(2)]
    assert [one == other for one, other in zip(*drawn, strict=True)] == [True, True, False]
    assert len({*drawn[0]}) == 3
